"""The calibration itself: one bell curve about the best guess, rows' own unknowns in it.

Every row is linear in shared and own unknowns about the present best guess, found by finite
differences; with bell curves everywhere what follows is linear algebra: the best guess
(damped Gauss-Newton), the sizes of the model's own errors (by the likelihood of the data,
with a prior of their own), the posterior of the shared numbers with every row's own unknowns
marginalised, and what would have been predicted of a source without it.
"""

from __future__ import annotations

import json
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any, Final, Protocol, TypeVar

import numpy as np
from numpy.typing import NDArray
from scipy.linalg import cho_factor, cho_solve
from scipy.optimize import minimize

from coreward.cook.light import spread
from coreward.errors import InputError
from coreward.evidence.calibration.account import Account, Cook, matters
from coreward.evidence.calibration.measured import LOGARITHMIC, Measured
from coreward.files import write_atomically

Floats = NDArray[np.float64]
Progress = Callable[[str, int, int], object]

ERRORS: Final[Mapping[str, tuple[float, float]]] = {
    "hours": (0.12, 0.08),
    "loss": (2.5, 1.5),
    "cooling loss": (0.7, 0.5),
    "vapour": (2.0, 1.5),
    "rise": (1.0, 0.7),
    "share": (0.05, 0.05),
    "stand hours": (0.25, 0.1),
}
"""What the model itself may be off, beyond every unknown: from row to row, and from source to
source. Middles of the prior of their sizes; the data move them."""

_ERROR_SPREAD = 0.6  # ln, of those sizes
_STEP = 0.3  # of a finite difference, in standard deviations: above the solver's noise
_MOST_STEP = 1.5  # of one Gauss-Newton step, any unknown
_ENOUGH = 0.15
_NINE_IN_TEN = 1.6449


class Mapper(Protocol):
    """What any executor offers."""

    def map(self, fn: Callable[..., Any], *iterables: Iterable[Any]) -> Iterable[Any]:
        """Apply a function to every item."""
        ...


@dataclass(frozen=True)
class Linear:
    """One row about a guess: what is predicted, and how that moves with shared and own."""

    value: Floats
    by_shared: Floats
    by_own: Floats


def linearise(task: tuple[Measured, Account, Floats, Floats]) -> Linear:
    """Return a row's prediction and its slopes in standard deviations of the priors."""
    row, account, shared, own = task
    names = account.shared
    own_names = [u.name for u in row.unknowns]

    def at(s: Floats, o: Floats) -> Floats:
        return Cook(row, account, dict(zip(names, s, strict=True)),
                    dict(zip(own_names, o, strict=True))).predictions()  # fmt: skip

    value = at(shared, own)

    def slopes(x: Floats, go: Callable[[Floats], Floats], moves: Sequence[bool]) -> Floats:
        out = np.zeros((len(value), len(x)))
        for i in np.flatnonzero(moves):
            # Towards the prior's middle, where the model was meant to hold.
            step = -_STEP if x[i] > 0.0 else _STEP
            moved = x.copy()
            moved[i] += step
            out[:, i] = (go(moved) - value) / step
        return out

    return Linear(
        value,
        slopes(shared, lambda s: at(s, own), matters(row, account)),
        slopes(own, lambda o: at(shared, o), [True] * len(own)),
    )


def predicted(task: tuple[Measured, Account, Floats, Floats]) -> Floats:
    """Return a row's prediction alone."""
    row, account, shared, own = task
    names = [u.name for u in row.unknowns]
    one = Cook(
        row, account, dict(zip(account.shared, shared, strict=True)),
        dict(zip(names, own, strict=True)),
    )  # fmt: skip
    return one.predictions()


@dataclass(frozen=True)
class State:
    """The best guess: shared numbers, each row's own, sizes of the model's errors (ln)."""

    shared: Floats
    own: tuple[Floats, ...]
    errors: Floats


def measured_values(row: Measured) -> Floats:
    """Return what was measured; hours as logarithms."""
    return np.array(
        [np.log(r.value) if r.kind in LOGARITHMIC else r.value for r in row.readings]
    )


class Stack:
    """The rows of one fit, stacked into one linear problem."""

    def __init__(self, rows: Sequence[Measured]) -> None:
        self.rows = tuple(rows)
        self.kinds = [r.kind for row in rows for r in row.readings]
        self.source = [row.source for row in rows for _ in row.readings]
        self.value = np.concatenate([measured_values(row) for row in rows])
        self.error = np.array([r.error for row in rows for r in row.readings])
        self.kind_index = np.array([list(ERRORS).index(kind) for kind in self.kinds])
        # A share of a source's error that all its readings of a kind have in common.
        same_source = np.equal.outer(np.array(self.source), np.array(self.source))
        same_kind = np.equal.outer(self.kind_index, self.kind_index)
        self.together = (same_source & same_kind).astype(float)

    def noise(self, errors: Floats) -> Floats:
        """Covariance of what no unknown explains."""
        apart = np.exp(errors[: len(ERRORS)])[self.kind_index]
        common = np.exp(errors[len(ERRORS) :])[self.kind_index]
        noise: Floats = self.together * np.outer(common, common)
        noise[np.diag_indices_from(noise)] += self.error**2 + apart**2
        return noise

    def slopes(self, lines: Sequence[Linear]) -> tuple[Floats, Floats]:
        """Slopes in the shared numbers, and in all rows' own as a block."""
        shared = np.concatenate([line.by_shared for line in lines])
        own = np.zeros((len(self.value), sum(line.by_own.shape[1] for line in lines)))
        i = j = 0
        for line in lines:
            n, q = line.by_own.shape
            own[i : i + n, j : j + q] = line.by_own
            i, j = i + n, j + q
        return shared, own


def usual_errors() -> Floats:
    """Logarithms of the middles of `ERRORS`."""
    middles: Floats = np.log(np.array(list(ERRORS.values())).T.ravel())
    return middles


def _departure(lines: Sequence[Linear], state: State, stack: Stack) -> Floats:
    """What was measured less what the linear model says at the prior's middle."""
    at = [
        line.value - line.by_shared @ state.shared - line.by_own @ own
        for line, own in zip(lines, state.own, strict=True)
    ]
    return stack.value - np.concatenate(at)


def solve_errors(
    stack: Stack, shared: Floats, own: Floats, departure: Floats, start: Floats
) -> Floats:
    """Sizes of the model's errors that make the data likeliest, with their prior."""
    middle = usual_errors()
    known = shared @ shared.T + own @ own.T

    def cost(errors: Floats) -> float:
        cov = known + stack.noise(errors)
        factor = cho_factor(cov, lower=True)
        fit = departure @ cho_solve(factor, departure)
        size = 2.0 * np.log(np.diag(factor[0])).sum()
        return float(
            0.5 * (fit + size) + 0.5 * (((errors - middle) / _ERROR_SPREAD) ** 2).sum()
        )

    found = minimize(cost, start, method="L-BFGS-B", options={"maxiter": 60})
    return np.asarray(found.x, dtype=float)


def posterior(
    stack: Stack, shared: Floats, own: Floats, departure: Floats, errors: Floats
) -> tuple[Floats, Floats, Floats]:
    """Mean and covariance of the shared numbers, and mean of all own, of the linear model."""
    cov = shared @ shared.T + own @ own.T + stack.noise(errors)
    factor = cho_factor(cov, lower=True)
    weight = cho_solve(factor, departure)
    spread_shared = np.eye(shared.shape[1]) - shared.T @ cho_solve(factor, shared)
    return shared.T @ weight, spread_shared, own.T @ weight


@dataclass(frozen=True)
class Foretold:
    """A reading as it was predicted without its source.

    Attributes
    ----------
    row : Measured
    number : int
        Of the reading among the row's.
    middle, spread : float
        Of the prediction with every unknown, the model's errors and the source's; hours as
        logarithms. Given the readings before it in the same row.
    sure : float
        The part of `spread` that is not the source's own error.
    alone : float
        Middle before anything of the row was read.
    """

    row: Measured
    number: int
    middle: float
    spread: float
    sure: float
    alone: float

    @property
    def measured(self) -> float:
        """What was measured."""
        return float(measured_values(self.row)[self.number])

    @property
    def deviation(self) -> float:
        """Measured less predicted, in standard deviations."""
        return (self.measured - self.middle) / self.spread

    @property
    def inside(self) -> bool:
        """Whether it lies within nine in ten."""
        return abs(self.deviation) <= _NINE_IN_TEN

    @property
    def score(self) -> float:
        """Logarithm of the predicted density."""
        return float(-0.5 * self.deviation**2 - np.log(self.spread * np.sqrt(2.0 * np.pi)))


@dataclass(frozen=True)
class Believed:
    """What is believed of an account's shared numbers after all rows.

    Attributes
    ----------
    account : Account
    shared, covariance : ndarray
        In standard deviations of their priors.
    errors : ndarray
        Logarithms of the sizes of the model's errors.
    """

    account: Account
    shared: Floats
    covariance: Floats
    errors: Floats


@dataclass(frozen=True)
class Fit:
    """One account, calibrated.

    Attributes
    ----------
    account : Account
    rows : tuple of Measured
    state : State
    covariance : ndarray
        Of the shared numbers, in standard deviations of their priors.
    foretold : tuple of Foretold
        Every reading, predicted without its source.
    without : tuple of (str, Believed)
        What is believed when a source is left out.
    """

    account: Account
    rows: tuple[Measured, ...]
    state: State
    covariance: Floats
    foretold: tuple[Foretold, ...]
    without: tuple[tuple[str, Believed], ...] = ()

    @property
    def believed(self) -> Believed:
        """What is kept of it."""
        return Believed(self.account, self.state.shared, self.covariance, self.state.errors)

    @property
    def score(self) -> float:
        """Logarithm of the density predicted of all sources left out, one at a time."""
        return sum(one.score for one in self.foretold)

    @property
    def coverage(self) -> float:
        """Share of the readings inside nine in ten."""
        return float(np.mean([one.inside for one in self.foretold]))


_Task = tuple[Measured, Account, Floats, Floats]
_Out = TypeVar("_Out")


def _each(
    work: Callable[[_Task], _Out],
    rows: Sequence[Measured],
    account: Account,
    state: State,
    executor: Mapper | None,
) -> list[_Out]:
    """Do one thing with every row at a guess."""
    tasks = [
        (row, account, state.shared, own) for row, own in zip(rows, state.own, strict=True)
    ]
    return spread(work, tasks) if executor is None else list(executor.map(work, tasks))


def start_state(rows: Sequence[Measured], account: Account) -> State:
    """Everything at the middle of its prior."""
    return State(
        np.zeros(len(account.shared)),
        tuple(np.zeros(len(row.unknowns)) for row in rows),
        usual_errors(),
    )


def _split(flat: Floats, rows: Sequence[Measured]) -> tuple[Floats, ...]:
    edges = np.cumsum([len(row.unknowns) for row in rows])[:-1]
    return tuple(np.split(flat, edges))


def _misfit(stack: Stack, value: Floats, state: State) -> float:
    """What Gauss-Newton lessens: data and prior at a guess, errors held."""
    factor = cho_factor(stack.noise(state.errors), lower=True)
    gap = stack.value - value
    prior = state.shared @ state.shared + sum(float(own @ own) for own in state.own)
    return float(gap @ cho_solve(factor, gap) + prior)


def best(
    rows: Sequence[Measured],
    account: Account,
    *,
    start: State | None = None,
    most: int = 8,
    executor: Mapper | None = None,
    progress: Progress | None = None,
    keep: Path | None = None,
) -> tuple[State, list[Linear]]:
    """Find the best guess, by damped Gauss-Newton.

    Parameters
    ----------
    rows, account
    start : State, optional
    most : int
        Steps at most.
    executor : Mapper, optional
        Anything with a ``map``; a thread for each core if None.
    progress : function of (name, done, total), optional
    keep : Path, optional
        Where each step is kept; a file that is there is gone on with.

    Returns
    -------
    State, list of Linear
        The guess, and the rows about it.
    """
    stack = Stack(rows)
    state = start or start_state(rows, account)
    done = 0
    if keep is not None and keep.is_file():
        state, done, settled = _read_state(keep, rows, account)
        done = most if settled else done
    lines = _each(linearise, rows, account, state, executor)
    reach = _MOST_STEP
    while done < most:
        shared, own = stack.slopes(lines)
        departure = _departure(lines, state, stack)
        errors = solve_errors(stack, shared, own, departure, state.errors)
        mean, _, own_mean = posterior(stack, shared, own, departure, errors)
        step = np.concatenate((mean - state.shared, own_mean - np.concatenate(state.own)))
        longest = float(np.abs(step).max())
        was = replace(state, errors=errors)
        before = _misfit(stack, np.concatenate([line.value for line in lines]), was)
        share = min(1.0, reach / longest) if longest > 0.0 else 1.0
        while True:
            to = np.concatenate((state.shared, *state.own)) + share * step
            n = len(state.shared)
            trial = State(to[:n], _split(to[n:], rows), errors)
            values = _each(predicted, rows, account, trial, executor)
            after = _misfit(stack, np.concatenate(values), trial)
            if after <= before or share * longest < _ENOUGH:
                break
            share *= 0.4
        state = trial
        lines = _each(linearise, rows, account, state, executor)
        done += 1
        settled = share * longest < _ENOUGH
        if keep is not None:
            _write_state(keep, state, done, settled, account)
        if progress is not None:
            progress(account.name, done, most)
        if settled:
            break
    return state, lines


def calibrate(
    rows: Sequence[Measured],
    account: Account,
    *,
    executor: Mapper | None = None,
    progress: Progress | None = None,
    folder: Path | None = None,
    start: State | None = None,
) -> Fit:
    """Calibrate an account on all rows, and predict each source without it.

    See `best` for the parameters; `folder` holds a file for each account.
    """
    keep = None if folder is None else folder / f"{account.name.replace(' ', '-')}.json"
    state, lines = best(
        rows, account, executor=executor, progress=progress, keep=keep, start=start
    )
    stack = Stack(rows)
    shared, own = stack.slopes(lines)
    departure = _departure(lines, state, stack)
    _, covariance, _ = posterior(stack, shared, own, departure, state.errors)
    foretold: list[Foretold] = []
    without: list[tuple[str, Believed]] = []
    sources = list(dict.fromkeys(row.source for row in rows))
    for number, source in enumerate(sources):
        told, others = _without(source, rows, account, state, lines, executor)
        foretold.extend(told)
        without.append((source, others))
        if progress is not None:
            progress(f"{account.name}, without {source}", number + 1, len(sources))
    return Fit(account, tuple(rows), state, covariance, tuple(foretold), tuple(without))


def _without(
    source: str,
    rows: Sequence[Measured],
    account: Account,
    state: State,
    lines: Sequence[Linear],
    executor: Mapper | None,
) -> tuple[list[Foretold], Believed]:
    """Predict a source from all the others, and say what they make believe.

    The others' rows stay linear about the best guess of all; the source's own are computed
    anew at what the others say, their own unknowns at their priors' middle.
    """
    stay = [i for i, row in enumerate(rows) if row.source != source]
    gone = [i for i, row in enumerate(rows) if row.source == source]
    others = [rows[i] for i in stay]
    stack = Stack(others)
    kept = [lines[i] for i in stay]
    partial = State(state.shared, tuple(state.own[i] for i in stay), state.errors)
    shared, own = stack.slopes(kept)
    departure = _departure(kept, partial, stack)
    errors = solve_errors(stack, shared, own, departure, state.errors)
    mean, covariance, _ = posterior(stack, shared, own, departure, errors)
    theirs = [rows[i] for i in gone]
    fresh = State(mean, tuple(np.zeros(len(row.unknowns)) for row in theirs), errors)
    found = []
    for row, line in zip(
        theirs, _each(linearise, theirs, account, fresh, executor), strict=True
    ):
        one = Stack([row])
        model = line.by_shared @ covariance @ line.by_shared.T + line.by_own @ line.by_own.T
        cov = model + one.noise(errors)
        for k, error in enumerate(one.error):
            before = slice(0, k)
            gain = np.linalg.solve(cov[before, before], cov[before, k]) if k else np.zeros(0)
            middle = line.value[k] + gain @ (one.value[before] - line.value[before])
            variance = cov[k, k] - gain @ cov[before, k]
            found.append(
                Foretold(
                    row, k, float(middle), float(np.sqrt(variance)),
                    float(np.sqrt(max(variance - error**2, 0.0))), float(line.value[k]),
                )
            )  # fmt: skip
    return found, Believed(account, mean, covariance, errors)


def _write_state(path: Path, state: State, done: int, settled: bool, account: Account) -> None:
    path.parent.mkdir(parents=True, exist_ok=True)
    write_atomically(
        path,
        json.dumps(
            {
                "account": account.name,
                "done": done,
                "settled": settled,
                "shared": state.shared.tolist(),
                "own": [own.tolist() for own in state.own],
                "errors": state.errors.tolist(),
            }
        ).encode(),
        what="state of the calibration",
    )


def _read_state(
    path: Path, rows: Sequence[Measured], account: Account
) -> tuple[State, int, bool]:
    held = json.loads(path.read_text(encoding="utf-8"))
    own = tuple(np.array(one, dtype=float) for one in held["own"])
    unknowns = [len(row.unknowns) for row in rows]
    if (held["account"], len(held["shared"]), [len(o) for o in own]) != (
        account.name, len(account.shared), unknowns,
    ):  # fmt: skip
        raise InputError(
            f"{path.name} holds a calibration of other rows: take another folder, or empty it."
        )
    state = State(np.array(held["shared"]), own, np.array(held["errors"]))
    return state, int(held["done"]), bool(held["settled"])
