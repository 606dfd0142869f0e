"""What a thread's largest moment took is given back, counted as the operating system counts it."""

import subprocess
import sys

import pytest

PROGRAM = """
import threading
from pathlib import Path
from service.jobs.spare_memory import give_back_memory

def resident_mib():
    line = next(line for line in Path("/proc/self/status").read_text().splitlines() if line.startswith("VmRSS"))
    return int(line.split()[1]) / 1024

kept = []
def work():
    pieces = [b"." * (60_000 + number) for number in range(2_000)]
    kept.extend(pieces[::100])  # what is in use lies between what is not

before = resident_mib()
for _ in range(2):
    thread = threading.Thread(target=work)
    thread.start()
    thread.join()
after = resident_mib()
give_back_memory()
print(before, after, resident_mib())
"""


@pytest.mark.skipif(not sys.platform.startswith("linux"), reason="counts as Linux does")
def test_what_a_large_moment_took_is_given_back():
    answer = subprocess.run([sys.executable, "-c", PROGRAM], capture_output=True, text=True, check=True)
    before, after, given_back = map(float, answer.stdout.split())
    assert after > before + 50
    assert given_back < before + 10
