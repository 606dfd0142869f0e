"""A process that shares one heap holds no more after many threads have had their large moment than after one."""

import subprocess
import sys

import pytest

PROGRAM = """
import ctypes, sys, threading
from service.jobs.spare_memory import share_one_heap

if sys.argv[1] == "shared":
    share_one_heap()
libc = ctypes.CDLL(None)
stream = ctypes.c_void_p.in_dll(libc, "stdout")
together = threading.Barrier(6)

def work():
    together.wait()
    pieces = [b"." * 60_000 for _ in range(500)]
    together.wait()
    del pieces

threads = [threading.Thread(target=work) for _ in range(6)]
for thread in threads: thread.start()
for thread in threads: thread.join()
libc.malloc_info(0, stream)
libc.fflush(stream)
"""


def n_heaps(how: str) -> int:
    """Heaps that the C library tells of after six threads at once have worked."""
    answer = subprocess.run([sys.executable, "-c", PROGRAM, how], capture_output=True, text=True, check=True)
    return answer.stdout.count("<heap nr=")


@pytest.mark.skipif(not sys.platform.startswith("linux"), reason="asks glibc")
def test_threads_share_one_heap():
    assert n_heaps("alone") > 1
    assert n_heaps("shared") == 1
