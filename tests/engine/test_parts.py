"""Parts of a fleet: cut between vehicles, every one worked on once, their memory used again."""

import resource
import subprocess
import sys

import numpy as np

from service.engine.parts import for_every_part, vehicle_blocks

MEASURE = """
import resource
import numpy as np
from service.engine.parts import for_every_part

def faults():
    return resource.getrusage(resource.RUSAGE_SELF).ru_minflt

def work(part):
    for array in [np.empty(400_000) for _ in range(8)]:
        array.fill(1.0)

for_every_part(work, range(3))
before = faults()
for _ in range(10):
    for_every_part(work, range(3))
print(faults() - before)
"""


def test_parts_are_cut_between_vehicles_and_hold_all_of_them():
    offsets = np.array([0, 3, 3, 10, 11, 11, 30])
    assert list(vehicle_blocks(offsets, 10)) == [(0, 3), (3, 5), (5, 6)]
    assert list(vehicle_blocks(offsets, 1000)) == [(0, 6)]


def test_every_part_is_worked_on_once_with_threads_and_without():
    for n_parts in (0, 1, 3, 50):
        done = np.zeros(n_parts, dtype=int)
        for_every_part(lambda part, done=done: np.add.at(done, part, 1), range(n_parts))
        assert (done == 1).all()


def test_the_memory_of_one_part_serves_the_next():
    """Thirty times eight arrays of 3.2 MB, in a process of their own: fewer new pages than one of them has."""
    told = subprocess.run([sys.executable, "-c", MEASURE], capture_output=True, text=True, check=True)
    assert int(told.stdout) < 3_200_000 / resource.getpagesize()
