"""Which inputs move finish time, loss and carryover most.

Sobol' indices, computed live on the model by ``scipy.stats.sobol_indices``. Each
input varies evenly over the range that its table gives; the share of the variance of
an outcome that goes when an input becomes known is its first-order index, and the
share that stays as long as it alone is unknown its total index.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray
from scipy import stats

from coreward import tables
from coreward.cook.simulate import simulate
from coreward.cook.stages import Chamber, Piece, Stage, Surroundings
from coreward.errors import InputError
from coreward.evidence.trust.stall import longest_stand
from coreward.physics.body import Slab
from coreward.physics.meat import FLOWING, meat

Floats = NDArray[np.float64]
Progress = Callable[[int, int], None]

OUTCOMES: tuple[tuple[str, str], ...] = (
    ("finish time", "h"),
    ("loss", "% of the raw mass"),
    ("carryover", "K"),
)
"""Outcomes of the study and their units."""

PLATEAU_OUTCOMES: tuple[tuple[str, str], ...] = (
    ("height", "°C"),
    ("length", "h"),
    ("finish time", "h"),
)
"""Outcomes of the study of the standstill and their units."""

_CUT = "beef brisket whole"
# Indices to a few hundredths need no more than this mesh and tolerance: the core time
# moves by less than half a per cent against the defaults.
_CELLS = 24
_TOLERANCE = 0.1


@dataclass(frozen=True)
class UncertainInput:
    """One input of a study, and the range over which it is unknown.

    Evenly, or evenly in its logarithm.
    """

    name: str
    label: str
    unit: str
    low: float
    high: float
    source: str
    logarithmic: bool = False


@dataclass(frozen=True)
class Sensitivity:
    """Outcome of a study.

    Attributes
    ----------
    inputs : tuple of UncertainInput
    first, total : ndarray, shape (outcomes, inputs)
        Sobol' indices; of the logarithm of the finish time, of the others as they are.
    total_low, total_high : ndarray, shape (outcomes, inputs)
        Bounds of the total index that hold with 95 % confidence, by bootstrap.
    middle, low, high : ndarray, shape (outcomes,)
        Median and 5th and 95th percentile of each outcome over the sample.
    runs : int
        Cooks computed.
    unfinished : int
        Cooks that did not reach the pull temperature in time.
    """

    inputs: tuple[UncertainInput, ...]
    first: Floats
    total: Floats
    total_low: Floats
    total_high: Floats
    middle: Floats
    low: Floats
    high: Floats
    runs: int
    unfinished: int

    def ranked(self, outcome: int) -> tuple[tuple[UncertainInput, float, float], ...]:
        """Inputs from the strongest to the weakest, with first and total index."""
        order = np.argsort(-self.total[outcome])
        return tuple(
            (self.inputs[i], float(self.first[outcome, i]), float(self.total[outcome, i]))
            for i in order
        )


# name, table kind, set (None: the default), parameter, words
_FROM_TABLES: tuple[tuple[str, str, str | None, str, str], ...] = (
    ("thickness_factor", "sensitivity", None, "thickness_factor", "thickness, of nominal"),
    ("start_c", "sensitivity", None, "start_c", "start temperature"),
    ("pit_c", "sensitivity", None, "pit_c", "pit temperature"),
    ("dew_point_c", "fire", None, "dew_point_c", "dew point of the pit"),
    ("heat_transfer", "fire", None, "convective_coefficient", "convective coefficient"),
    ("wall_offset", "fire", None, "wall_offset", "wall less air"),
    ("emissivity", "surface", None, "meat_emissivity", "emissivity of the meat"),
    ("surface_share", "transport", None, "surface_share", "expelled water at the surface"),
    ("expulsion_rate", "transport", None, "expulsion_rate", "rate of expulsion"),
    ("midpoint_c", "water_holding", None, "midpoint_c", "midpoint of water release"),
    ("mixing_exponent", "conductivity", None, "mixing_exponent", "conductivity mixing"),
    ("fat", "cut", _CUT, "fat", "fat of the piece"),
)


def uncertain_inputs() -> tuple[UncertainInput, ...]:
    """Return the inputs of the study with the ranges of their tables."""
    inputs = []
    for name, kind, chosen, parameter, label in _FROM_TABLES:
        record = tables.load(kind, chosen).record(parameter)
        low, high = record.range
        inputs.append(UncertainInput(name, label, record.unit, low, high, record.source))
    return tuple(inputs)


def one_cook(
    values: dict[str, float], *, cells: int = _CELLS, tolerance: float = _TOLERANCE
) -> tuple[float, float, float, bool]:
    """Cook, pull and rest once.

    Parameters
    ----------
    values : dict
        By the names of `uncertain_inputs`; those left out keep their nominal value.
    cells, tolerance
        See :func:`coreward.simulate`.

    Returns
    -------
    finish : float
        Time to the pull temperature. [h]
    loss : float
        Of the raw mass at the pull. [%]
    carryover : float
        Rise of the core in the rest. [K]
    reached : bool
        Whether the pull temperature was reached.

    Raises
    ------
    InputError
        If a name is unknown.
    """
    known = {
        name: tables.load(kind, chosen)[parameter]
        for name, kind, chosen, parameter, _ in _FROM_TABLES
    }
    for name in values:
        if name not in known:
            raise InputError(f"The study has no input {name!r}; it has {', '.join(known)}.")
    v = {**known, **values}
    study = tables.load("sensitivity")
    cut = tables.load("cut", _CUT)
    # More fat means less of everything else, in the proportions of the cut.
    lean = (1.0 - v["fat"]) / (1.0 - cut["fat"])
    material = meat(
        _CUT,
        composition={
            "fat": v["fat"],
            **{part: cut[part] * lean for part in ("water", "protein", "ash")},
        },
        transport=tables.load("transport").replace(
            surface_share=v["surface_share"], expulsion_rate=v["expulsion_rate"]
        ),
        water_holding=tables.load("water_holding").replace(midpoint_c=v["midpoint_c"]),
        conductivity=tables.load("conductivity").replace(mixing_exponent=v["mixing_exponent"]),
    )
    pit = Surroundings(
        v["pit_c"],
        dew_point_c=v["dew_point_c"],
        heat_transfer=v["heat_transfer"],
        wall_c=v["pit_c"] + v["wall_offset"],
        emissivity=v["emissivity"],
    )
    kitchen = Surroundings(
        study["kitchen_c"],
        dew_point_c=study["kitchen_dew_point_c"],
        air_speed=study["kitchen_air_speed"],
    )
    result = simulate(
        Piece(Slab(cut["usual_thickness"] * v["thickness_factor"]), material, v["start_c"]),
        [
            Stage(pit, duration_s=study["longest"], until_core_c=study["pull_c"], label="pit"),
            Stage(kitchen, duration_s=study["rest"], label="rest"),
        ],
        cells=cells,
        tolerance=tolerance,
    )
    pulled = result.records[0].end_s
    at_pull = float(np.interp(pulled, result.time_s, result.core_c))
    loss = float(np.interp(pulled, result.time_s, result.mass_loss_fraction))
    rest = result.core_c[result.time_s >= pulled]
    return (
        pulled / 3600.0,
        100.0 * loss,
        float(rest.max() - at_pull),
        bool(result.records[0].reached),
    )


# The standstill: what stands in the chamber and how long. [°C], [h]
_BAND_K = 5.0
_STANDS_C = (50.0, 80.0)
_DONE_C = 85.0
_PIT_C = 107.0
_LONGEST_H = 40.0
_LOGARITHMIC = ("fresh_air", "permeability")
_WORDS = {
    "fresh_air": "ventilation, fresh air",
    "permeability": "permeability of the meat",
    "thickness": "thickness",
    "mass": "mass in the chamber",
    "film_capacity": "what film and crust hold",
    "injected": "injected water",
}


def plateau_inputs() -> tuple[UncertainInput, ...]:
    """Return the inputs of the study of the standstill, from set "plateau"."""
    table = tables.load("sensitivity", "plateau")
    return tuple(
        UncertainInput(
            name, words, r.unit, r.range[0], r.range[1], r.source, name in _LOGARITHMIC
        )
        for name, words in _WORDS.items()
        for r in [table.record(name)]
    )


def one_plateau(
    values: dict[str, float], *, cells: int = _CELLS, tolerance: float = _TOLERANCE
) -> tuple[float, float, float, bool]:
    """Cook once in a chamber that the meat makes damp.

    Parameters
    ----------
    values : dict
        By the names of `plateau_inputs`; those left out keep their nominal value.
    cells, tolerance
        See :func:`coreward.simulate`.

    Returns
    -------
    height : float
        Middle of the 5 K in which the core stays longest, between 50 and 80 °C. [°C]
    length : float
        How long it stays there. [h]
    finish : float
        Time to 85 °C. [h]
    reached : bool
        Whether that was reached.
    """
    table = tables.load("sensitivity", "plateau")
    v = {name: table[name] for name in _WORDS} | values
    flow = tables.load("transport", FLOWING["transport"])
    material = meat(
        "beef brisket flat",
        transport=flow.replace(permeability=v["permeability"]),
        water_holding=FLOWING["water_holding"],
        surface=tables.load("surface").replace(film_capacity=v["film_capacity"]),
    )
    piece = Piece(Slab(v["thickness"]), material, 4.0, v["mass"], v["injected"])
    pit = Chamber(_PIT_C, v["fresh_air"], heat_transfer=8.0)
    result = simulate(
        piece,
        Stage(pit, duration_s=_LONGEST_H * 3600.0, until_core_c=92.0),
        cells=cells,
        tolerance=tolerance,
    )
    length, height = longest_stand(result, _BAND_K, *_STANDS_C)
    done = result.time_at_core(_DONE_C)
    return height, length, (done or result.duration_s) / 3600.0, done is not None


def sensitivity(
    samples: int = 64, progress: Progress | None = None, seed: int = 20
) -> Sensitivity:
    """Compute Sobol' indices of finish time, loss and carryover.

    Parameters
    ----------
    samples : int
        A power of two, at least 8. The study takes (inputs + 2) times as many cooks.
    progress : callable, optional
        Called with (cooks done, cooks in all); what it raises stops the study.
    seed : int
        For a study that can be repeated.

    Returns
    -------
    Sensitivity

    Raises
    ------
    InputError
        If `samples` is not a power of two.
    """
    return _study(uncertain_inputs(), len(OUTCOMES), one_cook, 0, samples, progress, seed)


def plateau_sensitivity(
    samples: int = 32, progress: Progress | None = None, seed: int = 20
) -> Sensitivity:
    """Compute Sobol' indices of the standstill's height, length and the finish time.

    Parameters and what is raised are those of :func:`sensitivity`.

    Returns
    -------
    Sensitivity
        Its outcomes are `PLATEAU_OUTCOMES`.
    """
    return _study(
        plateau_inputs(), len(PLATEAU_OUTCOMES), one_plateau, 2, samples, progress, seed
    )


def _study(
    inputs: tuple[UncertainInput, ...],
    outcomes_count: int,
    cook: Callable[[dict[str, float]], tuple[float, float, float, bool]],
    of_logarithm: int,
    samples: int,
    progress: Progress | None,
    seed: int,
) -> Sensitivity:
    if samples < 8 or samples & (samples - 1):
        raise InputError(
            f"The number of samples must be a power of two, at least 8; it is {samples}."
        )
    everything = samples * (len(inputs) + 2)
    sampled: list[Floats] = []
    done = unfinished = 0

    def outcomes(points: Floats) -> Floats:
        nonlocal done, unfinished
        values = np.empty((outcomes_count, points.shape[1]))
        for column in range(points.shape[1]):
            names = (item.name for item in inputs)
            *numbers, reached = cook(
                dict(zip(names, map(float, points[:, column]), strict=True))
            )
            values[:, column] = numbers
            unfinished += not reached
            done += 1
            if progress is not None:
                progress(done, everything)
        sampled.append(values.copy())  # sobol_indices centres what it is given in place
        # Some cooks take very long: the logarithm keeps a few of them from ruling.
        values[of_logarithm] = np.log(values[of_logarithm])
        return values

    generator = np.random.default_rng(seed)
    indices = stats.sobol_indices(
        func=outcomes,
        n=samples,
        dists=[_distribution(i) for i in inputs],
        rng=generator,
    )
    bounds = indices.bootstrap(confidence_level=0.95, n_resamples=200)
    # The first two calls are independent samples of the inputs; the third mixes them.
    values = np.concatenate(sampled[:2], axis=1)
    low, middle, high = np.percentile(values, [5.0, 50.0, 95.0], axis=1)
    return Sensitivity(
        inputs=inputs,
        first=np.asarray(indices.first_order),
        total=np.asarray(indices.total_order),
        total_low=np.asarray(bounds.total_order.confidence_interval.low),
        total_high=np.asarray(bounds.total_order.confidence_interval.high),
        middle=middle,
        low=low,
        high=high,
        runs=done,
        unfinished=unfinished,
    )


def _distribution(item: UncertainInput) -> Any:
    if item.logarithmic:
        return stats.loguniform(item.low, item.high)
    return stats.uniform(loc=item.low, scale=item.high - item.low)
