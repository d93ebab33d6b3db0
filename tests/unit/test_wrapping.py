"""The moment of the wrap: what it saves, what it costs, and when it does not happen."""

from __future__ import annotations

import math

import numpy as np
import pytest

import coreward as cw
from coreward.cook.rest import rest_stage
from coreward.cook.stages import Liquid
from coreward.errors import InputError
from coreward.questions.rest.wrapping import crust, up_to, wrap_moments, wrapped_cook

pytestmark = pytest.mark.quick

PIECE = cw.Piece(cw.Slab(0.05), cw.meat("beef brisket flat"), 4.0)
PIT = cw.Surroundings(120.0, dew_point_c=35.0)
QUICK = {"cells": 30, "tolerance": 0.05}
CUP = Liquid(0.24, 21.0, piece_kg=2.5)


@pytest.fixture(scope="module")
def moments():
    return wrap_moments(PIECE, PIT, 85.0, (50.0, 60.0, 70.0, None), **QUICK)


def test_later_is_slower_and_lighter_and_never_is_last(moments):
    done = [m.done_s for m in moments]
    loss = [m.loss for m in moments]
    assert done == sorted(done)
    assert loss == sorted(loss)
    assert done[-1] > done[0] + 600.0
    assert math.isinf(moments[-1].wrapped_s)
    for m in moments[:-1]:
        at = np.interp(m.wrapped_s, m.result.time_s, m.result.core_c)
        assert at == pytest.approx(m.at_core_c, abs=0.05)


def test_a_wrap_softens_what_had_dried_and_never_does_not(moments):
    driest = [m.crust.driest for m in moments]
    # The longer it is bare, the drier it comes.
    assert driest == sorted(driest, reverse=True)
    for m in moments[:-1]:
        assert m.crust.softest > 0.95
        assert m.crust.softest_s >= m.wrapped_s
        assert "softens to" in m.crust.sentence
    assert moments[-1].crust.softest < 0.9
    assert "does not soften again" in moments[-1].crust.sentence


def test_liquid_costs_time(moments):
    poured = wrap_moments(PIECE, PIT, 85.0, (60.0,), liquid=CUP, **QUICK)[0]
    assert poured.done_s > moments[1].done_s + 60.0
    assert poured.result.added_fraction[-1] == pytest.approx(0.24 / 2.5)


def test_a_moment_after_it_is_done_is_never(moments):
    late, short = wrap_moments(PIECE, PIT, 60.0, (60.0, None), **QUICK)
    assert late.done_s == short.done_s
    assert math.isinf(late.wrapped_s)


def test_the_driest_is_looked_for_until_it_is_covered():
    stages = [
        cw.Stage(PIT, duration_s=3 * 3600.0),
        cw.Stage(PIT, duration_s=1800.0, wrap="foil"),
        cw.Stage(PIT, duration_s=3 * 3600.0),
    ]
    result = cw.simulate(PIECE, stages, **QUICK)
    first = crust(result, result.records[0].end_s)
    assert first.driest_s <= result.records[0].end_s
    assert first.softest > 0.95
    assert first.at_end < 0.9
    whole = crust(result)
    assert whole.driest <= first.driest
    assert whole.driest_s > result.records[1].end_s


def test_never_at_a_core_after_a_time_and_off_again():
    assert wrapped_cook(PIT) == ((), None, None)
    before, wrap, liquid = wrapped_cook(PIT, at_core_c=65.0, liquid=CUP)
    assert [s.until_core_c for s in before] == [65.0]
    assert (before[0].wrap, wrap, liquid) == (None, "foil", CUP)
    before, wrap, liquid = wrapped_cook(PIT, wrap="paper", after_s=3600.0, off_core_c=80.0)
    assert [s.wrap for s in before] == [None, "paper"]
    assert before[0].duration_s == 3600.0
    assert (wrap, liquid) == (None, None)
    before, _, liquid = wrapped_cook(PIT, at_core_c=60.0, off_core_c=80.0, liquid=CUP)
    assert before[1].liquid == CUP
    assert liquid is None
    with pytest.raises(InputError, match="not both"):
        wrapped_cook(PIT, at_core_c=65.0, after_s=3600.0)
    with pytest.raises(InputError, match="take it off later"):
        wrapped_cook(PIT, at_core_c=65.0, off_core_c=60.0)


@pytest.mark.parametrize(
    ("pull_c", "wraps"),
    [(40.0, [None]), (55.0, [None]), (70.0, [None, "foil"]), (85.0, [None, "foil", None])],
)
def test_what_would_come_after_the_pull_does_not_happen(pull_c, wraps):
    before, wrap, _ = wrapped_cook(PIT, at_core_c=55.0, off_core_c=75.0, liquid=CUP)
    plan = (*before, cw.Stage(PIT, duration_s=36000.0, wrap=wrap))
    cut = up_to(PIECE, plan, pull_c)
    assert [stage.wrap for stage in cut] == wraps
    result = cw.simulate(PIECE, cut, **QUICK)
    assert result.core_c[-1] == pytest.approx(pull_c, abs=0.01)
    # Nothing is poured into a wrap that it never wore.
    assert (result.added_fraction[-1] > 0.0) == ("foil" in wraps)


def test_a_wrap_by_the_clock_is_cut_by_what_the_core_does():
    before, wrap, _ = wrapped_cook(PIT, after_s=3600.0)
    last = cw.Stage(PIT, duration_s=36000.0, wrap=wrap)
    core = cw.simulate(PIECE, before[0], **QUICK).core_c[-1]
    assert len(up_to(PIECE, (*before, last), float(core) - 5.0)) == 1
    assert len(up_to(PIECE, (*before, last), float(core) + 5.0)) == 2


def test_rest_takes_the_wrap_off_again():
    """Wrapped to the end of the cook, rested bare: the juice runs off and the crust dries."""
    before, wrap, _ = wrapped_cook(PIT, at_core_c=50.0)
    cooked = up_to(PIECE, (*before, cw.Stage(PIT, duration_s=36000.0, wrap=wrap)), 75.0)
    rest = rest_stage("kitchen", 3600.0, piece=PIECE)
    result = cw.simulate(PIECE, [*cooked, rest], **QUICK)
    assert crust(result, result.records[0].end_s).softest > 0.99
    assert result.film[-1] < 0.2
    assert result.dripped_fraction[-1] > 0.01
    assert result.balance.water <= 1e-10
    assert result.balance.energy <= 1e-10
