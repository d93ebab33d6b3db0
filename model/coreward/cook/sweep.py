"""Sweeps of thousands of cooks: kept in pieces on the disk, and gone on with after a stop.

`coreward.simulate_many` computes; this keeps what is computed. The cooks are cut into
chunks by their number alone, and each is a function of its own inputs, so that threads,
processes and clusters give the same numbers to the last bit.
"""

from __future__ import annotations

import dataclasses
import hashlib
import io
import json
import zipfile
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

import coreward
from coreward.cook.light import LIGHT_CELLS, LIGHT_TOLERANCE
from coreward.cook.many import Ensemble, Progress, Signal, Stages, Submitter, simulate_many
from coreward.cook.stages import Piece, Stage
from coreward.errors import InputError
from coreward.files import write_atomically

Floats = NDArray[np.float64]

MANIFEST = "manifest.json"
CHUNK = 250
_FORM = 1


def sweep(
    piece: Piece,
    stages: Stages,
    parameters: Mapping[str, ArrayLike],
    folder: str | Path,
    *,
    times_s: ArrayLike | None = None,
    target_c: float | None = None,
    quantities: Sequence[str] = ("core_c", "mass_loss_fraction"),
    chunk: int = CHUNK,
    executor: Submitter | None = None,
    progress: Progress | None = None,
    cancel: Signal | None = None,
    cells: int = LIGHT_CELLS,
    tolerance: float = LIGHT_TOLERANCE,
) -> Ensemble:
    """Cook one piece with thousands of values of its parameters, resumably.

    Parameters
    ----------
    piece : Piece
    stages : Stage or sequence of Stage
    parameters : mapping of str to array_like
        As in :func:`coreward.simulate_many`; at least one of them an array.
    folder : str or Path
        Where the chunks are kept; made if it is not there. A folder that holds part of
        the same sweep is gone on with; one that holds another is refused.
    times_s : array_like, optional
        Common times of curves; None keeps only what is there at the end. [s]
    target_c, quantities, executor, cancel
        As in :func:`coreward.simulate_many`.
    chunk : int
        Cooks in each file.
    progress : function of (done, total), optional
        Called as cooks come in, and once at the beginning with what is there already.
    cells, tolerance
        See :func:`coreward.simulate`; coarser here, see `coreward.cook.light`.

    Returns
    -------
    Ensemble

    Raises
    ------
    InputError
        The question cannot be kept, or the folder holds another one.
    EnsembleCancelled
        If `cancel` was set; what was finished is kept.
    """
    if callable(stages):
        raise InputError(
            "A sweep needs its stages as Stage(...), not as a function: a function cannot be "
            "told from a changed one when the sweep is gone on with."
        )
    plan = (stages,) if isinstance(stages, Stage) else tuple(stages)
    columns = {name: np.array(values, dtype=float) for name, values in parameters.items()}
    lengths = {len(column) for column in columns.values() if column.ndim == 1}
    if len(lengths) != 1 or any(column.ndim > 1 for column in columns.values()):
        raise InputError("A sweep needs parameters of one length, one value for each cook.")
    total = lengths.pop()
    if chunk < 1 or total < 1:
        raise InputError("A sweep needs at least one cook, and one in each chunk.")
    times = np.zeros(1) if times_s is None else np.array(times_s, dtype=float)
    question = {
        "piece": piece,
        "stages": plan,
        "wraps": [stage.wrap_set() for stage in plan],
        "parameters": columns,
        "times_s": times,
        "target_c": target_c,
        "quantities": tuple(quantities),
        "cells": cells,
        "tolerance": tolerance,
        "version": coreward.__version__,
    }
    home = Path(folder)
    _open(home, question_digest(question), total, chunk)
    edges = list(range(0, total, chunk))
    parts: dict[int, dict[str, Floats]] = {}
    for number in range(len(edges)):
        known = _read(home / _name(number))
        if known is not None:
            parts[number] = known
    done = sum(len(part["finish_s"]) for part in parts.values())
    if progress is not None:
        progress(done, total)
    for number, first in enumerate(edges):
        if number in parts:
            continue
        last = min(first + chunk, total)
        some = {n: c if c.ndim == 0 else c[first:last] for n, c in columns.items()}

        def told(here: int, of: int, before: int = done) -> None:
            if progress is not None:
                progress(before + here, total)

        found = simulate_many(
            [piece] * (last - first),
            plan,
            some,
            times_s=times,
            target_c=target_c,
            quantities=quantities,
            executor=executor,
            progress=told,
            cancel=cancel,
            cells=cells,
            tolerance=tolerance,
        )
        parts[number] = _arrays(found)
        _write(home / _name(number), parts[number])
        done += last - first
    return _joined(columns, total, times, target_c, tuple(quantities), parts)


def question_digest(question: Any) -> str:
    """Return a digest of anything a sweep is asked, the same in every process."""
    text = json.dumps(_plain(question), sort_keys=True, allow_nan=False)
    return hashlib.sha256(text.encode("utf-8")).hexdigest()


def _plain(value: Any) -> Any:
    """Anything a question is made of, as JSON that gives every bit of it."""
    if value is None or isinstance(value, (bool, int, str)):
        return value
    if isinstance(value, (float, np.floating)):
        return float(value).hex()
    if isinstance(value, np.ndarray):
        return [str(value.dtype), list(value.shape), value.tobytes().hex()]
    if isinstance(value, np.integer):
        return int(value)
    if dataclasses.is_dataclass(value) and not isinstance(value, type):
        inside = {
            each.name: _plain(getattr(value, each.name))
            for each in dataclasses.fields(value)
            if each.compare
        }
        return [type(value).__name__, inside]
    if hasattr(value, "_asdict"):
        return [type(value).__name__, _plain(value._asdict())]
    if isinstance(value, Mapping):
        return {str(key): _plain(held) for key, held in value.items()}
    if isinstance(value, (tuple, list)):
        return [_plain(each) for each in value]
    raise InputError(f"A sweep cannot keep a {type(value).__name__} in its question.")


def _name(number: int) -> str:
    return f"chunk-{number:05d}.npz"


def _open(home: Path, digest: str, total: int, chunk: int) -> None:
    """Make the folder, or check that it holds the same sweep."""
    try:
        home.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        raise InputError(
            f"The folder {home.name} for the sweep cannot be made: {error.strerror}."
        ) from error
    wanted = {"form": _FORM, "question": digest, "cooks": total, "chunk": chunk}
    path = home / MANIFEST
    if not path.exists():
        if any(home.glob("chunk-*.npz")):
            raise InputError(
                f"The folder {home.name} holds chunks but no {MANIFEST}, so nobody can tell "
                "which sweep they belong to. Choose an empty folder."
            )
        write_atomically(path, json.dumps(wanted, indent=1).encode("utf-8"), what="manifest")
        return
    try:
        found = json.loads(path.read_text(encoding="utf-8"))
    except (OSError, ValueError) as error:
        raise InputError(f"The {MANIFEST} in {home.name} cannot be read: {error}.") from error
    if found != wanted:
        changed = [key for key in wanted if found.get(key) != wanted[key]]
        raise InputError(
            f"The folder {home.name} holds another sweep (other: {', '.join(changed)}). Ask "
            "the same question as before to go on with it, or choose another folder."
        )


def _arrays(found: Ensemble) -> dict[str, Floats]:
    arrays = {"finish_s": found.finish_s, "end_s": found.end_s}
    for name, curve in found.curves.items():
        arrays[f"curve {name}"] = curve
        arrays[f"final {name}"] = found.final[name]
    words = {row: text for row, text in found.failures}
    arrays["failures"] = np.array([words.get(row, "") for row in range(len(found.finish_s))])
    return arrays


def _write(path: Path, arrays: Mapping[str, Floats]) -> None:
    stream = io.BytesIO()
    np.savez(stream, **arrays)  # type: ignore[arg-type]
    write_atomically(path, stream.getvalue(), what="chunk")


def _read(path: Path) -> dict[str, Floats] | None:
    """Read a chunk; None if it is not there or was damaged, so that it is computed again."""
    try:
        # Through memory: a damaged archive would leave its file open.
        with np.load(io.BytesIO(path.read_bytes()), allow_pickle=False) as stored:
            return {name: stored[name] for name in stored.files}
    except (OSError, ValueError, KeyError, zipfile.BadZipFile):
        return None


def _joined(
    columns: Mapping[str, Floats],
    total: int,
    times: Floats,
    target_c: float | None,
    quantities: tuple[str, ...],
    parts: Mapping[int, Mapping[str, Floats]],
) -> Ensemble:
    whole = {
        name: np.concatenate([parts[number][name] for number in sorted(parts)])
        for name in parts[0]
    }
    failures = tuple((row, str(text)) for row, text in enumerate(whole["failures"]) if text)
    return Ensemble(
        parameters={name: np.broadcast_to(c, (total,)).copy() for name, c in columns.items()},
        time_s=times,
        curves={name: whole[f"curve {name}"] for name in quantities},
        end_s=whole["end_s"],
        final={name: whole[f"final {name}"] for name in quantities},
        target_c=target_c,
        finish_s=whole["finish_s"],
        failures=failures,
    )


__all__ = ["CHUNK", "MANIFEST", "question_digest", "sweep"]
