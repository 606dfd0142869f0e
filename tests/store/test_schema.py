"""Asking for the schema's revision, as every readiness probe does, leaves nothing behind."""

import gc
import sys

from service.store.schema import current_revision, newest_revision

N_PROBES = 100
MOST_LEFT = 5
"""Objects a probe; a statement that is compiled and kept takes some 150."""


def test_asking_for_the_revision_again_and_again_keeps_nothing(database):
    assert current_revision(database) == newest_revision()
    gc.collect()
    before = sys.getallocatedblocks()
    for _ in range(N_PROBES):
        current_revision(database)
    gc.collect()
    assert sys.getallocatedblocks() - before < MOST_LEFT * N_PROBES
