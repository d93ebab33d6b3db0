"""Softening, proteins and colour."""

from __future__ import annotations

import math

import numpy as np
import pytest

import coreward as cw
from coreward import tables
from coreward.cook.rest import rest_stage
from coreward.errors import InputError
from coreward.questions.rest.tenderness import (
    FAST,
    PROTEINS,
    SLOW,
    denatured_share,
    myoglobin_denatured,
    published_points,
    section,
    softening,
    tenderness,
    time_to_tender,
)

pytestmark = pytest.mark.quick

BRISKET = cw.Piece(cw.Slab(0.08), cw.meat("beef brisket flat"), 4.0)
PIT = cw.Surroundings(110.0, dew_point_c=35.0, heat_transfer=10.0)


@pytest.fixture(scope="module")
def brisket():
    return cw.simulate(
        BRISKET,
        [
            cw.Stage(PIT, duration_s=80000.0, until_core_c=70.0),
            cw.Stage(PIT, duration_s=80000.0, until_core_c=85.0, wrap="foil"),
            rest_stage("warm oven", 3 * 3600.0, piece=BRISKET, wrap="foil", air_c=86.0),
        ],
    )


@pytest.mark.parametrize("name", [FAST, SLOW])
def test_published_points_come_back(name):
    temperature, time = published_points(name)
    np.testing.assert_allclose(time_to_tender(temperature, name), time, rtol=1e-12)
    assert (np.diff(temperature) > 0.0).all()
    assert (np.diff(time) < 0.0).all()


def test_the_local_z_values_are_those_of_the_source():
    """35 K from 60 to 70, 28 K to 80, 18 K to 90 °C: not one Arrhenius line."""
    temperature, time = published_points(FAST)
    z = np.diff(temperature) / -np.diff(np.log10(time))
    np.testing.assert_allclose(z, [35.0, 28.0, 18.0], atol=0.5)
    middle = time_to_tender(65.0)
    assert middle == pytest.approx(math.sqrt(time[0] * time[1]))


def test_nothing_is_credited_below_and_no_more_above():
    assert np.isinf(time_to_tender(54.9))
    assert np.isfinite(time_to_tender(55.0))
    assert time_to_tender(99.0) == time_to_tender(90.0)
    assert softening([0.0, 1e6], [50.0, 50.0])[-1] == 0.0


def test_a_hold_for_the_published_time_is_tender():
    _, time = published_points(FAST)
    progress = softening([0.0, time[2]], [80.0, 80.0])
    assert progress[-1] == pytest.approx(1.0)
    twice = softening([0.0, time[2]], np.full((2, 3), 80.0))
    assert twice.shape == (2, 3)
    np.testing.assert_allclose(twice[-1], 1.0)
    with pytest.raises(InputError, match="one temperature per time"):
        softening([0.0, 1.0], [80.0])


def test_a_cook_and_its_spread(brisket):
    t = tenderness(brisket)
    assert (np.diff(t.fast) >= 0.0).all()
    assert (t.slow <= t.middle).all()
    assert (t.middle <= t.fast).all()
    early, middle, late = t.tender_s
    assert early < middle <= late
    assert t.by_depth[-1] > t.by_depth[0]
    assert t.by_depth[0] == pytest.approx(t.middle[-1])
    assert "pork shoulder" in str(t.sentence)


def test_a_quick_roast_is_not_tender():
    r = cw.simulate(BRISKET, cw.Stage(PIT, duration_s=80000.0, until_core_c=55.0))
    t = tenderness(r)
    assert t.fast[-1] < 0.05
    assert t.tender_s == (math.inf, math.inf, math.inf)
    assert "by neither" in str(t.sentence)


def test_proteins_unfold_at_the_temperatures_of_the_table(brisket):
    s = tables.load("transitions", brisket.piece.material.sets["transitions"])
    for i, name in enumerate(PROTEINS, start=1):
        half = denatured_share(s[f"midpoint_{i}_c"], brisket.piece.material)[name]
        assert half == pytest.approx(0.5)
    with pytest.raises(InputError, match="no proteins"):
        denatured_share(60.0, cw.constant_material(0.5, 1000.0, 3500.0))


def test_bands_lie_one_inside_the_other(brisket):
    row = brisket.time_s[np.searchsorted(brisket.core_c, 50.0)]
    s = section(brisket, row)
    edges = [s.edges_m(name) for name in PROTEINS]
    assert 0.0 < edges[0] < edges[1] <= edges[2]
    x = np.interp(edges[0], s.position_m, s.denatured[PROTEINS[0]])
    assert x == pytest.approx(0.5, abs=0.02)
    # Red inside, brown outside, in that order and no other.
    order = {"red": 0, "pink": 1, "brown": 2}
    ranks = [order[word] for word in s.colour]
    assert ranks == sorted(ranks)
    assert ranks[0] == 0
    assert ranks[-1] == 2
    done = section(brisket)
    assert done.edges_m(PROTEINS[0]) == 0.0
    assert set(done.colour) == {"brown"}
    raw = section(brisket, 0.0)
    assert raw.edges_m(PROTEINS[2]) == raw.position_m[-1]


def test_the_pigment_keeps_to_its_source():
    """6.5 % after a minute at 63 °C; 93 % after more than 30 min at 60 °C (98 by rate)."""
    assert myoglobin_denatured([0.0, 60.0], [63.0, 63.0])[-1] == pytest.approx(0.065, abs=0.01)
    assert myoglobin_denatured([0.0, 1800.0], [60.0, 60.0])[-1] < 0.93
    assert myoglobin_denatured([0.0, 98.5 * 60.0], [60.0, 60.0])[-1] == pytest.approx(
        0.93, abs=0.01
    )
    assert myoglobin_denatured([0.0, 3600.0], [99.0, 99.0])[-1] == pytest.approx(1.0)
