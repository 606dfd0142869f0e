"""How long a wrong token takes says nothing about how much of it is right (OWASP ASVS 5.0, 11.2.4).

The time is the thread's own on the processor, call by call in a mixed order. The baseline is a pair of tokens of which
nothing is right: what these two differ by is the machine's noise.
"""

import time
from statistics import median

import numpy as np
import pytest

from service.errors import AuthenticationRequiredError
from service.usecases.access.authenticate import authenticate_token
from tests.service_fixtures import START

pytestmark = pytest.mark.bench
N_CALLS = 20_000


def medians(database, begins: tuple[str, str], rng: np.random.Generator) -> tuple[float, float]:
    """Microseconds for wrong tokens with either beginning."""
    spent: tuple[list[int], list[int]] = ([], [])
    with database.snapshot() as session:
        for place, which in enumerate(rng.permutation(np.arange(N_CALLS) % 2).tolist()):
            began = time.thread_time_ns()
            with pytest.raises(AuthenticationRequiredError):
                authenticate_token(session, f"{begins[which]}{place:05d}", START)
            spent[which].append(time.thread_time_ns() - began)
    return median(spent[0]) / 1e3, median(spent[1]) / 1e3


@pytest.mark.parametrize("database", ["sqlite"], indirect=True)
def test_the_first_characters_of_a_token(database, operator, capsys):
    """Print both medians, and their difference beside that of two tokens that are wrong from the start."""
    rng = np.random.default_rng(20260504)
    n_equal = len(operator.secret) - 5
    for what, begins in (
        ("right or wrong", (operator.secret[:n_equal], "x" * n_equal)),
        ("both wrong", ("y" * n_equal, "x" * n_equal)),
    ):
        first, second = medians(database, begins, rng)
        with capsys.disabled():
            print(f"\n{what}: {first:.1f} and {second:.1f} microseconds, {abs(first / second - 1):.2%} apart")
