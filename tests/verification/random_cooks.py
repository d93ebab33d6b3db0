"""Random cooks inside (and at the edge of) what the package accepts."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from hypothesis import strategies as st

import coreward as cw
from coreward.physics.meat import Material
from coreward.physics.water import saturation_temperature

_MATERIALS: dict[tuple[str, str], Material] = {}
CUTS = ("beef brisket flat", "pork shoulder", "chicken breast", "salmon side")
CLOSURES = ("expulsion", "swelling_pressure", "both")


def material(cut: str, closure: str, permeability: float | None = None) -> Material:
    """Meat by cut and closure; a permeability outside the table's range is set directly."""
    if (cut, closure) not in _MATERIALS:
        _MATERIALS[cut, closure] = cw.meat(cut, transport=closure)
    m = _MATERIALS[cut, closure]
    if permeability is None or closure == "expulsion":
        return m
    return replace(m, constants=m.constants._replace(permeability=permeability))


@dataclass(frozen=True)
class RandomCook:
    piece: cw.Piece
    stages: tuple[cw.Stage, ...]
    cells: int
    tolerance: float


def logarithmic(low: float, high: float) -> st.SearchStrategy[float]:
    return st.floats(np.log(low), np.log(high)).map(lambda x: float(np.exp(x)))


@st.composite
def stages(draw: st.DrawFn, longest_s: float) -> cw.Stage:
    """One stage: constant, ramped or interrupted air; any humidity, wrap and pressure."""
    pressure = draw(st.sampled_from((101325.0, 101325.0, 80e3, 60e3, 105e3)))
    duration = draw(logarithmic(30.0, longest_s))
    air = draw(st.floats(-5.0, 250.0))
    other = draw(st.floats(-5.0, 250.0))
    kind = draw(st.sampled_from(("constant", "constant", "ramp", "lid")))
    given: object = air
    if kind == "ramp":
        given = ([0.0, duration], [air, other])
    elif kind == "lid":
        cut = 0.4 * duration
        given = (
            [0.0, cut, cut + 1.0, cut + 30.0, cut + 31.0, duration + 60.0],
            [air, air, 20.0, 20.0, air, air],
        )
    coldest = min(air, other) if kind == "ramp" else air
    top = min(coldest, float(saturation_temperature(pressure)) - 0.5, 95.0)
    dew = draw(st.floats(-40.0, top)) if draw(st.booleans()) else top
    return cw.Stage(
        cw.Surroundings(
            given,  # type: ignore[arg-type]
            dew_point_c=dew,
            heat_transfer=draw(logarithmic(0.5, 500.0)),
            emissivity=draw(st.sampled_from((0.0, 0.9, None))),
            pressure_pa=pressure,
            evaporation=draw(st.sampled_from((True, True, True, False))),
        ),
        duration_s=duration,
        until_core_c=draw(st.sampled_from((None, None, 30.0, 65.0, 90.0))),
        wrap=draw(st.sampled_from((None, None, "foil", "paper"))),
    )


@st.composite
def random_cooks(draw: st.DrawFn, longest_s: float = 4 * 3600.0) -> RandomCook:
    shape = draw(st.sampled_from((cw.Slab, cw.Cylinder, cw.Sphere)))
    permeability = draw(st.one_of(st.none(), logarithmic(1e-19, 1e-13)))
    return RandomCook(
        piece=cw.Piece(
            shape(draw(logarithmic(0.004, 0.6))),
            material(
                draw(st.sampled_from(CUTS)), draw(st.sampled_from(CLOSURES)), permeability
            ),
            draw(st.floats(-1.0, 40.0)),
        ),
        stages=tuple(draw(st.lists(stages(longest_s), min_size=1, max_size=3))),
        cells=draw(st.sampled_from((6, 10, 16, 24))),
        # At half a kelvin per step and six nodes a boiling front may overshoot by
        # more than the test allows; nobody is served such a result.
        tolerance=draw(st.sampled_from((0.005, 0.02, 0.1))),
    )
