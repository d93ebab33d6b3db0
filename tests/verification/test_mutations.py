"""That the suite would notice: broken equations, and that the list still applies."""

from __future__ import annotations

import os
from pathlib import Path

import pytest

from verification.mutations import MUTATIONS, SAMPLE, apply, caught_by


@pytest.mark.parametrize("mutation", MUTATIONS, ids=lambda m: m.name)
def test_mutation_applies(mutation: object, tmp_path: Path) -> None:
    """Every text to be broken is still in the package, once."""
    apply(mutation, tmp_path)  # type: ignore[arg-type]


# A run of tests in a copy for each: one always, the others with the full list.
@pytest.mark.parametrize(
    ("name", "test"), SAMPLE if os.environ.get("COREWARD_FULL") else SAMPLE[:1]
)
def test_a_broken_equation_is_noticed(name: str, test: str) -> None:
    (mutation,) = (m for m in MUTATIONS if m.name == name)
    failed = caught_by(mutation, (f"test_local_physics.py::{test}",), most=100)
    assert any(f"::{test}" in one for one in failed)


def test_there_are_enough() -> None:
    assert len(MUTATIONS) >= 10
    assert len({m.name for m in MUTATIONS}) == len(MUTATIONS)
