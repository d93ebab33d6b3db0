"""Growth of bacteria along a temperature history: an upper bound without lag.

Rosso's cardinal temperature model,

    mu = mu_opt (T - T_max)(T - T_min)^2
         / ((T_opt - T_min)[(T_opt - T_min)(T - T_opt) - (T_opt - T_max)(T_opt + T_min - 2T)])

(Rosso, Lobry and Flandrois 1993, J. Theor. Biol. 162; the form is from memory, its
constants are in table ``growth`` with their sources; with those of S. aureus it gives
the 2.1 log in 6 h and 3.5 log in 10 h that the come-up limit was designed on). No lag
is credited: lag is the uncertain part, and crediting it is the dangerous side.
"""

from __future__ import annotations

from collections.abc import Iterable

import numpy as np
from numpy.typing import ArrayLike, NDArray

from coreward import tables
from coreward.errors import InputError, TableError
from coreward.physics.lethality import history_arrays

Floats = NDArray[np.float64]
_SECONDS_PER_HOUR = 3600.0


def growth_curves(
    stage: str, meats: Iterable[str]
) -> tuple[tuple[tables.ParameterSet, ...], bool]:
    """Growth curves that matter in a stage, for a meat or a mixture.

    The table says for which stage each is, and in which food it was measured. Where a meat
    is not one of these all of the stage are returned, of which the fastest counts.

    Parameters
    ----------
    stage : str
        "come-up" or "cooling".
    meats : str or iterable of str
        Species.

    Returns
    -------
    curves : tuple of ParameterSet
        Sets of table ``growth``.
    measured : bool
        Whether each of the meats is one that a curve was measured in.

    Raises
    ------
    TableError
        No set is for this stage.
    """
    asked = (meats,) if isinstance(meats, str) else tuple(meats)
    every = (tables.load("growth", name) for name in tables.names("growth"))
    found = tuple(one for one in every if one.text("stage") == stage)
    if not found:
        raise TableError(f"no set of table 'growth' is for the stage {stage!r}.")
    measured = bool(asked) and set(asked) <= {one.text("species") for one in found}
    return tuple(one for one in found if not measured or one.text("species") in asked), measured


def organisms(curves: Iterable[tables.ParameterSet]) -> str:
    """Return the organisms of growth curves, each once."""
    return " and ".join(dict.fromkeys(one.text("organism") for one in curves))


def growth_rate(temperature_c: ArrayLike, name: str | None = None) -> Floats:
    """Growth at a constant temperature, zero outside the range of growth.

    Parameters
    ----------
    temperature_c : array_like
        [°C]
    name : str, optional
        Set of table ``growth``.

    Returns
    -------
    ndarray
        [log10/h]

    Raises
    ------
    TableError
        No such set.
    """
    constants = tables.load("growth", name)
    low, best, high = constants["lowest"], constants["optimum"], constants["highest"]
    temperature = np.asarray(temperature_c, dtype=float)
    inside = (temperature > low) & (temperature < high)
    t = np.where(inside, temperature, best)
    shape = (t - high) * (t - low) ** 2
    norm = (best - low) * ((best - low) * (t - best) - (best - high) * (best + low - 2.0 * t))
    return np.where(inside, constants["optimum_rate"] * shape / norm, 0.0)


def growth_bound(
    time_s: ArrayLike, temperature_c: ArrayLike, name: str | None = None
) -> Floats:
    """Cumulative growth without lag, never less than between the samples.

    Between two samples the fastest rate of any temperature between them counts; across
    a missing reading the optimum does.

    Parameters
    ----------
    time_s, temperature_c : array_like, shape (samples,)
        History. [s], [°C]
    name : str, optional
        Set of table ``growth``.

    Returns
    -------
    ndarray, shape (samples,)
        [log10]

    Raises
    ------
    InputError, TableError
        The history cannot be used; no such set.
    """
    time, temperature = history_arrays(time_s, temperature_c)
    return _bound(time, temperature[:, None], name)[:, 0]


def growth_bound_by_place(
    time_s: ArrayLike, temperature_c: ArrayLike, name: str | None = None
) -> Floats:
    """As :func:`growth_bound`, for many places that share their times.

    Parameters
    ----------
    time_s : array_like, shape (samples,)
        [s]
    temperature_c : array_like, shape (samples, places)
        [°C]
    name : str, optional
        Set of table ``growth``.

    Returns
    -------
    ndarray, shape (samples, places)
        [log10]

    Raises
    ------
    InputError, TableError
        The history cannot be used; no such set.
    """
    temperature = np.asarray(temperature_c, dtype=float)
    if temperature.ndim != 2 or not temperature.shape[1]:
        raise InputError(
            "Growth by place needs a table of temperatures with a column for each place; it "
            f"has shape {temperature.shape}."
        )
    time, _ = history_arrays(time_s, temperature[:, 0])
    return _bound(time, temperature, name)


def _bound(time: Floats, temperature: Floats, name: str | None) -> Floats:
    best = tables.load("growth", name)["optimum"]
    filled = np.where(np.isfinite(temperature), temperature, best)
    each = growth_rate(filled, name)
    rate = np.maximum(each[:-1], each[1:])
    first, second = filled[:-1], filled[1:]
    passes = (np.minimum(first, second) < best) & (np.maximum(first, second) > best)
    rate = np.where(passes, growth_rate(best, name), rate)
    out = np.zeros_like(filled)
    np.cumsum(rate * (np.diff(time) / _SECONDS_PER_HOUR)[:, None], axis=0, out=out[1:])
    return out
