"""What processes asked of the kernel, as strace (strace.io) wrote it down: syncs of files, and answers to clients."""

import os
import re
import shutil
import signal
import subprocess
import time
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path

import pytest

CALLS = "fsync,fdatasync,sendto,sendmsg"
LINE = re.compile(
    r"^\d+ +(?P<at>\d+\.\d+) (?:<\.\.\. )?(?P<call>\w+)(?P<is_end> resumed>)?(?P<rest>.*?)"
    r"(?: = (?P<result>-?\d+)[^<]*(?:<(?P<lasted>[\d.]+)>)?)?$"
)
ANSWER = re.compile(r'"HTTP/1\.1 (?P<status>\d{3})')


@dataclass(frozen=True)
class Trace:
    """Where the tracer writes."""

    file: Path

    def answers_without_sync(self, path_part: str) -> list[bool]:
        """Of each 2xx in the order of sending: whether no sync of such a file ended since the answer before it.

        Holds for calls one after another: the next is not sent before the last was answered.
        """
        found: list[bool] = []
        is_synced = False
        for _, event in sorted(self._events(path_part)):
            if event == "sync":
                is_synced = True
            else:
                if event.startswith("2"):
                    found.append(not is_synced)
                is_synced = False
        return found

    def _events(self, path_part: str) -> Iterator[tuple[float, str]]:
        """Ends of syncs, and beginnings of answers with their status."""
        begun: dict[str, str] = {}
        for line in self.file.read_text(errors="replace").splitlines():
            found = LINE.match(line)
            if found is None:
                continue
            process, at = line.split(maxsplit=1)[0], float(found["at"])
            if found["call"] in {"sendto", "sendmsg"}:
                answer = ANSWER.search(found["rest"])
                if answer is not None and not found["is_end"]:
                    yield at, answer["status"]
                continue
            if found["result"] is None:
                begun[process] = found["rest"]
                continue
            names = begun.pop(process, "") if found["is_end"] else found["rest"]
            if path_part in names and found["result"] == "0":
                yield at if found["is_end"] else at + float(found["lasted"] or 0.0), "sync"


@contextmanager
def traced(file: Path, processes: Sequence[int]) -> Iterator[Trace]:
    """Write down the calls of running processes, of their threads, and of what they start from now on."""
    command = ["strace", "-f", "-ttt", "-T", "-y", "-s", "16", "-e", f"trace={CALLS}", "-o", str(file)]
    for number in processes:
        command += ["-p", str(number)]
    told = file.with_suffix(".told")
    with told.open("wb") as output:
        tracer = subprocess.Popen(command, stdout=output, stderr=output)
    try:
        _wait_until_attached(tracer, told, processes)
        yield Trace(file)
    finally:
        tracer.send_signal(signal.SIGINT)
        tracer.wait(30.0)


def _wait_until_attached(tracer: "subprocess.Popen[bytes]", told: Path, processes: Sequence[int]) -> None:
    deadline = time.monotonic() + 30.0
    while time.monotonic() < deadline and tracer.poll() is None:
        text = told.read_text(errors="replace")
        if all(f"Process {number} attached" in text for number in processes):
            return
        time.sleep(0.02)
    raise AssertionError(told.read_text(errors="replace"))


def require_tracer(folder: Path) -> None:
    """Leave the test out where no strace is, or where the kernel lets nobody trace."""
    if shutil.which("strace") is None and os.environ.get("SUMPWISE_REQUIRE_OPERATIONS") != "1":
        pytest.skip("needs strace")
    done = subprocess.run(
        ["strace", "-o", str(folder / "try"), "true"], capture_output=True, text=True, check=False
    )
    if "Operation not permitted" in done.stderr:
        pytest.skip("this machine permits no tracing (ptrace(2), yama)")
    assert done.returncode == 0, done.stderr
