"""What holds for every test: reproducible examples, and no way out of this machine."""

import gc
import ipaddress
import socket
from collections.abc import Callable, Iterator
from typing import Any

import hypothesis
import numpy as np
import pytest
import structlog
from numpy.typing import ArrayLike, NDArray

pytest_plugins = ["tests.service_fixtures"]

hypothesis.settings.register_profile(
    "house", max_examples=50, deadline=None, derandomize=True, database=None, print_blob=True
)
hypothesis.settings.load_profile("house")

# Without this a failure that a test provokes is drawn with the variables of all its frames, for a second or two.
structlog.configure(
    processors=[
        structlog.contextvars.merge_contextvars,
        structlog.processors.add_log_level,
        structlog.dev.ConsoleRenderer(colors=False, exception_formatter=structlog.dev.plain_traceback),
    ]
)


def pytest_collection_finish() -> None:
    """Let the collector pass by what was imported."""
    _settle()


def pytest_runtest_teardown(item: pytest.Item, nextitem: pytest.Item | None) -> None:
    """And by what the tests of a file left in caches: to look through all of it took a third of a run."""
    if nextitem is None or nextitem.path != item.path:
        _settle()


def _settle() -> None:
    gc.collect()
    gc.freeze()


class LeftTheMachineError(BaseException):
    """A test tried to reach another machine; not an `Exception`, so no retry or handler can swallow it."""


def is_on_this_machine(host: object) -> bool:
    """Whether an address or name is the loopback's; the empty host listens and does not go out."""
    if host in {"localhost", "", None}:
        return True
    try:
        return ipaddress.ip_address(str(host)).is_loopback
    except ValueError:
        return False


@pytest.fixture(scope="session", autouse=True)
def no_other_machine() -> Iterator[None]:
    """Let sockets reach the loopback and Unix sockets only."""
    connect = socket.socket.connect

    def connect_here(self: socket.socket, address: Any) -> None:
        if self.family in {socket.AF_INET, socket.AF_INET6} and not is_on_this_machine(address[0]):
            raise LeftTheMachineError(f"a test tried to reach {address!r}")
        connect(self, address)

    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(socket.socket, "connect", connect_here)
        yield


@pytest.fixture(scope="session")
def read_only() -> Callable[[ArrayLike], NDArray[Any]]:
    """Make an array that nobody may change, as the engine promises to accept."""

    def make(values: ArrayLike) -> NDArray[Any]:
        array = np.array(values)
        array.setflags(write=False)
        return array

    return make
