"""Data made by the whole model from known numbers give them back.

The quick check (tests/unit/test_calibration.py) is linear over all rows. This one cooks:
numbers are drawn from their priors, cubes and cooled joints are cooked with them, errors of
the stated sizes are added, and the calibration is run on what comes out, forty times.
"""

from __future__ import annotations

import dataclasses
import os

import numpy as np
import pytest

from coreward.evidence.calibration.account import ACCOUNTS
from coreward.evidence.calibration.laplace import (
    Stack,
    best,
    posterior,
    predicted,
    usual_errors,
)
from coreward.evidence.calibration.measured import LOGARITHMIC
from coreward.evidence.calibration.rows import measured_rows

FLOW = ACCOUNTS[1]
TAUGHT = ("film", "conductivity", "hold_midpoint", "hold_drop", "hold_width", "permeability")


@pytest.mark.skipif(
    not os.environ.get("COREWARD_FULL"), reason="minutes: COREWARD_FULL=1 runs it"
)
def test_known_numbers_come_back_through_the_model() -> None:
    """50 % intervals hold 0.5 ± 0.12 of 240, 90 % intervals 0.9 ± 0.07 (they hang together)."""
    makings = int(os.environ.get("COREWARD_MAKINGS", "40"))
    rows = [row for row in measured_rows() if row.source in ("beef cubes", "rolled joints")]
    stack = Stack(rows)
    errors = usual_errors()
    root = np.linalg.cholesky(stack.noise(errors))
    generator = np.random.default_rng(7)
    at = [FLOW.shared.index(name) for name in TAUGHT]
    deviations = []
    for _ in range(makings):
        truth = np.clip(generator.standard_normal(len(FLOW.shared)), -2.0, 2.0)
        own = [generator.standard_normal(len(row.unknowns)) for row in rows]
        made = [predicted((row, FLOW, truth, u)) for row, u in zip(rows, own, strict=True)]
        values = np.concatenate(made) + root @ generator.standard_normal(len(root))
        edges = np.cumsum([len(row.readings) for row in rows])[:-1]
        drawn = [
            dataclasses.replace(
                row,
                readings=tuple(
                    dataclasses.replace(
                        r, value=float(np.exp(v)) if r.kind in LOGARITHMIC else float(v)
                    )
                    for r, v in zip(row.readings, one, strict=True)
                ),
            )
            for row, one in zip(rows, np.split(values, edges), strict=True)
        ]
        state, lines = best(drawn, FLOW, most=4)
        there = Stack(drawn)
        shared, theirs = there.slopes(lines)
        departure = there.value - np.concatenate(
            [
                line.value - line.by_shared @ state.shared - line.by_own @ u
                for line, u in zip(lines, state.own, strict=True)
            ]
        )
        mean, covariance, _ = posterior(there, shared, theirs, departure, state.errors)
        deviations.append(((truth - mean) / np.sqrt(np.diag(covariance)))[at])
    z = np.abs(np.array(deviations))
    half, most = float((z < 0.6745).mean()), float((z < 1.6449).mean())
    print(f"{z.size} intervals: 50 % hold {half:.3f}, 90 % hold {most:.3f}")
    assert 0.38 <= half <= 0.62
    assert 0.83 <= most <= 0.97
