"""Garbage gives a log or one readable sentence; tests/verification/fuzz_logs.py runs more."""

from __future__ import annotations

import pytest

from support.fuzzing import try_one
from support.garbage_logs import KINDS, garbage

BLOCKS, PER_BLOCK = 10, 35


@pytest.mark.parametrize("block", range(BLOCKS))
def test_garbage_is_read_or_refused_in_words(block, tmp_path):
    outcomes = set()
    for seed in range(block * PER_BLOCK, (block + 1) * PER_BLOCK):
        kind, outcome, seconds = try_one(seed, tmp_path)
        outcomes.add(outcome)
        # A hundred times what it takes; what reads without end is found here.
        assert seconds < 1.0, (kind, seed)
    assert outcomes == {"log", "refused"}  # garbage that is all refused proves little


def test_the_same_seed_makes_the_same_file():
    kinds = {garbage(seed)[0] for seed in range(len(KINDS))}
    assert len(kinds) == len(set(KINDS))
    for seed in range(30):
        kind, data, options = garbage(seed)
        if kind != "broken_book":  # an archive carries the time of day
            assert garbage(seed) == (kind, data, options)
