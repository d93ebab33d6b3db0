"""What a cook would have to know: how each measurement narrows the hours of a brisket."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from coreward.cook.usual_piece import piece
from coreward.evidence.calibration.account import SHARED
from coreward.evidence.calibration.laplace import ERRORS, Believed, linearise
from coreward.evidence.calibration.measured import (
    Bout,
    Kind,
    Measured,
    Reading,
    Recipe,
    Unknown,
)
from coreward.words import Degrees, Difference, Mass, Text, UnitChoice, say, together

Floats = NDArray[np.float64]
_NINE_IN_TEN = 1.6449
WRAPPING_C = 68.0
"""Core temperature at which most cooks wrap, and look closely. [°C]"""


@dataclass(frozen=True)
class Look:
    """Something a cook can find out: an unknown, or a reading when it would be wrapped.

    `error` is what is left of the unknown, of its spread; or the error of the reading.
    """

    words: Text
    unknown: str = ""
    reading: Kind | None = None
    error: float = 0.0


LOOKS: Final[tuple[Look, ...]] = (
    Look("its thickness, with a tape", unknown="size", error=0.4),
    Look("the air at the meat, with a probe of its own", unknown="air", error=0.3),
    Look(
        say("how damp its pit is, within {0} of dew point", Difference(3.0)),
        reading="dew point",
        error=3.0,
    ),
    Look("its weight when it would be wrapped, within 1 %", reading="loss", error=1.0),
    Look(say("its surface then, within {0}", Difference(3.0)), reading="surface", error=3.0),
    Look(say("when its core passed {0}", Degrees(WRAPPING_C)), reading="hours", error=0.02),
    Look("draught: a log of this pit before", unknown="film", error=0.3),
)


@dataclass(frozen=True)
class Narrowing:
    """Hours of a described brisket: nine in ten lie within this factor, low to high."""

    words: Text
    factor: float


_IN_WORDS: Final[Mapping[str, str]] = {
    "size": "its proportions",
    "air": "the air at the meat",
    "damp": "how damp the pit is",
    "film": "the draught",
    "start": "its temperature at the start",
}


def described_brisket(until_c: float, readings: tuple[Reading, ...]) -> Measured:
    """Return a whole brisket of 6.4 kg in a pit of 107 °C, as a cook would describe it."""
    one = piece("beef brisket whole", 6.4)
    size = math.hypot(one.assumed.thickness_spread if one.assumed else 0.1, 0.06)
    bout = Bout("pit", 107.0, 60.0, until_c, air_speed=0.5)
    return Measured(
        "described", f"brisket of 6.4 kg to {until_c:g} °C", "derived",
        Recipe("beef brisket whole", one.shape, (bout,), 4.0, 6.4, covered=True,
               weighed=True),
        (
            Unknown("size", size, "usual proportions at this weight"),
            Unknown("air", 4.0, "air at the meat against the dial"),
            Unknown("damp", 1.0, "vents and fire"),
            Unknown("film", 0.25, "draught"),
            Unknown("start", 1.5, "as in table forecast"),
        ),
        readings,
    )  # fmt: skip


def narrowings(known: Believed, looks: tuple[Look, ...] = LOOKS) -> tuple[Narrowing, ...]:
    """Return the factor of the hours of a described brisket, and what narrows it.

    First as described, then with each look by itself, last with all. The model's own error
    in hours is the same at the wrapping as at the end, for it is one cook; what an account
    misses of loss and surface is as large as elsewhere in the calibration.
    """
    dew: tuple[Reading, ...] = (Reading("dew point", 35.0, 1.0),)
    early_kinds: tuple[Kind, ...] = ("loss", "surface", "hours")
    early = described_brisket(
        WRAPPING_C,
        tuple(Reading(kind, 1.0, 0.1) for kind in early_kinds) + dew,
    )
    late = described_brisket(93.0, (Reading("hours", 10.0, 0.1),))
    own = np.zeros(len(late.unknowns))
    at = known.shared
    end = linearise((late, known.account, at, own))
    look = linearise((early, known.account, at, own))
    errors = known.errors
    kinds = list(ERRORS)

    def model_error(kind: str) -> float:
        if kind not in kinds:
            return 3.0  # K, of a surface reading or a dew point: ours
        i = kinds.index(kind)
        return float(np.hypot(np.exp(errors[i]), np.exp(errors[i + len(kinds)])))

    n, q = len(at), len(own)
    # One more unknown: the model's own error in hours, shared by the whole cook.
    prior = np.zeros((n + q + 1, n + q + 1))
    prior[:n, :n] = known.covariance
    prior[n:, n:] = np.eye(q + 1)
    hours = np.concatenate((end.by_shared[0], end.by_own[0], [model_error("hours")]))
    slopes: dict[str, Floats] = {}
    for k, reading in enumerate(early.readings):
        extra = model_error("hours") if reading.kind == "hours" else 0.0
        slopes[reading.kind] = np.concatenate((look.by_shared[k], look.by_own[k], [extra]))
    names = [u.name for u in late.unknowns]

    def factor(used: tuple[Look, ...]) -> float:
        cov = prior.copy()
        for one in used:
            if one.reading is None:
                row = np.zeros(n + q + 1)
                own_at = names.index(one.unknown)
                row[n + own_at] = 1.0
                if one.unknown == "size":
                    # A tape tells what this piece is, not how far it strays from the others.
                    common = known.account.shared.index("size")
                    row[common] = SHARED["size"].spread / late.unknowns[own_at].spread
                noise = one.error**2 / (1.0 - one.error**2)
            else:
                row = slopes[one.reading]
                own_error = 0.0 if one.reading == "hours" else model_error(one.reading)
                noise = one.error**2 + own_error**2
            gain = cov @ row
            cov = cov - np.outer(gain, gain) / (row @ gain + noise)
        return float(np.exp(2.0 * _NINE_IN_TEN * np.sqrt(hours @ cov @ hours)))

    found = [Narrowing("as described", factor(()))]
    found.extend(Narrowing(one.words, factor((one,))) for one in looks)
    found.append(Narrowing("all of them", factor(looks)))
    return tuple(found)


def advice_in_words(known: Believed, units: str | UnitChoice = "C") -> str:
    """Say how far the hours of a described brisket may lie apart, and what narrows them."""
    found = narrowings(known)
    lines: list[Text] = [
        say(
            "A whole brisket of {0} in a pit of {1}, to a core of {2}: nine in ten finish "
            f"within a factor of {found[0].factor:.1f}, first to last.",
            Mass(6.4),
            Degrees(107.0),
            Degrees(93.0),
        )
    ]
    looks = sorted(found[1:-1], key=lambda one: one.factor)
    lines.extend(say("Know {0}: " + f"{one.factor:.2f}.", one.words) for one in looks)
    lines.append(f"Know all of that: {found[-1].factor:.2f}.")
    by = sorted(shares(known).items(), key=lambda item: -item[1])
    lines.append(
        "Where the doubt comes from: " + ", ".join(f"{k} {v:.0%}" for k, v in by) + "."
    )
    return together(lines, "\n").shown(units)


def shares(known: Believed) -> Mapping[str, float]:
    """Return the share of the variance of those hours that each unknown makes."""
    late = described_brisket(93.0, (Reading("hours", 10.0, 0.1),))
    line = linearise((late, known.account, known.shared, np.zeros(len(late.unknowns))))
    kinds = list(ERRORS)
    i = kinds.index("hours")
    errors = np.exp(2.0 * known.errors)
    parts = {
        _IN_WORDS[u.name]: float(line.by_own[0, k] ** 2) for k, u in enumerate(late.unknowns)
    }
    slope = line.by_shared[0]
    parts["the meat and the film, calibrated"] = float(slope @ known.covariance @ slope)
    parts["the model's own error"] = float(errors[i] + errors[i + len(kinds)])
    total = sum(parts.values())
    return {name: value / total for name, value in parts.items()}


__all__ = [
    "LOOKS",
    "Look",
    "Narrowing",
    "advice_in_words",
    "described_brisket",
    "narrowings",
    "shares",
]
