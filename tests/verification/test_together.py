"""Several pieces that share one chamber's air; water that is injected or sprayed on."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

import coreward as cw
from coreward import tables
from coreward.cook.result import Result
from coreward.errors import InputError, TableError
from coreward.physics.water import saturation_pressure, saturation_temperature

HOUR = 3600.0
RESIDUAL = 1e-8
R_AIR, R_VAPOUR = 8.314462618 / 0.02896546, 8.314462618 / 0.018015268
MEAT = cw.meat("beef brisket flat", **cw.FLOWING)
FLAT = cw.Piece(cw.Slab(0.045), MEAT, 4.0, 6.0)
ROLL = cw.Piece(cw.Cylinder(0.09), MEAT, 4.0, 2.0)


def chamber(fresh: float = 1.5, **more: object) -> cw.Chamber:
    given: dict[str, object] = {"outside_dew_point_c": 10.0, "heat_transfer": 8.0, **more}
    return cw.Chamber(107.0, fresh, **given)  # type: ignore[arg-type]


def at(result: Result, times: np.ndarray, name: str) -> np.ndarray:
    return np.interp(times, result.time_s, getattr(result, name))


@pytest.fixture(scope="module")
def two() -> cw.SharedCook:
    pit = chamber()
    return cw.cook_together([FLAT, ROLL], pit, cw.Stage(pit, duration_s=8 * HOUR))


def test_two_alike_are_one_of_twice_the_mass() -> None:
    pit = chamber()
    stage = cw.Stage(pit, duration_s=8 * HOUR)
    both = cw.cook_together([FLAT, FLAT], pit, stage)
    one = cw.simulate(replace(FLAT, mass_kg=12.0), stage)
    half = cw.simulate(FLAT, cw.Stage(replace(pit, portion=0.5), duration_s=8 * HOUR))
    times = np.linspace(0.0, 8 * HOUR, 97)
    for result in (*both, half):
        # The same equations, but step sizes begin anew in each window: two runs at the
        # default tolerance, each within 0.05 K of the converged one.
        assert at(result, times, "core_c") == pytest.approx(at(one, times, "core_c"), abs=0.03)
    assert both.apart_k < 1e-6


def test_the_water_of_all_pieces_and_of_the_air_closes(two: cw.SharedCook) -> None:
    assert max(two.balance.energy, two.balance.water, two.balance.vapour) < RESIDUAL
    assert two.apart_k <= 0.1


def test_what_all_give_off_is_in_the_air_or_was_carried_off(two: cw.SharedCook) -> None:
    """From the results alone: the air's dry mass and vapour integrated beside the engine."""
    times = np.arange(0.0, 8 * HOUR + 1.0, 30.0)
    given_off = np.zeros_like(times)
    vapour = np.zeros_like(times)
    area = sum(float(r.piece.surface_m2) for r in two)
    for r in two:
        given_off += at(r, times, "evaporated_fraction") * float(r.piece.raw_mass_kg)
        p = np.interp(times, r.time_s, r.environment[:, 2])
        vapour += p * float(r.piece.surface_m2) / area
    y = R_AIR / R_VAPOUR * vapour / (101325.0 - vapour)
    p0 = saturation_pressure(10.0)
    y0 = R_AIR / R_VAPOUR * p0 / (101325.0 - p0)
    held = vapour * 0.1 / (R_VAPOUR * 380.15)
    fresh = 1.5 / HOUR
    # Dry air that leaves: what comes in and what vapour displaces.
    pushed = fresh + np.gradient(held, times) * R_VAPOUR / R_AIR
    carried = np.concatenate(
        ([0.0], np.cumsum(np.diff(times) * 0.5 * ((pushed * y)[1:] + (pushed * y)[:-1])))
    )
    gained = held - held[0] + carried - fresh * y0 * times
    # Trapezoids of half a minute over curves that bend within an hour.
    assert gained[-1] == pytest.approx(given_off[-1], rel=2e-3)


def test_each_cooks_as_it_would_in_air_of_that_dew_point(two: cw.SharedCook) -> None:
    """The other piece's air, given as surroundings, gives the same cook."""
    other = two[0]
    dew = [saturation_temperature(float(p)) for p in other.environment[:, 2]]
    around = cw.Surroundings(
        107.0, dew_point_c=(other.time_s, np.minimum(dew, 99.0)), heat_transfer=8.0
    )
    given = cw.simulate(ROLL, cw.Stage(around, duration_s=8 * HOUR))
    times = np.linspace(0.0, 8 * HOUR, 97)
    # Dew points 0.1 K apart, and a polygon of a minute for the air.
    assert at(given, times, "core_c") == pytest.approx(at(two[1], times, "core_c"), abs=0.1)


def test_a_stricter_air_moves_no_core(two: cw.SharedCook) -> None:
    pit = chamber()
    strict = cw.cook_together(
        [FLAT, ROLL], pit, cw.Stage(pit, duration_s=8 * HOUR), apart_k=0.04
    )
    assert strict.apart_k <= 0.04
    times = np.linspace(0.0, 8 * HOUR, 97)
    for a, b in zip(two, strict, strict=True):
        assert at(a, times, "core_c") == pytest.approx(at(b, times, "core_c"), abs=0.05)


def test_one_goes_in_late_and_one_is_wrapped_when_it_stands() -> None:
    pit = chamber()
    wrapped = [
        cw.Stage(pit, until_core_c=65.0, label="bare"),
        cw.Stage(pit, until_core_c=90.0, wrap="foil", label="foil"),
    ]
    shared = cw.cook_together(
        [FLAT, ROLL], pit, [wrapped, [cw.Stage(pit, until_core_c=80.0)]], start_s=[0.0, HOUR]
    )
    flat, roll = shared
    assert max(shared.balance.energy, shared.balance.water, shared.balance.vapour) < RESIDUAL
    assert [record.label for record in flat.records] == ["bare", "foil"]
    assert [record.label for record in roll.records] == ["not in yet", "stage 2"]
    assert roll.records[0].end_s == pytest.approx(HOUR)
    assert at(roll, np.array([0.9 * HOUR]), "core_c")[0] == pytest.approx(4.0, abs=1e-6)
    assert flat.core_c[-1] == pytest.approx(90.0, abs=0.01)
    # The air dries when the large piece gives no more vapour to it.
    before = flat.records[0].end_s
    dew = np.interp([before, before + HOUR], roll.time_s, roll.dew_point_c)
    assert dew[1] < dew[0] - 3.0


def test_company_makes_the_air_damper_than_each_alone(two: cw.SharedCook) -> None:
    for piece, result in zip((FLAT, ROLL), two, strict=True):
        alone = cw.simulate(piece, cw.Stage(chamber(), duration_s=4 * HOUR))
        moment = np.array([3 * HOUR])
        assert at(result, moment, "dew_point_c") > at(alone, moment, "dew_point_c")


def test_what_cannot_share_is_refused_with_the_remedy() -> None:
    pit = chamber()
    stage = cw.Stage(pit, duration_s=HOUR)
    with pytest.raises(InputError, match="raw mass"):
        cw.cook_together([FLAT, replace(ROLL, mass_kg=None)], pit, stage)
    with pytest.raises(InputError, match="very Chamber that is shared"):
        cw.cook_together([FLAT], pit, cw.Stage(chamber(), duration_s=HOUR))
    with pytest.raises(InputError, match="2 pieces and 3 lists"):
        cw.cook_together([FLAT, ROLL], pit, [[stage], [stage], [stage]])
    with pytest.raises(InputError, match="at least one Piece"):
        cw.cook_together([], pit, stage)
    with pytest.raises(InputError, match="must be a Chamber"):
        cw.cook_together([FLAT], cw.Surroundings(107.0), stage)  # type: ignore[arg-type]


# ------------------------------------------------------------- injected, sprayed


@pytest.mark.parametrize("closure", ["expulsion", "swelling_pressure", "both"])
def test_injected_water_is_in_the_balance_and_in_the_shares(closure: str) -> None:
    material = cw.meat("beef brisket flat", transport=closure)
    plain = cw.Piece(cw.Slab(0.045), material, 4.0, 6.0)
    injected = replace(plain, injected_fraction=0.1)
    stage = cw.Stage(chamber(), duration_s=6 * HOUR)
    a, b = (cw.simulate(piece, stage) for piece in (plain, injected))
    assert max(b.balance.energy, b.balance.water, b.balance.vapour) < RESIDUAL
    # 0.1 kg in a kilogram of raw meat, now 1.1 kg.
    more = (
        b.mesh.mean(b.water[0]) - a.mesh.mean(a.water[0])
    ) * material.constants.solids_density
    assert more == pytest.approx(0.1 * material.raw_density, rel=1e-9)
    assert b.mass_loss_fraction[0] == pytest.approx(0.0, abs=1e-12)
    # More is lost than the plain piece loses, but not more than was put in on top.
    lost_a, lost_b = a.mass_loss_fraction[-1], 1.1 * b.mass_loss_fraction[-1]
    assert lost_a < lost_b < lost_a + 0.1 + 0.01


def test_a_spray_is_in_the_balance_and_cools_the_surface() -> None:
    spray = cw.Spray(mass_kg=0.03, every_s=HOUR)
    bare = cw.simulate(FLAT, cw.Stage(chamber(30.0), duration_s=12 * HOUR))
    wet = cw.simulate(FLAT, cw.Stage(chamber(30.0), duration_s=12 * HOUR, spray=spray))
    assert max(wet.balance.energy, wet.balance.water, wet.balance.vapour) < RESIDUAL
    assert len(wet.records) == 1
    # 11 times in 12 hours: none at the start and none at the end.
    assert wet.added_fraction[-1] == pytest.approx(11 * 0.03 / 6.0, rel=1e-9)
    # Late in a dry pit the bare surface is a crust; a spray wets it again.
    moment = np.array([11 * HOUR + 60.0])
    assert at(wet, moment, "surface_c") < at(bare, moment, "surface_c") - 5.0
    assert wet.core_c[-1] < bare.core_c[-1] - 1.0


def test_sprays_of_a_stage_that_ends_by_the_core() -> None:
    spray = cw.Spray(mass_kg=0.03, every_s=0.5 * HOUR)
    stages = (
        cw.Stage(chamber(), until_core_c=60.0, spray=spray),
        cw.Stage(chamber(), duration_s=HOUR, wrap="foil"),
    )
    r = cw.simulate(FLAT, stages)
    assert [record.reached for record in r.records] == [True, None]
    assert set(r.stage_index) == {0, 1}
    times = int(r.records[0].end_s // (0.5 * HOUR))
    assert r.added_fraction[-1] == pytest.approx(times * 0.03 / 6.0, rel=1e-9)
    assert max(r.balance.energy, r.balance.water, r.balance.vapour) < RESIDUAL


def test_more_than_the_surface_holds_runs_off_and_is_said() -> None:
    stage = cw.Stage(chamber(), duration_s=2 * HOUR, spray=cw.Spray(0.5, HOUR))
    r = cw.simulate(FLAT, stage)
    assert any("the rest drips away" in str(note) for note in r.warnings)
    assert r.dripped_fraction[-1] > 0.05


def test_impossible_sprays_and_injections_are_refused() -> None:
    with pytest.raises(InputError, match="wrapped piece cannot be sprayed"):
        cw.Stage(chamber(), duration_s=HOUR, wrap="foil", spray=cw.Spray(0.05, HOUR))
    with pytest.raises(InputError, match="at least 60 s"):
        cw.Spray(0.05, 1.0)
    with pytest.raises(InputError, match="mass of a spray"):
        cw.Spray(0.0, HOUR)
    with pytest.raises(InputError, match="injected water"):
        replace(FLAT, injected_fraction=0.6)
    with pytest.raises(InputError, match="raw mass of the piece"):
        cw.simulate(
            replace(FLAT, mass_kg=None),
            cw.Stage(cw.Surroundings(107.0), duration_s=2 * HOUR, spray=cw.Spray(0.05, HOUR)),
        )


# ------------------------------------------------------------- in a cook's words


def test_words_of_a_pit_are_the_numbers_of_its_table() -> None:
    pit = cw.Chamber.of(107.0, "tight", fire="electric")
    assert pit.fresh_air_kg_h == tables.load("ventilation", "tight")["fresh_air_nearly_closed"]
    assert pit.water_kg_h == 0.0
    assert cw.Chamber.of(107.0, "tight", "open").fresh_air_kg_h > 5.0
    burning = cw.Chamber.of(107.0, "tight", "closed", "propane", power_kw=2.0, pan_kg_h=0.1)
    # Burnt air: C3H8 + 5 O2 -> 3 CO2 + 4 H2O, 46.4 MJ/kg (from memory), 20.95 % oxygen.
    fuel = 2.0 * 3600.0 / 46_400.0
    oxygen = fuel * 5 * 31.998 / 44.097
    assert burning.fresh_air_kg_h == pytest.approx(oxygen / 0.2314, rel=0.02)
    assert burning.water_kg_h - 0.1 == pytest.approx(fuel * 4 * 18.015 / 44.097, rel=0.02)


def test_a_wood_fire_makes_damper_air_than_charcoal_and_that_than_current() -> None:
    dew = []
    for fire in ("electric", "charcoal", "wood"):
        pit = cw.Chamber.of(107.0, "average", fire=fire, heat_transfer=8.0)
        dew.append(cw.simulate(FLAT, cw.Stage(pit, duration_s=3 * HOUR)).dew_point_c[-1])
    assert dew[0] < dew[1] < dew[2]


def test_words_that_no_pit_has_are_refused() -> None:
    with pytest.raises(InputError, match="closed, nearly closed, half open, open"):
        cw.Chamber.of(107.0, vents="ajar")
    with pytest.raises(TableError):
        cw.Chamber.of(107.0, fire="peat")
    with pytest.raises(InputError, match="power of the fire"):
        cw.Chamber.of(107.0, power_kw=500.0)
