import numpy as np
import pytest

import coreward as cw
from coreward.events.standstill import find_stalls, smoothed_slope
from coreward.questions.stall.explain import REGIMES

pytestmark = pytest.mark.quick

HOUR = 3600.0


def cook(evaporation=True, dew=35.0, h=10.0, thickness=0.09, pit=107.0, hours=14.0, **sets):
    s = cw.Surroundings(pit, dew_point_c=dew, heat_transfer=h, evaporation=evaporation)
    p = cw.Piece(cw.Slab(thickness), cw.meat("beef brisket flat", **sets), 4.0)
    return cw.simulate(p, cw.Stage(s, duration_s=hours * HOUR))


@pytest.fixture(scope="module")
def bare():
    return cook()


@pytest.fixture(scope="module")
def explained(bare):
    return cw.explain(bare)


def test_surface_budget_adds_up(explained):
    e = explained
    # Conduction is what the fields gained, the rest is what crossed the
    # surface: they meet to within the change of flux over one solver step.
    late = e.time_s > 0.25 * HOUR
    arrives = e.convection_w_m2 + e.radiation_w_m2
    gap = arrives - e.evaporation_w_m2 - e.conduction_w_m2
    assert (np.abs(gap[late]) < 0.03 * arrives[late] + 2.0).all()


def test_the_water_budget_adds_up(bare, explained):
    e = explained
    out = e.evaporation_kg_m2_s + e.drip_kg_m2_s
    film = np.gradient(bare.film, e.time_s)
    late = e.time_s > 0.5 * HOUR
    gap = e.water_supply_kg_m2_s - out - film
    assert (np.abs(gap[late]) < 0.03 * e.water_supply_kg_m2_s[late] + 5e-6).mean() > 0.99


def test_fluxes_are_smooth_enough_to_read(explained):
    late = explained.time_s > HOUR
    for name in ("evaporation_w_m2", "conduction_w_m2"):
        y = getattr(explained, name)[late]
        # no jagged line: total variation close to the net changes of a smooth curve
        assert np.abs(np.diff(y)).sum() < 4.0 * (y.max() - y.min())


def test_default_cook_stalls_for_hours_where_cooks_say(explained):
    assert len(explained.stalls) == 1
    stall = explained.stalls[0]
    # common practice, no source: between roughly 60 and 78 °C, for hours
    assert 55.0 < stall.core_begin_c < 66.0
    assert 70.0 < stall.core_end_c < 85.0
    assert stall.duration_s > 2 * HOUR
    assert "stalls" in str(explained.sentence)
    assert "squeezes out" in str(explained.sentence)


def test_without_evaporation_it_never_stalls():
    result = cook(evaporation=False)
    e = cw.explain(result)
    assert e.stalls == ()
    assert (e.regime[result.surface_c < 99.0] == "no evaporation").all()
    # with nowhere else to go, the water boils in the end
    assert set(e.regime) <= {"no evaporation", "boiling"}
    assert "No stall" in str(e.sentence)
    assert "Evaporation is off" in str(e.sentence)
    # What boils is not said to keep its vapour.
    boils = np.flatnonzero(e.regime == "boiling")
    assert ("until it boils" in str(e.sentence)) == (boils.size > 0)
    assert "No vapour leaves" not in str(e.sentence)


def test_apparent_heat_capacity_peaks_above_the_sensible(explained):
    e = explained
    inside = (e.time_s > e.stalls[0].begin_s) & (e.time_s < e.stalls[0].end_s)
    ratio = e.apparent_heat_capacity_j_kg_k[inside] / e.sensible_heat_capacity_j_kg_k[inside]
    assert np.nanmedian(ratio) > 3.0


def test_every_regime_is_a_known_word(explained):
    assert set(explained.regime) <= set(REGIMES)


def test_regimes_appear_where_they_should():
    foil = cw.Surroundings(121.0, dew_point_c=35.0, heat_transfer=15.0)
    p = cw.Piece(cw.Slab(0.05), cw.meat(), 4.0)
    r = cw.simulate(
        p, [cw.Stage(foil, until_core_c=65.0), cw.Stage(foil, duration_s=9 * HOUR, wrap="foil")]
    )
    e = cw.explain(r)
    assert "sealed" in e.regime
    assert e.regime[-1] == "boiling"
    damp = cw.explain(cook(dew=70.0, hours=1.0))
    assert damp.regime[3] == "condensing"
    wet = cw.explain(cook(dew=60.0, h=4.0, pit=80.0, thickness=0.05, hours=6.0))
    assert "air-limited" in wet.regime


def test_temperatures_in_words_follow_the_unit(explained):
    assert "°F" in explained.in_words("F")
    assert "°C" not in explained.in_words("F")


def test_dew_and_wet_bulb_lines(explained):
    assert explained.dew_point_c == pytest.approx(35.0, abs=0.01)
    # psychrometrics.csv: 107 °C, dew point 30 and 40 °C give 42.27 and 47.77 °C
    assert 42.27 < explained.wet_bulb_c[0] < 47.77
    assert (explained.wet_surface_c > explained.wet_bulb_c).all()


def test_smoothed_slope_of_a_straight_line_is_exact():
    t = np.arange(0.0, 7200.0, 37.0)
    _, slope = smoothed_slope(t, 3.0 + 0.002 * t, 1200.0)
    assert np.allclose(slope, 0.002, rtol=1e-9)


def test_a_dry_approach_is_not_a_stall():
    t = np.arange(0.0, 20 * HOUR, 60.0)
    air = np.full_like(t, 107.0)
    core = 107.0 - 100.0 * np.exp(-t / (4 * HOUR))
    assert find_stalls(t, core, air) == ()


def test_a_made_plateau_is_found_where_it_was_made():
    t = np.arange(0.0, 14 * HOUR, 60.0)
    air = np.full_like(t, 107.0)
    core = np.interp(t / HOUR, [0, 1, 5, 8, 12, 14], [5, 10, 66, 68, 95, 99])
    (stall,) = find_stalls(t, core, air)
    assert stall.begin_s / HOUR == pytest.approx(5.0, abs=0.4)
    assert stall.end_s / HOUR == pytest.approx(8.0, abs=0.4)
    assert stall.ended


@pytest.mark.parametrize("n", [0, 1, 2])
def test_too_short_a_record_has_no_stall(n):
    t = np.arange(float(n))
    assert find_stalls(t, t, t) == ()


def test_explains_a_dry_solid_and_a_single_row():
    p = cw.Piece(cw.Slab(0.05), cw.constant_material(0.5, 1000.0, 3500.0), 5.0)
    s = cw.Surroundings(100.0, heat_transfer=10.0)
    e = cw.explain(cw.simulate(p, cw.Stage(s, duration_s=HOUR)))
    assert e.stalls == ()
    assert cw.explain(cw.simulate(p, cw.Stage(s, duration_s=0.0))).sentence
