"""The coldest point of a piece, estimated from a probe that sits beside it.

Between two mirror-image places of a piece that is heated alike from both sides, the
reading of a probe at one of them settles everything: the meat between them follows it by
conduction alone, whatever the surface does. So the model runs under the probe, with the
reading as its boundary, and needs neither the pit nor the humidity.
"""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray
from scipy.linalg import eigh

from coreward.cook.stages import MEAT_START_RANGE_C
from coreward.errors import InputError
from coreward.questions.verdict.history import CookRecord
from coreward.words import Length, say

Floats = NDArray[np.float64]
_CELLS = 32
_SMALLEST_M = 1e-4  # meat this thin follows its probe within a tenth of a second
_START_SPAN_S = 300.0  # long enough to be above the rounding of a probe, short for a core


def probe_offset(thickness_m: float, depth_m: float, depth_error_m: float = 0.0) -> float:
    """Return how far from the centre a probe's tip may sit. [m].

    Parameters
    ----------
    thickness_m : float
        Whole thickness or diameter of the piece. [m]
    depth_m : float
        Depth of the tip below the surface, along the shortest way. [m]
    depth_error_m : float
        How well that depth is known; it is taken away from the centre. [m]

    Raises
    ------
    InputError
        A size that is not positive, or a depth outside the piece.
    """
    if not (math.isfinite(thickness_m) and thickness_m > 0.0):
        raise InputError(f"the thickness is {thickness_m!r}: give a positive number of metres.")
    if not (math.isfinite(depth_m) and 0.0 <= depth_m <= thickness_m):
        raise InputError(
            f"the probe's depth is {depth_m!r} m in a piece {thickness_m:g} m thick: give the "
            "depth of the tip below the surface, between nothing and the thickness."
        )
    if not (math.isfinite(depth_error_m) and depth_error_m >= 0.0):
        raise InputError(
            f"the error of the depth is {depth_error_m!r}: give zero or a positive number of "
            "metres."
        )
    half = 0.5 * thickness_m
    return min(abs(depth_m - half) + depth_error_m, half)


def under_the_probe(
    record: CookRecord, *, offset_m: float, dimensions: int, diffusivity: float
) -> CookRecord:
    """Cool a record to the estimated centre of the piece; never warm it.

    Conduction is solved from the centre to the probe with the reading as its boundary:
    finite volumes in space, exact in time. Between two samples, and through a gap, the
    lower of the two readings counts. Where the estimate is warmer than the probe, as in
    cooling, the reading itself stays.

    Parameters
    ----------
    record : CookRecord
        Of the probe.
    offset_m : float
        Distance of the probe's tip from the centre. [m]
    dimensions : int
        1 slab, 2 cylinder, 3 sphere.
    diffusivity : float
        Low for meat is on the safe side. [m²/s]

    Returns
    -------
    CookRecord
        With the estimated coldest point.

    Raises
    ------
    InputError
        A negative offset, another number of dimensions or a diffusivity that is not
        positive.

    Notes
    -----
    At the first reading the piece is taken to warm steadily at the rate of the first five
    minutes, T = T_probe - rate·(offset² - r²)/(2·n·diffusivity) (Carslaw and Jaeger 1959,
    from memory), but nowhere colder than freezing. Meat that is heated from one side only
    has its coldest point elsewhere.
    """
    if not (math.isfinite(offset_m) and offset_m >= 0.0):
        raise InputError(f"the offset is {offset_m!r}: give zero or a positive length.")
    if dimensions not in (1, 2, 3):
        raise InputError(f"{dimensions!r} dimensions: use 1 slab, 2 cylinder or 3 sphere.")
    if not (math.isfinite(diffusivity) and diffusivity > 0.0):
        raise InputError(f"the diffusivity is {diffusivity!r}: give a positive number.")
    good = np.isfinite(record.coldest_c)
    time, reading = record.time_s[good], record.coldest_c[good]
    if time.size < 2 or offset_m < _SMALLEST_M:
        return record
    centre = _centre(time, reading, offset_m, dimensions, diffusivity)
    coldest = record.coldest_c.copy()
    coldest[good] = np.minimum(reading, centre)
    return replace(
        record,
        coldest_c=coldest,
        point=say("the centre, estimated {0} from {1}", Length(offset_m), record.point),
    )


def _centre(
    time: Floats, reading: Floats, offset_m: float, dimensions: int, diffusivity: float
) -> Floats:
    """Temperature of the innermost cell under the readings. [°C]."""
    faces = np.linspace(0.0, offset_m, _CELLS + 1)
    middles = 0.5 * (faces[1:] + faces[:-1])
    volumes = np.diff(faces**dimensions) / dimensions
    areas = faces ** (dimensions - 1)
    inner = diffusivity * areas[1:-1] / np.diff(middles)
    outer = diffusivity * areas[-1] / (faces[-1] - middles[-1])
    diagonal = np.concatenate((inner, [outer]))
    diagonal[1:] += inner
    exchange = np.diag(diagonal) - np.diag(inner, 1) - np.diag(inner, -1)
    root = np.sqrt(volumes)
    decay, modes = eigh(exchange / np.outer(root, root))
    into, out = modes.T * root, modes[0] / root[0]
    # Only what the piece lags behind the boundary is followed: it fades mode by mode.
    span = time <= time[0] + max(_START_SPAN_S, float(time[1] - time[0]))
    last = int(np.flatnonzero(span)[-1])
    rate = max(float(reading[last] - reading[0]) / max(float(time[last] - time[0]), 1.0), 0.0)
    lag = rate * (offset_m**2 - middles**2) / (2.0 * dimensions * diffusivity)
    held = np.minimum(reading[:-1], reading[1:])
    uniform = into @ np.ones(_CELLS)
    # Thawed meat is nowhere colder than this, so a probe that warms at once in a piece
    # from the fridge cannot mean a centre far below freezing.
    coldest_start = min(float(reading[0]), MEAT_START_RANGE_C[0])
    start = np.maximum(reading[0] - lag, coldest_start)
    state = into @ start
    faded = np.exp(-np.outer(np.diff(time), decay))
    centre = np.empty_like(reading)
    centre[0] = start[0]
    for step, boundary in enumerate(held):
        steady = boundary * uniform
        state = steady + faded[step] * (state - steady)
        centre[step + 1] = out @ state
    return centre
