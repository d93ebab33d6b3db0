"""Random cooks inside (and at the edge of) what the package accepts.

``python tests/verification/random_cooks.py 2000`` cooks as many in chambers, with flow,
injections, sprays and wraps among them, and says how many failed and why.
"""

from __future__ import annotations

import sys
from collections import Counter
from dataclasses import dataclass, replace

import numpy as np
from hypothesis import HealthCheck, given, seed, settings
from hypothesis import strategies as st

import coreward as cw
from coreward.errors import CorewardError
from coreward.physics.body import GRAINS
from coreward.physics.meat import Material
from coreward.physics.water import saturation_temperature

_MATERIALS: dict[tuple[str, str], Material] = {}
CUTS = ("beef brisket flat", "pork shoulder", "chicken breast", "salmon side")
CLOSURES = ("expulsion", "swelling_pressure", "along_the_grain", "both")


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


@st.composite
def chambers(draw: st.DrawFn, longest_s: float) -> cw.Stage:
    """A stage in a chamber: sealed to leaky, steady or changing, walls cold or warm."""
    duration = draw(logarithmic(60.0, longest_s))
    air = draw(st.floats(30.0, 200.0))
    fresh = draw(st.one_of(st.just(0.0), logarithmic(0.05, 500.0)))
    kind = draw(st.sampled_from(("constant", "constant", "ramp", "vent")))
    given: object = air
    flow: object = fresh
    if kind == "ramp":
        given = ([0.0, duration], [air, draw(st.floats(30.0, 200.0))])
    elif kind == "vent":
        flow = ([0.0, 0.5 * duration, 0.5 * duration + 5.0], [fresh, fresh, 5.0 * fresh + 5.0])
    wrap = draw(st.sampled_from((None, None, None, "foil", "paper")))
    spray = None
    if wrap is None and draw(st.booleans()):
        spray = cw.Spray(draw(logarithmic(1e-3, 0.3)), draw(logarithmic(300.0, 7200.0)))
    return cw.Stage(
        cw.Chamber(
            given,  # type: ignore[arg-type]
            flow,  # type: ignore[arg-type]
            water_kg_h=draw(st.one_of(st.just(0.0), logarithmic(0.01, 2.0))),
            volume_m3=draw(logarithmic(0.02, 5.0)),
            wall_c=draw(st.one_of(st.none(), st.none(), st.floats(10.0, 200.0))),
            heat_transfer=draw(logarithmic(1.0, 60.0)),
            portion=draw(st.sampled_from((1.0, 1.0, 0.3))),
        ),
        duration_s=duration,
        until_core_c=draw(st.sampled_from((None, None, 65.0, 90.0))),
        wrap=wrap,
        spray=spray,
    )


@st.composite
def chamber_cooks(draw: st.DrawFn, longest_s: float = 6 * 3600.0) -> RandomCook:
    shape = draw(st.sampled_from((cw.Slab, cw.Cylinder, cw.Sphere)))
    permeability = draw(st.one_of(st.none(), logarithmic(1e-17, 1e-15)))
    closure = draw(
        st.sampled_from(("along_the_grain", "swelling_pressure", "expulsion", "both"))
    )
    return RandomCook(
        piece=cw.Piece(
            shape(draw(logarithmic(0.01, 0.25))),
            material(draw(st.sampled_from(CUTS)), closure, permeability),
            draw(st.floats(-1.0, 40.0)),
            draw(logarithmic(0.05, 30.0)),
            draw(st.sampled_from((0.0, 0.0, 0.1, 0.25))),
            grain=draw(st.sampled_from(GRAINS)),
        ),
        stages=tuple(draw(st.lists(chambers(longest_s), min_size=1, max_size=3))),
        cells=draw(st.sampled_from((10, 24, 60))),
        tolerance=draw(st.sampled_from((0.01, 0.02, 0.1))),
    )


RESIDUAL = 1e-8
MOST_STEPS = 5000


def faults(c: RandomCook) -> list[str]:
    """What is wrong with a cook in a chamber; nothing if all is well."""
    r = cw.simulate(c.piece, c.stages, cells=c.cells, tolerance=c.tolerance)
    scale = c.piece.material.constants.film_scale
    most = float(r.environment[:, 2].max()) / 101325.0
    checks = {
        "energy": r.balance.energy <= RESIDUAL,
        "water": r.balance.water <= RESIDUAL,
        "vapour": r.balance.vapour <= RESIDUAL,
        # A stage that is sprayed begins anew each time.
        "steps": all(
            record.steps < MOST_STEPS * (1 + stage.duration_s // stage.spray.every_s)
            if stage.spray is not None and stage.duration_s is not None
            else record.steps < MOST_STEPS
            for record, stage in zip(r.records, r.stages, strict=True)
        ),
        "not finite": bool(np.isfinite(r.temperature_c).all()),
        "negative water": bool((r.water >= 0.0).all()),
        "negative film": float(r.film.min()) >= -0.5 * c.tolerance * scale,
        # Without fresh air it becomes steam; the last of the dry air never leaves.
        f"vapour {most:.3f} of steam": most <= 1.005,
    }
    return [name for name, good in checks.items() if not good]


def main(count: int) -> int:
    """Cook so many, print what failed; return 1 if any did."""
    found: Counter[str] = Counter()
    done = 0

    @settings(
        max_examples=count,
        database=None,
        deadline=None,
        suppress_health_check=list(HealthCheck),
    )
    @seed(20)
    @given(chamber_cooks())
    def cook(c: RandomCook) -> None:
        nonlocal done
        done += 1
        if done % 200 == 0:
            print(f"{done} cooks, {sum(found.values())} failures so far", flush=True)
        try:
            wrong = faults(c)
        except CorewardError as error:
            wrong = [f"{type(error).__name__}: {str(error)[:60]}"]
        for one in wrong:
            found[one] += 1
            print(one, c.piece.shape, c.stages, c.cells, c.tolerance, flush=True)

    cook()
    print(f"{done} cooks, {sum(found.values())} failures", dict(found))
    return 1 if found else 0


if __name__ == "__main__":
    sys.exit(main(int(sys.argv[1]) if len(sys.argv) > 1 else 2000))
