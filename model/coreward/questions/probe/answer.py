"""What a probe reads in a piece with ends, against its slowest point."""

from __future__ import annotations

import math
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray
from scipy.interpolate import RegularGridInterpolator

from coreward.cook.result import Result, first_time_at
from coreward.cook.section import Section, SectionResult
from coreward.errors import InputError
from coreward.plain import apart
from coreward.words import Degrees, Difference, Lasting, Length, Published, Text, say, together

Floats = NDArray[np.float64]

USUAL_TIP_M = 0.01
"""Length over which a probe feels: 5 to 20 mm are built; common practice, no source."""
LONGEST_TIP_M = 0.1
_POINTS = 21
_STEPS_M = (0.005, 0.01, 0.015, 0.02, 0.03)


@dataclass(frozen=True)
class OtherPlace:
    """A place away from where the tip should be, and how wrong it is there."""

    way: str
    """Along which axis it is off."""
    off_m: float
    """[m]"""
    over_k: float
    """How much higher it reads than the slowest point has when that is done. [K]"""
    early_s: float
    """How much earlier it shows the wanted temperature. [s]"""


@dataclass(frozen=True)
class ProbeError:
    """What a probe reads at one place, and where it should be."""

    across_m: float
    along_m: float
    angle_deg: float
    tip_m: float
    """End of the tip from the middle along the two axes [m]; how far the stem leans from the
    first axis towards the second [degrees]; length over which it feels [m]."""
    at_core_c: float
    core_s: float
    """Temperature wanted of the slowest point [°C], and when it has it. [s]"""
    over_k: float
    early_s: float
    """As in `OtherPlace`. Infinite if the probe never shows it."""
    slowest_m: tuple[float, float]
    """The slowest point, found. [m]"""
    best_m: tuple[float, float]
    """Where to put the end of the tip, the stem at that angle: the middle of what feels is at
    the slowest point, or as near as the piece lets it. [m]"""
    best_over_k: float
    """How much too high it reads even there. [K]"""
    others: tuple[OtherPlace, ...]
    """Places beside the best."""
    reading_c: Floats = field(repr=False, metadata=apart())
    """Of the probe at `cook.section.time_s`. [°C] Shape (times,)."""
    cook: SectionResult = field(repr=False, metadata=apart())
    assumptions: tuple[Text, ...] = ()

    @property
    def sentence(self) -> Text:
        """The answer in a sentence or two."""
        if not math.isfinite(self.early_s):
            late: Text = say("and it never shows {0}", Published(self.at_core_c))
        elif abs(self.early_s) < 30.0:
            late = "and it is there at the same minute"
        else:
            way = "early" if self.early_s > 0.0 else "late"
            late = say(
                f"and shows {{0}} {{1}} too {way}",
                Published(self.at_core_c),
                Lasting(abs(self.early_s)),
            )
        high = "higher" if self.over_k >= 0.0 else "lower"
        return together(
            (
                say(
                    f"When the slowest point has {{0}}, a probe here reads {{1}} {high}, "
                    "{2}.",
                    Published(self.at_core_c),
                    Difference(abs(self.over_k), 1),
                    late,
                ),
                say(
                    "Best place at this angle: the end of the tip {0} across and {1} along "
                    "from the middle, where it reads {2} too high.",
                    Length(self.best_m[0]),
                    Length(self.best_m[1]),
                    Difference(max(self.best_over_k, 0.0), 1),
                ),
            )
        )


def _tip(place: tuple[float, float], angle_deg: float, tip_m: float) -> Floats:
    """Points of the length that feels, from its end back along the stem. [m]."""
    along_stem = np.linspace(0.0, tip_m, _POINTS)
    lean = math.radians(angle_deg)
    return np.column_stack(
        (place[0] + along_stem * math.cos(lean), place[1] + along_stem * math.sin(lean))
    )


def read_at(
    section: Section, place: tuple[float, float], angle_deg: float, tip_m: float
) -> Floats:
    """Return what a probe reads: the mean over the length that feels. [°C].

    Raises
    ------
    InputError
        If a part of that length is outside of the piece.
    """
    points = np.abs(_tip(place, angle_deg, tip_m))
    ends = section.across_m[-1], section.along_m[-1]
    if (points > np.array(ends) * (1.0 + 1e-9)).any():
        raise InputError(
            say(
                "A part of the tip that feels is outside of the piece, which reaches {0} "
                "across and {1} along from its middle: put the tip deeper or make it shorter.",
                Length(float(ends[0])),
                Length(float(ends[1])),
            )
        )
    field = np.moveaxis(section.temperature_c, 0, -1)
    axes = (section.across_m, section.along_m)
    points = np.minimum(points, ends)
    value: Floats = RegularGridInterpolator(axes, field)(points).mean(axis=0)
    return value


def probe_error(
    cook: Result,
    across_m: float = 0.0,
    along_m: float = 0.0,
    angle_deg: float = 0.0,
    tip_m: float = USUAL_TIP_M,
    at_core_c: float | None = None,
) -> ProbeError:
    """Tell what a probe reads in a piece with ends, and where to put it.

    Parameters
    ----------
    cook : SectionResult
        From ``cw.simulate(..., engine="section")``.
    across_m, along_m : float
        End of the tip, from the middle of the piece along its two axes. [m]
    angle_deg : float
        How far the stem leans from the first axis towards the second: 0 comes straight in
        through the nearest face, 90 along the piece from its end. [degrees]
    tip_m : float
        Length over which the probe feels, from the end of the tip back. [m]
    at_core_c : float, optional
        Temperature of the slowest point at which the two are compared; the highest that it
        has, less a kelvin, if not given. [°C]

    Raises
    ------
    InputError
        If the cook has no section, the tip is outside of the piece, or the slowest point
        never has that temperature.

    Notes
    -----
    The stem leads no heat here: a thick one of steel from a hot face reads higher still.
    """
    if not isinstance(cook, SectionResult) or cook.section is None:
        raise InputError(
            "This cook has no section: give a piece with ends and "
            "cw.simulate(piece, stages, engine='section')."
        )
    if not (math.isfinite(tip_m) and 0.0 <= tip_m <= LONGEST_TIP_M):
        raise InputError(
            f"The tip must feel over nothing to {1e3 * LONGEST_TIP_M:.0f} mm; it is "
            f"{tip_m!r} m."
        )
    if not all(math.isfinite(x) for x in (across_m, along_m, angle_deg)):
        raise InputError("The place and the angle of the probe must be finite numbers.")
    s = cook.section
    core = s.temperature_c[:, s.slowest[0], s.slowest[1]]
    wanted = float(core.max()) - 1.0 if at_core_c is None else float(at_core_c)
    core_s = first_time_at(s.time_s, core, wanted)
    if not math.isfinite(core_s):
        raise InputError(
            say(
                "The slowest point never has {0} in this cook; it has at most {1}.",
                Degrees(wanted, None),
                Degrees(float(core.max()), 1),
            )
        )

    def off(place: tuple[float, float]) -> tuple[float, float, Floats]:
        reading = read_at(s, place, angle_deg, tip_m)
        over = float(np.interp(core_s, s.time_s, reading)) - wanted
        return over, core_s - first_time_at(s.time_s, reading, wanted), reading

    slowest = float(s.across_m[s.slowest[0]]), float(s.along_m[s.slowest[1]])
    lean = math.radians(angle_deg)
    best = tuple(
        point - 0.5 * tip_m * part
        for point, part in zip(slowest, (math.cos(lean), math.sin(lean)), strict=True)
    )
    best_place = float(best[0]), float(best[1])
    others = []
    for axis, (way, ends) in enumerate((("across", s.across_m), ("along", s.along_m))):
        for step in _STEPS_M:
            place = [*best_place]
            place[axis] += step
            if np.abs(_tip((place[0], place[1]), angle_deg, tip_m)[:, axis]).max() <= ends[-1]:
                over, early, _ = off((place[0], place[1]))
                others.append(OtherPlace(way, step, over, early))
    over, early, reading = off((across_m, along_m))
    return ProbeError(
        across_m=float(across_m),
        along_m=float(along_m),
        angle_deg=float(angle_deg),
        tip_m=float(tip_m),
        at_core_c=wanted,
        core_s=core_s,
        over_k=over,
        early_s=early,
        slowest_m=slowest,
        best_m=best_place,
        best_over_k=off(best_place)[0],
        others=tuple(others),
        reading_c=reading,
        cook=cook,
        assumptions=(
            say("The probe feels over the last {0} of its tip, evenly.", Length(tip_m)),
            "No heat comes along the stem; a thick steel stem from a hot face reads higher.",
            say(
                "The piece is heated alike from all sides and has no bone; the slowest point "
                "was found at {0} across and {1} along from the middle, and has {2} then.",
                Length(slowest[0]),
                Length(slowest[1]),
                Degrees(wanted, None),
            ),
        ),
    )
