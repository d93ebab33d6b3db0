"""Ways of which none is better in everything: searched for, not only looked up on a grid.

Many one-number problems are solved, each with other weights on the same goals (weighted
Chebyshev distance from the best of each goal, which also reaches the hollow parts of a
front), by SciPy's differential evolution. Every point tried is kept; those that no other
beats in all goals are the front.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import differential_evolution

from coreward.errors import InputError

Floats = NDArray[np.float64]

# A small share of the plain weighted sum keeps points out that are only weakly best.
_AUGMENT = 0.02
# What counts as a goal that was missed altogether.
_WORST = 1e6


@dataclass(frozen=True, eq=False)
class Front:
    """What a search found."""

    choices: Floats
    """On the front, ordered by the first goal. Shape (points, variables)."""
    goals: Floats
    """Smaller is better. Shape (points, goals)."""
    picked: NDArray[np.int64]
    """Rows of the front that are best for one of the weights: a few that stand for all."""
    evaluated: int
    """How many points were tried."""


def nondominated(goals: Floats) -> NDArray[np.bool_]:
    """Whether each point is beaten by no other: as good in all goals and better in one.

    Parameters
    ----------
    goals : ndarray, shape (points, goals)
        Smaller is better; a point with a goal that is not finite is always beaten.
    """
    finite = np.isfinite(goals).all(axis=1)
    kept: NDArray[np.bool_] = np.array(finite)
    for i in np.flatnonzero(finite):
        no_worse = (goals[finite] <= goals[i]).all(axis=1)
        better = (goals[finite] < goals[i]).any(axis=1)
        kept[i] = not (no_worse & better).any()
    return kept


def search_front(
    evaluate: Callable[[Floats], Sequence[float]],
    bounds: Sequence[tuple[float, float]],
    *,
    weights: Floats,
    scale: Sequence[float],
    begin: Sequence[Floats] = (),
    rounds: int = 6,
    crowd: int = 5,
    seed: int = 1830,
) -> Front:
    """Search a front.

    Parameters
    ----------
    evaluate : callable
        Takes a row of choices and returns its goals, smaller is better; infinite where
        a choice is none.
    weights : ndarray, shape (problems, goals)
        One one-number problem for each row.
    scale : sequence of float
        What counts as much in one goal as in another.
    begin : sequence of ndarray
        Choices known beforehand; the front is nowhere worse than they are.
    rounds, crowd : int
        Generations of each problem, and members per choice in each.

    Raises
    ------
    InputError
        If no choice at all could be evaluated.
    """
    tried: dict[bytes, tuple[Floats, Floats]] = {}
    unit = np.asarray(scale, dtype=float)
    ideal = np.full(len(unit), np.inf)

    def goals_of(x: Floats) -> Floats:
        key = np.round(x, 6).tobytes()
        if key not in tried:
            tried[key] = (x.copy(), np.asarray(evaluate(x), dtype=float))
        return tried[key][1]

    def one_number(x: Floats, weight: Floats) -> float:
        goals = goals_of(x)
        if not np.isfinite(goals).all():
            return _WORST
        np.minimum(ideal, goals, out=ideal)
        off = weight * (goals - ideal) / unit
        return float(off.max() + _AUGMENT * off.sum())

    lowest, highest = np.array(bounds, dtype=float).T
    for known_choice in begin:
        goals_of(np.clip(np.asarray(known_choice, dtype=float), lowest, highest))
    for number, weight in enumerate(weights):
        # Later problems begin from the best points that earlier ones came across.
        known = [x for x, g in tried.values() if np.isfinite(g).all()]
        best = min(known, key=lambda x: one_number(x, weight), default=None)
        differential_evolution(
            one_number,
            list(bounds),
            args=(weight,),
            maxiter=rounds,
            popsize=crowd,
            init="latinhypercube",
            x0=best,
            seed=np.random.default_rng([seed, number]),
            polish=False,
            tol=0.0,
        )
    choices = np.array([x for x, _ in tried.values()])
    goals = np.array([g for _, g in tried.values()])
    good = nondominated(goals)
    if not good.any():
        raise InputError(
            "No way that was tried leads to the result wanted: ask for less of it."
        )
    order = np.argsort(goals[good][:, 0])
    front = goals[good][order]
    off = weights[:, None, :] * (front - ideal)[None, :, :] / unit
    distance = off.max(axis=2) + _AUGMENT * off.sum(axis=2)
    picked = np.unique(distance.argmin(axis=1))
    return Front(choices[good][order], front, picked, len(goals))


def spread_weights(goals: int, steps: int) -> Floats:
    """Weights spread evenly over all goals, none of them zero.

    Parameters
    ----------
    goals : int
        Two or three.
    """
    rows = [
        (i, steps - i) if goals == 2 else (i, j, steps - i - j)
        for i in range(steps + 1)
        for j in (range(1) if goals == 2 else range(steps + 1 - i))
    ]
    table = np.array(rows, dtype=float) / steps
    return np.maximum(table, 0.02)
