"""A plan lived through with fresh draws keeps the odds that it states."""

from __future__ import annotations

import dataclasses
import datetime as dt
import os

import numpy as np
import pytest

import coreward as cw
from coreward.physics.body import SHAPES
from coreward.questions.plan.answer import Hold, PitPlan, PlannedPiece, Wanted, plan
from support.walk_forward import live_through

# All 200 when asked for; a few where every minute counts.
FULL = bool(os.environ.get("COREWARD_FULL"))
PLANS, MEMBERS, DAYS = (200, 200, 100) if FULL else (8, 100, 60)
CUTS = ("pork shoulder", "beef brisket flat", "beef chuck", "lamb leg", "turkey breast")


def random_plan(number: int):
    """Make a plan nobody chose: pieces, pit, wraps, holds, chance and hour at random."""
    rng = np.random.default_rng([1830, number])
    pieces = []
    for i in range(int(rng.integers(1, 4 if FULL else 3))):
        cut = str(rng.choice(CUTS))
        core = float(rng.uniform(72.0, 92.0))
        wrap = (None, "foil", "paper")[int(rng.integers(3))]
        shape = str(rng.choice(sorted(SHAPES)))
        size = float(rng.uniform(0.04, 0.08)) * (1.0 if shape == "slab" else 1.5)
        least = float(rng.uniform(0.0, 2400.0))
        pieces.append(
            PlannedPiece(
                f"{cut} {i}",
                cw.Piece(SHAPES[shape](size), cw.meat(cut), float(rng.uniform(2.0, 12.0))),
                # What waits for hold tables is told by the core at which it is pulled.
                Wanted(core, lethality=bool(number % 2)),
                wrap=wrap,
                wrap_at_core_c=None if wrap is None else float(rng.uniform(50.0, 68.0)),
                mass_kg=float(rng.uniform(1.0, 5.0)),
                hold=Hold("box", least_s=least, most_s=least + float(rng.uniform(600, 2e4))),
                slicing_s=float(rng.uniform(0.0, 1800.0)),
            )
        )
    pit = PitPlan(
        float(rng.uniform(105.0, 140.0)),
        dew_point_c=float(rng.uniform(20.0, 45.0)),
        doubt={"heat_transfer": float(rng.uniform(0.05, 0.35))},
    )
    if len(pieces) == 1 and rng.random() < 0.5:
        # With several, a slow fire would change how far apart they go on.
        pit = dataclasses.replace(
            pit, turn_up_c=150.0, turn_up_after_s=float(rng.uniform(1800.0, 14400.0))
        )
    serve = dt.datetime(2026, 10, 25, 18, 30, tzinfo=dt.UTC) + dt.timedelta(
        minutes=float(rng.integers(0, 5 * 24 * 60))
    )
    chance = float(rng.choice([0.6, 0.75, 0.9]))
    return plan(pieces, serve, pit=pit, chance=chance, members=MEMBERS, seed=number)


def sigmas(stated: float, found: float) -> float:
    """How far a share found lies from the one stated, both counted from draws.

    Draws of the plan are spread evenly, so that its own share is surer than this binomial
    error says. One more success and failure keep the error from being nothing at 0 and 1
    (Agresti and Coull, from memory).
    """
    pooled = (stated * MEMBERS + found * DAYS + 1.0) / (MEMBERS + DAYS + 2.0)
    error = np.sqrt(pooled * (1.0 - pooled) * (1.0 / MEMBERS + 1.0 / DAYS))
    return float((found - stated) / error)


@pytest.fixture(scope="module")
def departures() -> np.ndarray:
    rows = []
    for number in range(PLANS):
        answer = random_plan(number)
        ready, both = live_through(answer, DAYS, number)
        rows.append((sigmas(answer.chance_ready, ready), sigmas(answer.chance_in_hold, both)))
    return np.array(rows)


def test_no_plan_departs_from_its_odds_beyond_sampling(departures: np.ndarray) -> None:
    # The largest of 400 bell-curve numbers exceeds 4.2 in one case of 100.
    assert np.abs(departures).max() < 4.2


def test_plans_do_not_depart_to_one_side(departures: np.ndarray) -> None:
    # A plan stops at the first share of its draws that is enough, which flatters it by at
    # most one draw in all: counted in sigmas, and 4 sigmas of the mean on top.
    flattery = (1.0 / MEMBERS) / np.sqrt(0.09 * (1.0 / MEMBERS + 1.0 / DAYS))
    allowed = flattery + 4.0 / np.sqrt(PLANS)
    assert np.abs(departures.mean(axis=0)).max() < allowed


def test_departures_are_no_wider_than_sampling(departures: np.ndarray) -> None:
    # Mean square of PLANS numbers of spread 1: 1 and 4 of its sigmas. Even draws make it
    # less, so that there is no lower end.
    assert (departures**2).mean(axis=0).max() < 1.0 + 4.0 * np.sqrt(2.0 / PLANS)


def test_a_day_that_begins_late_is_caught() -> None:
    """The check itself can fail: begun five hours late, the odds are not kept."""
    answer = random_plan(1)
    hours = dt.timedelta(hours=5)

    def later(step):
        return dataclasses.replace(step, planned=step.planned + hours)

    late = dataclasses.replace(
        answer,
        light=later(answer.light),
        pieces=tuple(
            dataclasses.replace(one, steps=tuple(later(s) for s in one.steps))
            for one in answer.pieces
        ),
    )
    ready, _ = live_through(late, DAYS, 1)
    assert sigmas(answer.chance_ready, ready) < -4.0
