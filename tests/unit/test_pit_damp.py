"""From a core that stands still to the dew point of the pit."""

from __future__ import annotations

import dataclasses

import numpy as np
import pytest

import coreward as cw
from coreward import tables
from coreward.errors import InputError
from coreward.events.standstill import find_stalls
from coreward.physics.exchange import wet_surface_temperature
from coreward.questions.stall import usual

HOUR = 3600.0


def test_it_is_the_wet_surface_turned_round() -> None:
    lead = tables.load("stall")["plateau_lead"]
    for dew in (20.0, 45.0, 62.0, 80.0):
        plateau = wet_surface_temperature(107.0, dew, 8.0) - lead
        found = cw.pit_dew_point(float(plateau), 107.0)
        assert found.dew_point_c == pytest.approx(dew, abs=0.01)
        assert found.low_c < dew < found.high_c


def test_a_plateau_at_67_tells_of_a_dew_point_in_the_lower_sixties() -> None:
    """The published standstill, 67 °C at 107 °C: the project's notes put it at about 62 °C."""
    found = cw.pit_dew_point(67.0, 107.0)
    assert found.low_c <= 62.0 <= found.high_c
    assert 61.0 <= found.dew_point_c <= 65.0
    said = found.in_words()
    assert "stands still at 67 °C in air of 107 °C" in said
    assert f"about {found.dew_point_c:.0f} °C" in said
    assert f"({found.low_c:.0f} to {found.high_c:.0f} °C" in said
    assert "°C" not in found.in_words("F")


@pytest.mark.parametrize("fresh", [0.8, 1.5, 2.0])
@pytest.mark.parametrize("thickness", [0.045, 0.06])
def test_it_finds_the_damp_that_the_meat_made(fresh: float, thickness: float) -> None:
    piece = usual.piece(cw.Slab(thickness), mass_kg=usual.MASS_KG * thickness / 0.045)
    # Injected, so that there is water enough to stand level in airier pits too.
    piece = dataclasses.replace(piece, injected_fraction=0.1)
    pit = usual.pit(fresh_air_kg_h=fresh)
    result = cw.simulate(piece, cw.Stage(pit, duration_s=12 * HOUR), cells=30, tolerance=0.05)
    stall = max(
        find_stalls(result.time_s, result.core_c, result.environment[:, 0]),
        key=lambda each: each.duration_s,
    )
    assert stall.level
    lead = tables.load("stall").record("plateau_lead").range
    # In its last quarter the surface has begun to dry, which the slope's window blurs: read
    # off there, it is up to 4 K too damp.
    for moment in stall.begin_s + np.linspace(0.0, 0.7, 8) * stall.duration_s:
        core, surface, dew = (
            float(np.interp(moment, result.time_s, curve))
            for curve in (result.core_c, result.surface_c, result.dew_point_c)
        )
        assert lead[0] <= surface - core <= lead[1]
        found = cw.pit_dew_point(core, 107.0)
        assert found.dew_point_c == pytest.approx(dew, abs=3.0)
        # Its range is that of draught and lead; what is left is how level a standstill is.
        assert found.low_c - 0.5 <= dew <= found.high_c + 0.5


def test_a_known_draught_narrows_it() -> None:
    wide, narrow = cw.pit_dew_point(67.0, 107.0), cw.pit_dew_point(67.0, 107.0, heat_transfer=8)
    assert narrow.high_c - narrow.low_c < wide.high_c - wide.low_c
    assert narrow.dew_point_c == wide.dew_point_c


def test_more_heat_from_the_walls_is_less_damp() -> None:
    hot = cw.pit_dew_point(67.0, 107.0, wall_c=130.0)
    assert hot.dew_point_c < cw.pit_dew_point(67.0, 107.0).dew_point_c


def test_what_says_nothing_is_refused() -> None:
    with pytest.raises(InputError, match=r"plateau at 107.5 °C in air of 107 °C says nothing"):
        cw.pit_dew_point(107.5, 107.0)
    with pytest.raises(InputError, match=r"Not even bone-dry air of 107 °C would hold"):
        cw.pit_dew_point(30.0, 107.0)
