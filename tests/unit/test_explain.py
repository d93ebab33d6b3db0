from dataclasses import replace

import numpy as np
import pytest

import coreward as cw
from coreward.events.standstill import find_stalls, smoothed_slope
from coreward.physics.exchange import wet_surface_temperature
from coreward.physics.statement import water_held
from coreward.questions.stall import usual
from coreward.questions.stall.explain import REGIMES, _account, _sentence

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
    # Some 20 K in 6 h are no standstill.
    assert not stall.level
    assert "climbs slowly" in str(explained.sentence)
    assert "squeezes out" in str(explained.sentence)
    assert explained.account.kind == "slope"


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


def test_free_water_is_what_the_meat_no_longer_holds(bare, explained):
    free = explained.free_water
    assert free[0] == 0.0
    # By hand, in the middle of the stall.
    row = int(np.searchsorted(bare.time_s, 8 * HOUR))
    m, mesh = bare.piece.material.constants, bare.mesh
    held = np.array([water_held(float(t), m) for t in bare.highest_c[row]])
    over = np.maximum(bare.water[row] * m.solids_density - held, 0.0) @ mesh.volume
    over += bare.film[row] * mesh.surface_area
    assert free[row] == pytest.approx(
        over / (bare.piece.material.raw_density * mesh.volume.sum()), rel=1e-3, abs=1e-6
    )


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


def test_dew_point_and_wet_surface_lines(explained):
    assert explained.dew_point_c == pytest.approx(35.0, abs=0.01)
    expected = wet_surface_temperature(107.0, 35.0, 10.0)
    assert explained.wet_surface_c == pytest.approx(expected, abs=0.02)


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


# The regimes of a whole cook ----------------------------------------------------------


@pytest.fixture(scope="module")
def tight():
    """Return the page's first picture."""
    return cw.simulate(usual.piece(), cw.Stage(usual.pit(), duration_s=14 * HOUR))


def least_rise(r, hours):
    times = np.arange(0.0, r.duration_s, 60.0)
    core = np.interp(times, r.time_s, r.core_c)
    ahead = int(hours * 60)
    begin, rise = core[:-ahead], core[ahead:] - core[:-ahead]
    return float(rise[(begin >= 60.0) & (begin + rise <= 80.0)].min())


def test_the_first_picture_stands_still_for_hours_and_then_runs(tight):
    assert least_rise(tight, 2.0) <= 3.0
    assert least_rise(tight, 4.0) <= 10.0
    assert 8 * HOUR <= tight.time_at_core(85.0) <= 14 * HOUR
    e = cw.explain(tight)
    a = e.account
    assert a.kind == "wet plateau"
    assert a.stall.level
    assert a.stall.duration_s >= 2 * HOUR
    assert 60.0 < a.stall.core_begin_c < a.stall.core_end_c < 80.0
    assert 55.0 <= a.dew_point_c <= 68.0
    assert a.ended_by == "stock"
    assert a.ends_s == a.stall.end_s
    assert a.after_k >= 2.0
    # What a cook reads off core and air is the damp that the meat made.
    assert a.damp.dew_point_c == pytest.approx(a.dew_point_c, abs=3.0)
    assert a.damp.low_c <= a.dew_point_c <= a.damp.high_c
    for words in ("stands still for", "leaves again as vapour", "free water is spent"):
        assert words in str(e.sentence)
    assert f"dew point of about {a.damp.dew_point_c:.0f} °C" in str(e.sentence)


def test_the_chambers_damp_is_looked_up_and_not_solved_in_each_row(tight):
    e = cw.explain(tight)
    for hour in (0.5, 2.0, 5.0, 12.0):
        row = int(np.searchsorted(tight.time_s, hour * HOUR))
        expected = wet_surface_temperature(107.0, e.dew_point_c[row], tight.environment[row, 3])
        assert e.wet_surface_c[row] == pytest.approx(expected, abs=0.05)


def test_a_leaky_pit_has_a_slope_and_says_nothing_of_the_pit():
    pit = usual.pit(ventilation="leaky")
    r = cw.simulate(usual.piece(), cw.Stage(pit, duration_s=14 * HOUR))
    # Well above the 3 K of a standstill.
    assert least_rise(r, 2.0) > 3.5
    e = cw.explain(r)
    assert e.account.kind == "slope"
    assert not e.account.stall.level
    assert e.account.damp is None
    assert e.account.ended_by == "supply"
    assert "climbs slowly" in str(e.sentence)
    assert "tells of a dew point" not in str(e.sentence)


@pytest.mark.parametrize("core_c", [66.5, 68.3])
def test_foil_on_the_plateau_is_said_to_end_it(core_c):
    pit = usual.pit()
    stages = (
        cw.Stage(pit, until_core_c=core_c),
        cw.Stage(pit, duration_s=3 * HOUR, wrap="foil"),
    )
    r = cw.simulate(usual.piece(), stages)
    on = r.records[0].end_s
    core = np.interp([on, on + HOUR], r.time_s, r.core_c)
    assert core[1] - core[0] > 4.0
    e = cw.explain(r)
    a = e.account
    assert a.ended_by == "wrap"
    assert on - 0.25 * HOUR <= a.ends_s <= on + 0.25 * HOUR
    assert a.after_k > 4.0
    assert "the wrap goes on" in str(e.sentence)


def test_wrapped_before_it_could_stand_still():
    pit = usual.pit()
    stages = (
        cw.Stage(pit, until_core_c=45.0),
        cw.Stage(pit, duration_s=3 * HOUR, wrap="foil"),
    )
    e = cw.explain(cw.simulate(usual.piece(), stages))
    assert e.account.kind == "wrapped"
    assert e.stalls == ()
    assert "The wrap went on at" in str(e.sentence)
    assert "the core at 45 °C" in str(e.sentence)


def test_a_cook_that_stops_in_its_stall_is_told_when_it_would_end(tight):
    cut = cw.simulate(usual.piece(), cw.Stage(usual.pit(), duration_s=5 * HOUR))
    e = cw.explain(cut)
    assert not e.account.stall.ended
    assert e.account.ended_by == "stock"
    whole = cw.explain(tight).account.stall.end_s
    # Coarser, and the stall's own level is found from what is known by then.
    assert e.account.ends_s == pytest.approx(whole, abs=0.25 * HOUR)
    assert "Left alone it ends at about" in str(e.sentence)


def test_a_hotter_pit_is_said_to_end_it():
    stages = (
        cw.Stage(usual.pit(), duration_s=5 * HOUR),
        cw.Stage(usual.pit(140.0), duration_s=4 * HOUR),
    )
    e = cw.explain(cw.simulate(usual.piece(), stages))
    assert e.account.ended_by == "air"
    assert "the pit gets hotter" in str(e.sentence)


def test_explains_a_dry_solid_and_a_single_row():
    p = cw.Piece(cw.Slab(0.05), cw.constant_material(0.5, 1000.0, 3500.0), 5.0)
    s = cw.Surroundings(100.0, heat_transfer=10.0)
    e = cw.explain(cw.simulate(p, cw.Stage(s, duration_s=HOUR)))
    assert e.stalls == ()
    assert cw.explain(cw.simulate(p, cw.Stage(s, duration_s=0.0))).sentence


@pytest.mark.parametrize(
    ("ended", "left_s", "told"),
    [(True, HOUR, True), (True, HOUR - 1.0, False), (False, HOUR, False)],
)
def test_the_climb_after_a_stall_is_told_where_it_ended_an_hour_ago(
    bare, explained, ended: bool, left_s: float, told: bool
) -> None:
    end_s = float(explained.time_s[-1]) - left_s
    stall = replace(explained.stalls[0], end_s=end_s, core_end_c=70.0, ended=ended)
    account = _account(replace(explained, stalls=(stall,)), bare)
    later = explained.core_c[-1] - 70.0
    assert account.after_k == (pytest.approx(later) if told else None)


@pytest.mark.parametrize(
    ("regime", "wrapped", "why"),
    [
        ("sealed", True, "Hardly any vapour leaves through the wrap; the core is slow because"),
        ("no evaporation", False, "Hardly any vapour leaves the surface; the core is slow bec"),
        ("boiling", False, "The surface boils at this air pressure: it gets no hotter while"),
        (
            "boiling",
            True,
            "The wrapped piece has reached boiling at this air pressure and cann",
        ),
        (
            "supply-limited",
            True,
            "% of the heat that arrives leaves again as vapour. A tighter",
        ),
    ],
)
def test_a_stall_in_which_little_vapour_leaves_says_what_holds_it(
    bare, explained, regime: str, wrapped: bool, why: str
) -> None:
    rows = explained.time_s.size
    shut = replace(explained, regime=np.full(rows, regime), wrapped=np.full(rows, wrapped))
    text = str(_sentence(replace(shut, account=_account(shut, bare))))
    assert text.startswith("The core climbs slowly for ")
    assert why in text
