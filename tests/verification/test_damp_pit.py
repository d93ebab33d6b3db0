"""A piece in the pit of a prior makes its own damp: what fit, forecast and plan cook with."""

from __future__ import annotations

import dataclasses

import numpy as np
import pytest

import coreward as cw
from coreward.cook import light
from coreward.cook.light import LightRun, run_light, spread
from coreward.physics.body import make_mesh
from coreward.physics.problem import LEDGER, Problem, Raw
from coreward.physics.water import saturation_temperature
from coreward.questions.forecast.fit import NAMES, Member, Prior, stated_prior

HOUR = 3600.0
AIR_C = 107.0
BRISKET = cw.piece("brisket", 6.0)
AT_S = np.arange(0.0, 16 * HOUR, 300.0)
_Q = {name: i for i, name in enumerate(LEDGER)}


def in_pit(fresh_air_kg_h: float) -> Prior:
    prior = stated_prior(BRISKET)
    assert prior.pit is not None
    pit = dataclasses.replace(prior.pit, fresh_air_kg_h=fresh_air_kg_h, brought_kg_h=0.0)
    return dataclasses.replace(prior, pit=pit)


def guess(prior: Prior, **numbers: float) -> Member:
    z = np.zeros(len(NAMES))
    for name, value in numbers.items():
        z[NAMES.index(name)] = value
    return prior.member(z)


def cooked(prior: Prior, member: Member, foil_at_c: float | None = None) -> LightRun:
    steady = (np.array([0.0, AT_S[-1]]), np.full(2, AIR_C), AT_S[-1])
    legs = [prior.leg(member, None, *steady, foil_at_c)]
    if foil_at_c is not None:
        legs.append(prior.leg(member, "foil", *steady))
    return run_light(prior.cook(member, legs), AT_S)


def still(prior: Prior, **more: float) -> Member:
    """Return a guess at the stated size in a smooth stream, with nearly all juice in the air.

    That is what makes a core stand; what is believed of any pit lies to one side of it.
    """
    p = prior.spread
    size, heat = -p["size_middle"] / p["size"], -p["heat_transfer_middle"] / p["heat_transfer"]
    return guess(prior, size=size, heat_transfer=heat, surface_share=3.57, **more)


STEPS_C = np.arange(46.0, 79.0, 4.0)


def hours_for_steps(fresh_air_kg_h: float) -> list[float]:
    """Hours that the core takes for four kelvin from each of `STEPS_C` on."""
    prior = in_pit(fresh_air_kg_h)
    run = cooked(prior, still(prior))
    risen = np.maximum.accumulate(run.core_c)
    assert risen[-1] > STEPS_C[-1] + 4.0
    at = np.interp([STEPS_C, STEPS_C + 4.0], risen, AT_S)
    return list((at[1] - at[0]) / HOUR)


def test_in_a_tight_pit_a_brisket_stands_and_then_runs() -> None:
    hours = dict(zip(STEPS_C, hours_for_steps(1.5), strict=True))
    # It takes longer at 62 to 70 °C than both before and after, though after that the air
    # is nearer: a stand that ends. Less than two and three quarters of a kelvin in an hour,
    # then over three.
    assert 1.3 * hours[70.0] < min(hours[62.0], hours[66.0])
    assert 2.0 * hours[58.0] < min(hours[62.0], hours[66.0])
    assert 4.0 / min(hours[62.0], hours[66.0]) < 2.75
    assert 4.0 / hours[70.0] > 3.0


def test_in_a_dry_leaky_pit_it_has_a_slope_and_no_stand() -> None:
    hours = hours_for_steps(30.0)
    # From 50 °C on each step takes a little longer than the one before: none stands out.
    assert (np.diff(hours[1:]) > 0.0).all()
    assert (np.diff(hours[1:]) < 0.25).all()


def test_more_fresh_air_lowers_the_stand() -> None:
    slowest = [STEPS_C[int(np.argmax(hours_for_steps(v)[:7]))] for v in (1.0, 1.5, 2.5)]
    assert slowest[0] > slowest[1] > slowest[2]


def test_foil_ends_the_stand_within_the_hour() -> None:
    prior = in_pit(1.5)
    member = still(prior, wrap_leak=-2.0)
    bare, foil = cooked(prior, member), cooked(prior, member, 64.0)
    wrapped = int(np.searchsorted(AT_S, foil.leg_end_s[0]))
    hour = int(HOUR / 300.0)
    after = slice(wrapped + hour, wrapped + 2 * hour)
    rise = np.ptp(foil.core_c[after])
    assert foil.reached[0]
    assert rise > 2.0 * np.ptp(bare.core_c[after])


def test_water_closes_over_meat_air_and_outlet(monkeypatch: pytest.MonkeyPatch) -> None:
    asked: list[tuple[Problem, Raw]] = []
    solve = light.solve

    def listening(problem: Problem) -> Raw:
        raw = solve(problem)
        asked.append((problem, raw))
        return raw

    monkeypatch.setattr(light, "solve", listening)
    prior = in_pit(2.0)
    cooked(prior, guess(prior, size=0.5, dampness=1.0), 66.0)
    assert len(asked) == 2
    for problem, raw in asked:
        mesh, gone = problem.mesh, raw.ledger[-1]
        assert raw.vapour is not None
        before = problem.water @ mesh.volume + problem.film * mesh.surface_area
        after = raw.water[-1] @ mesh.volume + raw.film[-1] * mesh.surface_area
        given = gone[_Q["evaporated"]] + gone[_Q["boiled"]]
        left = after - before + given + gone[_Q["dripped"]]
        air = raw.vapour[-1] - problem.vapour - given - gone[_Q["vapour_in"]]
        air += gone[_Q["vapour_out"]] + gone[_Q["condensed"]]
        assert abs(left) < 1e-8 * before
        assert abs(air) < 1e-8 * before
    # The wrap changes nothing of the air: what was in it goes on.
    first, second = asked
    assert first[1].vapour is not None
    assert second[0].vapour == pytest.approx(first[1].vapour[-1], rel=1e-12)


def test_the_pit_of_a_unit_is_that_of_the_piece() -> None:
    prior = in_pit(2.0)
    member = guess(prior, size=1.0)
    leg = prior.leg(member, None, np.array([0.0, HOUR]), np.full(2, AIR_C), HOUR)
    shape = prior.shape(member)
    mesh = make_mesh(shape, 24)
    assert BRISKET.raw_mass_kg is not None
    # As many units as hold the volume of the piece, whatever its guessed size is.
    units = BRISKET.raw_mass_kg / BRISKET.material.raw_density / mesh.volume.sum()
    assert leg.forcing.fresh_air is not None
    assert leg.forcing.fresh_air[0] * units * HOUR == pytest.approx(2.0, rel=1e-9)
    assert leg.chamber.volume * units == pytest.approx(0.1, rel=1e-9)


def test_a_stated_dew_point_is_kept() -> None:
    prior = stated_prior(BRISKET, dew_point_c=41.0)
    run = cooked(prior, guess(prior))
    assert saturation_temperature(float(run.vapour_pressure[60])) == pytest.approx(
        41.0, abs=1e-6
    )


def test_order_of_members_hangs_on_no_threads() -> None:
    prior = in_pit(4.0)
    members = [guess(prior, dampness=0.3 * i - 0.6, release=0.2 * i) for i in range(5)]

    def loss(member: Member) -> float:
        return float(cooked(prior, member).water_loss_fraction[60])

    assert spread(loss, members, cores=1) == spread(loss, members, cores=2)
