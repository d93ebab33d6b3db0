"""Shapes with ends: their modes against exact products, and the like body against the modes."""

from __future__ import annotations

import math

import numpy as np
import pytest
from scipy.optimize import brentq

import coreward as cw
from coreward.cook.light import Leg, LightCook, run_light
from coreward.cook.march import surface_conditions
from coreward.evidence.series import series
from coreward.physics import warming
from coreward.physics.body import FiniteShape, LikeBody
from coreward.physics.problem import Forcing

BIOTS = (0.3, 1.0, 3.0, 10.0, 100.0)
LEFT = (math.exp(-1.0), 0.05)
"""What is left of the first difference when 63 and 95 % of the way are gone."""


def random_shape(draw: np.random.Generator) -> FiniteShape:
    """Draw a brick or a short cylinder, from a chop to a whole joint."""
    if draw.random() < 0.5:
        thick = draw.uniform(0.03, 0.12)
        wide = thick * draw.uniform(1.0, 5.0)
        return cw.Block(thick, wide, wide * draw.uniform(1.0, 2.5))
    across = draw.uniform(0.05, 0.15)
    return cw.FiniteCylinder(across, across * draw.uniform(0.5, 4.0))


def factors(shape: FiniteShape, biot: float) -> list[warming.Warming]:
    return [warming.warming(one, biot / shape.volume_per_area) for one in shape._factors()]


@pytest.mark.parametrize("biot", BIOTS)
@pytest.mark.parametrize(
    ("shape", "parts"),
    [
        (cw.Block(0.06, 0.1, 0.18), [("slab", 0.03), ("slab", 0.05), ("slab", 0.09)]),
        (cw.FiniteCylinder(0.12, 0.1), [("cylinder", 0.06), ("slab", 0.05)]),
    ],
)
def test_the_core_is_that_of_the_exact_product(shape, parts, biot: float) -> None:
    """Polynomials of degree 24 leave 1e-6 once a tenth of the slowest time has passed."""
    film = biot / shape.volume_per_area
    exact = [(series(kind, film * half), half) for kind, half in parts]
    ours = factors(shape, biot)
    pace = sum(float(one.pace[0]) for one in ours)
    assert pace == pytest.approx(sum((e.root[0] / half) ** 2 for e, half in exact), rel=1e-9)
    for share in (0.3, 1.0, 3.0):
        t = share / pace
        product = math.prod(float(e.at(0.0, t / half**2)) for e, half in exact)
        assert math.prod(one.at(t) for one in ours) == pytest.approx(product, abs=1e-6)


@pytest.mark.parametrize(
    ("section", "brick"),
    [
        (cw.TaperedFlat(0.06, 0.06, 0.1, 0.18), cw.Block(0.06, 0.1, 0.18)),
        (cw.TaperedFlat(0.05, 0.05, 0.2, 0.2), cw.Block(0.05, 0.2, 0.2)),
    ],
)
def test_a_flat_that_does_not_taper_is_a_brick(section, brick) -> None:
    """The section in two dimensions against the product of two bars: 0.3 % of the time."""
    assert section.volume_m3 == pytest.approx(brick.volume_m3, rel=1e-12)
    assert section.area_m2 == pytest.approx(brick.area_m2, rel=1e-12)
    for left in LEFT:
        times = [warming.time_until(left, factors(one, 3.0)) for one in (section, brick)]
        assert times[0] == pytest.approx(times[1], rel=3e-3)


def test_the_like_body_of_the_three_simple_shapes_is_their_series() -> None:
    for n, kind in ((1, "slab"), (2, "cylinder"), (3, "sphere")):
        exact = series(kind, 3.0 * n)
        ours = warming.like(n, 3.0)
        for fourier in (0.05, 0.2, 0.8):
            assert ours.at(fourier * n**2) == pytest.approx(
                float(exact.at(0.0, fourier)), abs=1e-7
            )


def reduced_errors(count: int = 200, seed: int = 21) -> dict[str, np.ndarray]:
    """Error of the core's time to 63 and 95 %, in per cent: by our number and the plain one."""
    draw = np.random.default_rng(seed)
    shapes = [random_shape(draw) for _ in range(count)]
    found: dict[str, list[list[float]]] = {"ours": [], "plain": []}
    for shape in shapes:
        thick = shape.volume_per_area
        numbers = {"ours": shape.dimensionality, "plain": shape.core_distance_m / thick}
        for biot in BIOTS:
            modes = factors(shape, biot)
            exact = [warming.time_until(left, modes) for left in LEFT]
            for name, n in numbers.items():
                body = [warming.like(n, biot, thick)]
                found[name].append(
                    [
                        100.0 * (warming.time_until(left, body) / time - 1.0)
                        for left, time in zip(LEFT, exact, strict=True)
                    ]
                )
    return {
        name: np.array(rows).reshape(count, len(BIOTS), len(LEFT))
        for name, rows in found.items()
    }


def test_the_like_body_needs_the_time_of_the_real_one() -> None:
    """Two hundred pieces, five Biot numbers: what is left is stated, not tuned away.

    Area times core distance over volume, the plain number of the freezing literature, makes
    the core 14 to 28 % too fast in the mean (42 % at worst). The matched one is at most 10 %
    off in the mean and 18 % at worst; where cooks are, at Biot numbers from 1 to 10, it is
    6 % too fast to 7 % too slow to 63 % of the way, and 10 to 1 % too fast to 95 %.
    """
    error = reduced_errors()
    mean = {name: np.abs(rows.mean(axis=0)) for name, rows in error.items()}
    assert mean["ours"].max() < 10.5
    assert mean["ours"][1:4].max() < 9.8
    assert np.sqrt((error["ours"][:, 1:4] ** 2).mean()) < 6.5
    assert np.abs(error["ours"]).max() < 18.0
    assert mean["plain"].min() > mean["ours"].max()


def test_long_and_flat_pieces_become_the_simple_shapes() -> None:
    """In both limits: the ends of a bar 40 times as long as thick are 4 % of its surface."""
    flat = [cw.Block(t, 1.9, 1.9).dimensionality for t in (0.2, 0.05, 0.01)]
    long = [cw.FiniteCylinder(d, 1.9).dimensionality for d in (0.4, 0.1, 0.02)]
    assert flat == sorted(flat, reverse=True)
    assert long == sorted(long, reverse=True)
    assert flat[-1] == pytest.approx(1.0, abs=0.05)
    assert long[-1] == pytest.approx(2.0, abs=0.05)
    thin = cw.Block(0.01, 1.9, 1.9)
    assert thin.half_size == pytest.approx(cw.Slab(0.01).half_size, rel=0.03)


SOLID = cw.constant_material(0.5, 1000.0, 3500.0)


def plain_air(air_c: float, film: float) -> cw.Surroundings:
    return cw.Surroundings(air_c, heat_transfer=film, emissivity=0.0, evaporation=False)


def test_the_engine_solves_the_like_body() -> None:
    """0.05 K, as for the simple shapes: the mesh is the same but for its faces."""
    shape = cw.FiniteCylinder(0.12, 0.16)
    run = cw.simulate(
        cw.Piece(shape, SOLID, 5.0), cw.Stage(plain_air(95.0, 40.0), duration_s=4 * 3600.0)
    )
    biot = 40.0 * shape.volume_per_area / 0.5
    exact = warming.like(shape.dimensionality, biot, shape.volume_per_area)
    for hours in (0.5, 1.0, 2.0, 4.0):
        ours = float(np.interp(hours * 3600.0, run.time_s, run.core_c))
        theirs = 95.0 - 90.0 * exact.at(0.5 / 3.5e6 * hours * 3600.0)
        assert ours == pytest.approx(theirs, abs=0.05)


def test_the_outside_of_a_like_body_is_a_little_too_hot() -> None:
    """What is not kept: the mean. So rises in the rest come out too high, by some kelvin.

    Stated here so that it is seen when it changes: 2 % of the first difference at a Biot
    number of 1, with the core a third of the way.
    """
    shape = cw.FiniteCylinder(0.12, 0.24)
    film = 0.5 / shape.volume_per_area
    run = cw.simulate(
        cw.Piece(shape, SOLID, 0.0), cw.Stage(plain_air(100.0, film), duration_s=9 * 3600.0)
    )
    parts = [
        (series("cylinder", film / 0.5 * 0.06), 0.06),
        (series("slab", film / 0.5 * 0.12), 0.12),
    ]
    t = np.linspace(600.0, 9 * 3600.0, 400) * 0.5 / 3.5e6
    core = np.prod([one.at(0.0, t / half**2) for one, half in parts], axis=0)
    mean = np.prod([one.mean(t / half**2) for one, half in parts], axis=0)
    exact = 1.0 - float(np.interp(-0.65, -core, mean))
    ours = float(np.interp(35.0, run.core_c, run.mean_c)) / 100.0
    assert 0.01 < ours - exact < 0.03


def test_engines_agree_on_a_piece_with_ends() -> None:
    pytest.importorskip("fipy")
    piece = cw.Piece(cw.Block(0.05, 0.08, 0.12), cw.meat("pork shoulder"), 5.0)
    stage = cw.Stage(cw.Surroundings(110.0, heat_transfer=15.0), duration_s=2400.0)
    fast = cw.simulate(piece, stage, cells=24)
    other = cw.simulate(piece, stage, cells=24, engine="fipy")
    at = np.linspace(300.0, 2400.0, 8)
    apart = np.interp(at, fast.time_s, fast.core_c) - np.interp(at, other.time_s, other.core_c)
    assert np.abs(apart).max() < 0.3
    assert fast.mass_loss_fraction[-1] == pytest.approx(other.mass_loss_fraction[-1], abs=2e-3)


@pytest.mark.parametrize("bone", [False, True])
def test_balances_close_with_ends_and_bone(bone: bool) -> None:
    run = cw.simulate(
        cw.piece("pork shoulder", 3.5, bone=bone),
        cw.Stage(cw.Surroundings(110.0, heat_transfer=15.0), duration_s=6 * 3600.0),
    )
    assert run.balance.energy < 1e-8
    assert run.balance.water < 1e-8
    assert "computed as a body of one dimension" in run.warnings[-1]


def light_time(shape: cw.Piece, core_c: float = 90.0) -> float:
    """Time of a piece in a damp pit to a core. [s]."""
    conditions = surface_conditions(
        shape, cw.Stage(cw.Surroundings(110.0), duration_s=0.0, wrap="foil")
    )
    one = np.array([0.0])
    forcing = Forcing(one, one + 110.0, one + 105.0, one + 4000.0, one + 12.0)
    leg = Leg(forcing, conditions, 72 * 3600.0, core_c)
    cook = LightCook(shape.shape, shape.material.constants, shape.start_c, (leg,))
    return float(run_light(cook, one).leg_end_s[0])


@pytest.mark.parametrize("cut", ["pork shoulder", "beef brisket whole", "turkey breast"])
def test_heavier_takes_longer(cut: str) -> None:
    times = [light_time(cw.piece(cut, mass)) for mass in (3.0, 3.3, 4.0, 5.0, 6.0)]
    assert times == sorted(times)
    assert times[-1] > 1.25 * times[0]


def test_a_like_body_is_what_its_shape_is_computed_as() -> None:
    shape = cw.Block(0.1, 0.15, 0.2)
    body = shape.like()
    assert isinstance(body, LikeBody)
    assert (body.half_size, body.exponent) == (shape.half_size, shape.exponent)


@pytest.mark.parametrize("grain", ["lengthwise", "crosswise", "through"])
@pytest.mark.parametrize(
    "size", [(0.05, 0.05, 0.05), (0.05, 0.05, 0.1), (0.04, 0.12, 0.24), (0.04, 0.16, 0.16)]
)
def test_one_permeability_stands_for_two_within_a_third(size, grain: str) -> None:
    """What a brick has lost when its three directions differ, against one mean of them.

    Exact for linear flow: the share left of a brick is the product of three series. With
    fibres eight times as easy the mean takes 0.7 to 1.2 of the time in which a fifth to four
    fifths are lost; joints, whose fibres run lengthwise, 1.0 to 1.2.
    """
    shape = cw.Block(*size)
    ratio = 8.0
    axis = {"through": 0, "crosswise": 1, "lengthwise": 2}[grain]
    mean = 1.0 + (ratio - 1.0) * shape.grain_share(grain)
    n = (2.0 * np.arange(400) + 1.0) * math.pi / 2.0

    def left(eases: list[float], time: float) -> float:
        return math.prod(
            float((2.0 / n**2 * np.exp(-(n**2) * ease * time / half**2)).sum())
            for ease, half in zip(eases, shape.half_extents_m, strict=True)
        )

    def time(eases: list[float], share: float) -> float:
        return float(brentq(lambda t: left(eases, t) - share, 1e-9, 1.0, xtol=1e-13))

    eases = [1.0, 1.0, 1.0]
    eases[axis] = ratio
    low = 0.95 if grain == "lengthwise" and size[2] > size[0] else 0.67
    for share in (0.8, 0.6, 0.4, 0.2):
        assert low < time([mean] * 3, share) / time(eases, share) < 1.25
