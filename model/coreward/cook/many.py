"""Many cooks at once: a piece and stages whose numbers vary from member to member.

Each member is an ordinary :func:`coreward.simulate`, so that an ensemble can
never say something else than a single run. What is kept of a member is a few
curves at common times; its fields are dropped as soon as those are read off.
"""

from __future__ import annotations

import concurrent.futures
import dataclasses
import math
import os
import re
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Any, Protocol

import numpy as np
from numpy.typing import ArrayLike, NDArray

from coreward.cook.result import Result
from coreward.cook.simulate import DEFAULT_CELLS, DEFAULT_TOLERANCE, simulate
from coreward.cook.stages import Piece, Stage
from coreward.errors import CorewardError, InputError, SolverError
from coreward.physics.body import SHAPES, Cylinder, Slab, Sphere
from coreward.physics.statement import MaterialConstants

Floats = NDArray[np.float64]
Stages = Stage | Sequence[Stage]
StagesBuilder = Callable[[Mapping[str, float]], Stages]
Progress = Callable[[int, int], object]

# Curves of a `Result` that an ensemble can keep: one number per time.
QUANTITIES = (
    "core_c",
    "surface_c",
    "mean_c",
    "mass_loss_fraction",
    "evaporated_fraction",
    "dripped_fraction",
    "rendered_fat_fraction",
    "surface_water_activity",
    "film",
)
DEFAULT_SPACING_S = 300.0

_SIZE_NAMES: dict[str, tuple[type, ...]] = {
    "thickness": (Slab,),
    "diameter": (Cylinder, Sphere),
}
_SURROUNDINGS_NAMES = (
    "air_c",
    "dew_point_c",
    "heat_transfer",
    "wall_c",
    "emissivity",
    "pressure_pa",
    "air_speed",
    "fresh_air_kg_h",
    "water_kg_h",
    "volume_m3",
    "outside_c",
    "outside_dew_point_c",
    "portion",
)
_PIECE_NAMES = ("mass_kg", "injected_fraction")
_STAGE_NAMES = ("duration_s", "until_core_c")
_MATERIAL_NAMES = tuple(name for name in MaterialConstants._fields if name != "moist")
_STAGE_KEY = re.compile(r"stages\[(\d+)\]\.(\w+)")
# The engine lands on a target within a few millionths of a kelvin, from
# either side; a core that ends this close has reached it.
_LANDING_K = 1e-4
# Members per task: few enough that a cancel is quick, enough that handing
# over a task costs nothing beside computing it.
_LARGEST_CHUNK = 16
_PATIENCE_S = 0.05


class EnsembleCancelled(CorewardError):
    """The ensemble was stopped before all its members were computed."""


class Signal(Protocol):
    """What can ask for a stop; ``threading.Event`` is one."""

    def is_set(self) -> bool:
        """Whether to stop."""
        ...


class Submitter(Protocol):
    """The one method that an executor needs."""

    def submit(self, fn: Callable[..., Any], /, *args: Any) -> Any:
        """Start a call; the future that comes back has `result` and `cancel`."""
        ...


@dataclass(frozen=True)
class Ensemble:
    """Many computed cooks at common times. Rows are members.

    Attributes
    ----------
    parameters : mapping of str to ndarray, shape (members,)
        What varied.
    time_s : ndarray, shape (times,)
        [s]
    curves : mapping of str to ndarray, shape (members, times)
        The quantities asked for; not a number after a member's own end.
    end_s : ndarray, shape (members,)
        Length of each cook. [s]
    final : mapping of str to ndarray, shape (members,)
        The same quantities at each member's own end.
    target_c : float or None
        [°C]
    finish_s : ndarray, shape (members,)
        When the core first had `target_c`; not a number where it never had. [s]
    failures : tuple of (int, str)
        Members whose solution failed, and why. All their numbers are not a
        number.
    """

    parameters: Mapping[str, Floats]
    time_s: Floats
    curves: Mapping[str, Floats]
    end_s: Floats
    final: Mapping[str, Floats]
    target_c: float | None
    finish_s: Floats
    failures: tuple[tuple[int, str], ...] = ()

    @property
    def members(self) -> int:
        """How many cooks."""
        return len(self.end_s)

    @property
    def core_c(self) -> Floats:
        """Core temperature. [°C], shape (members, times)."""
        return self.curve("core_c")

    @property
    def loss_fraction(self) -> Floats:
        """Loss of mass at each member's own end. [-], shape (members,)."""
        self.curve("mass_loss_fraction")
        return self.final["mass_loss_fraction"]

    def curve(self, name: str) -> Floats:
        """One kept quantity, shape (members, times).

        Raises
        ------
        InputError
            If it was not among those asked for.
        """
        if name not in self.curves:
            raise InputError(
                f"This ensemble kept {', '.join(self.curves)} and not {name!r}; name it in "
                "`quantities` when computing."
            )
        return self.curves[name]

    def percentiles(self, name: str, percent: ArrayLike) -> Floats:
        """Spread of a quantity over the members still cooking, at each time.

        Parameters
        ----------
        name : str
        percent : array_like
            From 0 to 100.

        Returns
        -------
        ndarray, shape (percentages, times)
            Not a number at times when no member is cooking.
        """
        values = self.curve(name)
        levels = np.atleast_1d(np.asarray(percent, dtype=float))
        out = np.full((len(levels), values.shape[1]), np.nan)
        alive = np.isfinite(values).any(axis=0)
        if alive.any():
            out[:, alive] = np.nanpercentile(values[:, alive], levels, axis=0)
        return out


class _Member(Mapping[str, float]):
    """The numbers of one member, which notices which of them are read."""

    def __init__(self, values: Mapping[str, float]) -> None:
        self._values = values
        self.read: set[str] = set()

    def __getitem__(self, name: str) -> float:
        value = self._values[name]
        self.read.add(name)
        return value

    def __iter__(self) -> Iterator[str]:
        return iter(self._values)

    def __len__(self) -> int:
        return len(self._values)


@dataclass(frozen=True)
class _Task:
    """Members to compute, and what to keep of them. Can be sent to a process."""

    cooks: tuple[tuple[Piece, tuple[Stage, ...]], ...]
    first: int
    times_s: Floats | None
    target_c: float | None
    quantities: tuple[str, ...]
    engine: str
    cells: int
    tolerance: float


@dataclass(frozen=True)
class _Kept:
    """What is kept of one member."""

    end_s: float
    finish_s: float
    curves: Floats
    final: Floats
    failure: str | None


def _columns(given: Mapping[str, ArrayLike] | None) -> tuple[dict[str, Floats], int | None]:
    """Parameters as arrays of one length, and that length (None: only numbers)."""
    columns: dict[str, Floats] = {}
    length: int | None = None
    for name, values in (given or {}).items():
        try:
            column = np.array(values, dtype=float)
        except (TypeError, ValueError):
            raise InputError(f"The parameter {name!r} must be an array of numbers.") from None
        if column.ndim > 1:
            raise InputError(
                f"The parameter {name!r} must have one number for each member; it has "
                f"{column.ndim} dimensions."
            )
        bad = np.flatnonzero(~np.isfinite(np.atleast_1d(column)))
        if len(bad):
            raise InputError(
                f"The parameter {name!r} is not a finite number for member {bad[0]}."
            )
        columns[name] = column
        if column.ndim == 1:
            if length is not None and len(column) != length:
                raise InputError(
                    f"The parameter {name!r} has {len(column)} values where others have "
                    f"{length}; all parameters need one value for each member."
                )
            length = len(column)
    return columns, length


def _varied_piece(piece: Piece, member: _Member) -> Piece:
    """Apply what of a member's numbers belongs to the piece."""
    shape = piece.shape
    for name, kinds in _SIZE_NAMES.items():
        if name in member:
            if not isinstance(shape, kinds):
                raise InputError(f"A {shape.name} has no {name}.")
            shape = SHAPES[shape.name](member[name])
    changes: dict[str, Any] = {name: member[name] for name in _MATERIAL_NAMES if name in member}
    material = piece.material
    if changes:
        material = dataclasses.replace(
            material, constants=material.constants._replace(**changes)
        )
    mine: dict[str, Any] = {name: member[name] for name in _PIECE_NAMES if name in member}
    return dataclasses.replace(
        piece,
        shape=shape,
        material=material,
        start_c=member.get("start_c", piece.start_c),
        **mine,
    )


def _varied_stage(stage: Stage, number: int, alone: bool, member: _Member) -> Stage:
    """Apply what of a member's numbers belongs to one of the stages."""

    def mine(names: tuple[str, ...]) -> dict[str, Any]:
        prefix = f"stages[{number}]."
        found: dict[str, Any] = {
            name: member[name] for name in names if alone and name in member
        }
        found.update({n: member[prefix + n] for n in names if prefix + n in member})
        return found

    air = mine(_SURROUNDINGS_NAMES)
    times = mine(_STAGE_NAMES)
    known = {field.name for field in dataclasses.fields(stage.surroundings)}
    for name in air:
        if name not in known:
            kind = type(stage.surroundings).__name__
            raise InputError(f"{kind} has no {name}; leave it out, or use the other kind.")
    if air:
        stage = dataclasses.replace(
            stage, surroundings=dataclasses.replace(stage.surroundings, **air)
        )
    return dataclasses.replace(stage, **times) if times else stage


def _as_plan(stages: Stages) -> tuple[Stage, ...]:
    plan = (stages,) if isinstance(stages, Stage) else tuple(stages)
    if not plan or not all(isinstance(stage, Stage) for stage in plan):
        raise InputError("A cook needs at least one Stage(...).")
    return plan


def _explain_unused(name: str, plan: tuple[Stage, ...] | None) -> str:
    bare = name in _SURROUNDINGS_NAMES or name in _STAGE_NAMES
    if plan is not None and bare and len(plan) > 1:
        return (
            f"The parameter {name!r} could belong to any of the {len(plan)} stages; write "
            f"'stages[0].{name}' for the first."
        )
    key = _STAGE_KEY.fullmatch(name)
    if plan is not None and key and int(key.group(1)) >= len(plan):
        return (
            f"The parameter {name!r} names a stage that is not there; the first is stages[0]."
        )
    if plan is None:
        return (
            f"The parameter {name!r} belongs neither to the piece nor was it read by the "
            "function that builds the stages; check its spelling."
        )
    return (
        f"There is no parameter {name!r}. Known are thickness, diameter, start_c, "
        f"{', '.join((*_PIECE_NAMES, *_SURROUNDINGS_NAMES, *_STAGE_NAMES))}, and the fields "
        "of the material's constants."
    )


def _build(
    pieces: Sequence[Piece], stages: Stages | StagesBuilder, columns: Mapping[str, Floats]
) -> list[tuple[Piece, tuple[Stage, ...]]]:
    """Build every member before the first is computed: mistakes show at once."""
    plan = None if callable(stages) else _as_plan(stages)
    cooks = []
    for number, piece in enumerate(pieces):
        member = _Member(
            {name: float(x if x.ndim == 0 else x[number]) for name, x in columns.items()}
        )
        try:
            varied = _varied_piece(piece, member)
            if callable(stages):
                mine = _as_plan(stages(member))
            elif plan is not None:
                mine = tuple(
                    _varied_stage(stage, i, len(plan) == 1, member)
                    for i, stage in enumerate(plan)
                )
        except InputError as error:
            raise InputError(f"Member {number}: {error}") from error
        if number == 0:
            for name in columns:
                if name not in member.read:
                    raise InputError(_explain_unused(name, plan))
        cooks.append((varied, mine))
    return cooks


def _keep(
    result: Result, times_s: Floats | None, target_c: float | None, names: tuple[str, ...]
) -> _Kept:
    end = result.duration_s
    if times_s is None:
        times_s = np.arange(0.0, end * (1.0 + 1e-12), DEFAULT_SPACING_S)
    lived = times_s <= end
    curves = np.full((len(names), len(times_s)), np.nan)
    final = np.empty(len(names))
    for i, name in enumerate(names):
        values = getattr(result, name)
        curves[i, lived] = np.interp(times_s[lived], result.time_s, values)
        final[i] = values[-1]
    finish = None
    if target_c is not None:
        finish = result.time_at_core(target_c)
        hottest = int(np.argmax(result.core_c))
        if finish is None and result.core_c[hottest] >= target_c - _LANDING_K:
            finish = float(result.time_s[hottest])
    return _Kept(end, math.nan if finish is None else finish, curves, final, None)


def _compute(task: _Task) -> list[_Kept]:
    """Compute the members of one task, wherever the executor runs it."""
    kept = []
    for offset, (piece, stages) in enumerate(task.cooks):
        try:
            result = simulate(piece, stages, task.engine, task.cells, task.tolerance)
        except SolverError as error:
            nothing = np.full((len(task.quantities), 0), np.nan)
            none = np.full(len(task.quantities), np.nan)
            kept.append(_Kept(math.nan, math.nan, nothing, none, str(error)))
            continue
        except InputError as error:
            raise InputError(f"Member {task.first + offset}: {error}") from error
        kept.append(_keep(result, task.times_s, task.target_c, task.quantities))
    return kept


def _gather(
    tasks: Sequence[_Task],
    executor: Submitter,
    progress: Progress | None,
    cancel: Signal | None,
) -> list[_Kept]:
    total = sum(len(task.cooks) for task in tasks)
    futures: list[Any] = []
    kept: list[_Kept] = []
    try:
        for task in tasks:
            _stop_if(cancel, len(kept), total)
            futures.append(executor.submit(_compute, task))
        for future in futures:
            # Any future can be asked for its result; only those of the
            # standard library can also be watched while waiting.
            if cancel is not None and isinstance(future, concurrent.futures.Future):
                while not concurrent.futures.wait([future], timeout=_PATIENCE_S).done:
                    _stop_if(cancel, len(kept), total)
            _stop_if(cancel, len(kept), total)
            kept.extend(future.result())
            if progress is not None:
                progress(len(kept), total)
    except BaseException:
        # Also for an interrupt from the keyboard: nothing may go on
        # computing for a caller who is no longer there.
        for future in futures:
            future.cancel()
        raise
    return kept


def _stop_if(cancel: Signal | None, done: int, total: int) -> None:
    if cancel is not None and cancel.is_set():
        raise EnsembleCancelled(
            f"Stopped after {done} of {total} cooks; nothing was kept. Start it again when "
            "you want the answer."
        )


def usable_cores() -> int:
    """Cores this process may use."""
    if hasattr(os, "sched_getaffinity"):
        return max(1, len(os.sched_getaffinity(0)))
    return os.cpu_count() or 1


def _check_times(times_s: ArrayLike | None) -> Floats | None:
    if times_s is None:
        return None
    times = np.array(times_s, dtype=float)
    if times.ndim != 1 or not len(times) or not np.isfinite(times).all() or times.min() < 0.0:
        raise InputError("The common times must be a row of finite numbers from 0 on.")
    if (np.diff(times) <= 0.0).any():
        raise InputError("The common times must increase.")
    return times


def simulate_many(
    pieces: Piece | Sequence[Piece],
    stages: Stages | StagesBuilder,
    parameters: Mapping[str, ArrayLike] | None = None,
    *,
    times_s: ArrayLike | None = None,
    target_c: float | None = None,
    quantities: Sequence[str] = ("core_c", "mass_loss_fraction"),
    executor: Submitter | None = None,
    progress: Progress | None = None,
    cancel: Signal | None = None,
    chunk: int | None = None,
    engine: str = "fast",
    cells: int = DEFAULT_CELLS,
    tolerance: float = DEFAULT_TOLERANCE,
) -> Ensemble:
    """Cook many pieces, or one piece with many values of its parameters.

    Parameters
    ----------
    pieces : Piece or sequence of Piece
        One piece for all members, or one for each.
    stages : Stage, sequence of Stage, or function
        The same for all; or a function that takes a member's parameters (a
        mapping of name to number) and returns its stages.
    parameters : mapping of str to array_like, optional
        What varies: one value for each member, or one number for all.
        ``thickness`` or ``diameter`` [m], ``start_c`` [°C], ``mass_kg``,
        ``injected_fraction``; any number of the
        material's constants by its name (see
        :class:`coreward.physics.statement.MaterialConstants`); for a cook of one
        stage ``air_c``, ``dew_point_c``, ``wall_c`` [°C], ``heat_transfer``
        [W/(m² K)], ``emissivity``, ``pressure_pa``, ``air_speed`` [m/s],
        ``duration_s`` [s] and ``until_core_c`` [°C], in a chamber also its own
        numbers such as ``fresh_air_kg_h``; for several stages the same
        with the stage in front: ``stages[0].air_c``. With a function, whatever
        it reads.
    times_s : array_like, optional
        Common times of the curves; every 300 s if None. [s]
    target_c : float, optional
        Core temperature whose times are wanted. [°C]
    quantities : sequence of str
        Curves to keep, from `QUANTITIES`.
    executor : optional
        Anything with the ``submit`` of ``concurrent.futures.Executor``; it stays
        open. None uses a thread for each core of this machine: the solver
        runs outside Python's global lock, so nothing need be copied.
    progress : function of (done, total), optional
        Called in this thread as members come in.
    cancel : threading.Event or the like, optional
        Stops the ensemble when set.
    chunk : int, optional
        Members per task.
    engine, cells, tolerance
        See :func:`coreward.simulate`.

    Returns
    -------
    Ensemble

    Raises
    ------
    InputError
        If a parameter, a piece or a stage cannot be used; says which member.
    EnsembleCancelled
        If `cancel` was set. What was waiting is withdrawn; what was running
        ends with its task.
    """
    columns, length = _columns(parameters)
    if isinstance(pieces, Piece):
        count = 1 if length is None else length
        each: Sequence[Piece] = [pieces] * count
    else:
        each = list(pieces)
        count = len(each)
        if not all(isinstance(piece, Piece) for piece in each):
            raise InputError("The first argument must be a Piece(...) or a list of them.")
        if length is not None and length != count:
            raise InputError(
                f"There are {count} pieces but {length} values of each parameter; give one "
                "value for each piece."
            )
    names = tuple(dict.fromkeys(quantities))
    for name in names:
        if name not in QUANTITIES:
            raise InputError(
                f"There is no quantity {name!r} to keep; choose from {', '.join(QUANTITIES)}."
            )
    if chunk is not None and chunk < 1:
        raise InputError(f"A task needs at least one member; `chunk` is {chunk}.")
    if target_c is not None and not math.isfinite(target_c):
        raise InputError("The core temperature to reach must be a finite number.")
    times = _check_times(times_s)
    cooks = _build(each, stages, columns)
    size = chunk or max(1, min(_LARGEST_CHUNK, count // (8 * usable_cores())))
    tasks = [
        _Task(
            tuple(cooks[first : first + size]),
            first,
            times,
            target_c,
            names,
            engine,
            cells,
            tolerance,
        )
        for first in range(0, count, size)
    ]
    if executor is not None:
        kept = _gather(tasks, executor, progress, cancel)
    else:
        own = concurrent.futures.ThreadPoolExecutor(
            usable_cores(), thread_name_prefix="coreward"
        )
        try:
            kept = _gather(tasks, own, progress, cancel)
        finally:
            own.shutdown(wait=True, cancel_futures=True)
    return _assemble(columns, kept, times, target_c, names)


def _assemble(
    columns: Mapping[str, Floats],
    kept: Sequence[_Kept],
    times: Floats | None,
    target_c: float | None,
    names: tuple[str, ...],
) -> Ensemble:
    count = len(kept)
    if times is None:
        longest = max((k.curves.shape[1] for k in kept), default=0)
        times = np.arange(longest) * DEFAULT_SPACING_S
    curves = {name: np.full((count, len(times)), np.nan) for name in names}
    for row, one in enumerate(kept):
        for i, name in enumerate(names):
            curves[name][row, : one.curves.shape[1]] = one.curves[i]
    return Ensemble(
        parameters={name: np.broadcast_to(x, (count,)).copy() for name, x in columns.items()},
        time_s=times,
        curves=curves,
        end_s=np.array([k.end_s for k in kept]),
        final={name: np.array([k.final[i] for k in kept]) for i, name in enumerate(names)},
        target_c=target_c,
        finish_s=np.array([k.finish_s for k in kept]),
        failures=tuple((row, k.failure) for row, k in enumerate(kept) if k.failure is not None),
    )
