"""The person's own cooks: one open file each, in a folder of theirs, and nowhere else.

A file is a probe log that any program opens, and `coreward.read_log` too. What was known of
the cook stands above its columns in lines that begin with ``#``, a name and a value in JSON
each. Nothing is sent anywhere; where several people share a server nothing is kept at all.
"""

from __future__ import annotations

import csv
import datetime as dt
import io
import json
import math
import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, fields, replace
from pathlib import Path
from typing import Any, Final

import numpy as np

from coreward import person, tables
from coreward.errors import CorewardError, InputError
from coreward.experience.past_cook import Floats, PastCook
from coreward.files import write_atomically
from coreward.plain import apart

FORMAT: Final = "coreward cook, format 1"
_FOLDER: Final = "cooks"
_COLUMNS: Final = ("time_s", "air_c", "core_c")
_TYPES: Final = {one.name: str(one.type) for one in fields(PastCook)}
_WORDS: Final = ("cut", "pit")
_NUMBERS: Final = tuple(name for name, kind in _TYPES.items() if kind == "float")
_OPEN: Final = tuple(name for name, kind in _TYPES.items() if kind == "float | None")
_LONGEST_NAME: Final = 80
# A cook of two days at a reading a minute has a tenth of this.
_MOST_BYTES: Final = 2_000_000


@dataclass(frozen=True)
class OwnCook:
    """A cook as it is kept."""

    cook: PastCook
    when: str = ""
    """Date and time of its beginning as far as they are known, in ISO 8601."""
    happened: tuple[str, ...] = field(default=(), metadata=apart())
    """What happened, a sentence each, in °C."""


@dataclass(frozen=True)
class Shelf:
    """What the folder holds."""

    place: Path = field(metadata=apart())
    kept: tuple[OwnCook, ...] = ()
    """In the order in which they were cooked."""
    damaged: tuple[tuple[str, str], ...] = ()
    """Name of each file that cannot be used, and why. It stays where it is."""

    @property
    def cooks(self) -> tuple[PastCook, ...]:
        """The cooks alone."""
        return tuple(each.cook for each in self.kept)


def place() -> Path:
    """Return the folder of the person's own cooks; it need not exist.

    Raises
    ------
    InputError
        If there is none: several people share the server, or there is no home.
    """
    if not person.serves_one():
        raise InputError(
            "Several people share this server, so no cook is kept here; install Coreward on a "
            "machine of your own, or save the log."
        )
    try:
        return person.folder() / _FOLDER
    except RuntimeError as error:
        raise InputError(
            f"There is no folder for your cooks ({error}); name one in the environment "
            f"variable {person.FOLDER_VARIABLE}."
        ) from error


def own_cooks() -> tuple[PastCook, ...]:
    """Return the person's own cooks, the earliest first.

    None where there is no folder of theirs. A file that cannot be used is passed over;
    `shelf` says which and why.
    """
    try:
        return shelf().cooks
    except InputError:
        return ()


def shelf(folder: Path | None = None) -> Shelf:
    """Read the folder.

    Raises
    ------
    InputError
        If there is no folder of one's own here, or it cannot be read.
    """
    where = place() if folder is None else folder
    try:
        files = sorted(where.glob("*.csv"))
    except OSError as error:
        raise InputError(
            f"Your cooks in '{where}' cannot be read ({error}); check the folder."
        ) from error
    kept, damaged = [], []
    for file in files:
        try:
            kept.append(read_cook(file))
        except InputError as error:
            damaged.append((file.name, str(error)))
    kept.sort(key=lambda each: (each.when, each.cook.name))
    return Shelf(where, tuple(kept), tuple(damaged))


def keep(own: OwnCook, folder: Path | None = None) -> tuple[OwnCook, Path]:
    """Write a cook into the folder, whole or not at all.

    Parameters
    ----------
    own : OwnCook
        Its name is changed where another one has it already.

    Returns
    -------
    own, file
        As kept, and where.

    Raises
    ------
    InputError
        If the very same curve is kept already, or it cannot be written.
    """
    where = place() if folder is None else folder
    there = shelf(where)
    for other in there.kept:
        if _same_curve(other.cook, own.cook):
            raise InputError(
                f"This cook is kept already, as '{other.cook.name}'. To keep it otherwise: "
                f"coreward remember --forget '{other.cook.name}', and then again."
            )
    taken = {file.stem.casefold() for file in where.glob("*")}
    name = first = _plain_name(own.cook.name)
    number = 2
    while name.casefold() in taken:
        name, number = f"{first} ({number})", number + 1
    own = replace(own, cook=replace(own.cook, name=name))
    try:
        where.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        raise InputError(
            f"The folder for your cooks cannot be made at '{where}' "
            f"({error.strerror or error}); check it, or name another one in the environment "
            f"variable {person.FOLDER_VARIABLE}."
        ) from error
    return own, write_atomically(where / f"{name}.csv", cook_text(own).encode(), what="cook")


def forget(name: str, folder: Path | None = None) -> Path:
    """Delete one cook.

    Parameters
    ----------
    name : str
        As `shelf` lists it, also that of a damaged file.

    Raises
    ------
    InputError
        If there is none of that name, or it cannot be deleted.
    """
    where = place() if folder is None else folder
    asked = name.removesuffix(".csv").casefold()
    files = sorted(where.glob("*.csv"))
    found = [file for file in files if file.stem.casefold() == asked]
    if not found:
        near = ", ".join(f"'{file.stem}'" for file in files[-5:]) or "none at all"
        raise InputError(
            f"No cook of yours is called {name[:_LONGEST_NAME]!r}; there are {near}. "
            "`coreward remember --list` shows all."
        )
    try:
        found[0].unlink()
    except OSError as error:
        raise InputError(
            f"'{found[0]}' cannot be deleted ({error.strerror or error}); check the folder."
        ) from error
    return found[0]


def export(target: str | Path, folder: Path | None = None) -> tuple[Path, ...]:
    """Copy all files, damaged ones too, into another folder, byte by byte.

    A file of that name that holds something else is not overwritten: then nothing is.

    Parameters
    ----------
    target : str or Path
        Made where it is not there.

    Raises
    ------
    InputError
        If there is nothing to copy, or it cannot be written.
    """
    where = place() if folder is None else folder
    into = Path(target)
    try:
        content = {file.name: file.read_bytes() for file in sorted(where.glob("*.csv"))}
        if not content:
            raise InputError("No cook of yours is kept yet, so there is nothing to export.")
        into.mkdir(parents=True, exist_ok=True)
        for name, data in content.items():
            if (into / name).exists() and (into / name).read_bytes() != data:
                raise InputError(
                    f"'{into / name}' is there already and holds something else; choose an "
                    "empty folder. Nothing was written."
                )
    except OSError as error:
        raise InputError(
            f"The cooks cannot be exported to '{into}' ({error.strerror or error}); choose a "
            "folder that you may write to."
        ) from error
    return tuple(
        write_atomically(into / name, data, what="cook") for name, data in content.items()
    )


# -- one file ---------------------------------------------------------------------------


def cook_text(own: OwnCook) -> str:
    """Return the file of a cook."""
    cook = own.cook
    head: dict[str, Any] = {
        "when": own.when,
        **{key: getattr(cook, key) for key in (*_WORDS, *_NUMBERS, *_OPEN)},
        "wrap": cook.wrap,
        "happened": list(own.happened),
    }
    out = io.StringIO()
    out.write(f"# {FORMAT}\n")
    out.write(
        "# time_s: seconds since the meat went on. Temperatures in °C; empty: no reading.\n"
    )
    for key, value in head.items():
        out.write(f"# {key}: {json.dumps(value, ensure_ascii=False, allow_nan=False)}\n")
    writer = csv.writer(out, lineterminator="\n")
    writer.writerow(_COLUMNS)

    def cell(value: float) -> str:
        return f"{value:.2f}" if math.isfinite(value) else ""

    for seconds, air, core in zip(cook.time_s, cook.air_c, cook.core_c, strict=True):
        writer.writerow((f"{seconds:g}", cell(air), cell(core)))
    return out.getvalue()


def read_cook(path: str | Path) -> OwnCook:
    """Read one cook; its name is that of its file.

    Raises
    ------
    InputError
        Saying what is wrong with the file. The file is left as it is.
    """
    file = Path(path)
    try:
        if file.stat().st_size > _MOST_BYTES:
            raise InputError(f"it has more than {_MOST_BYTES} bytes")
        lines = file.read_text(encoding="utf-8").splitlines()
        return _read(lines, file.stem)
    except (OSError, ValueError, TypeError, KeyError, CorewardError) as error:
        why = getattr(error, "strerror", None) or str(error)
        raise InputError(
            f"The cook '{file.name}' cannot be used ({why}); put it right, or delete it with "
            f"coreward remember --forget '{file.stem}'."
        ) from error


def _read(lines: Sequence[str], name: str) -> OwnCook:
    if not lines or lines[0] != f"# {FORMAT}":
        raise ValueError(f"its first line is not '# {FORMAT}'")
    head: dict[str, Any] = {}
    noted = [line for line in lines if line.startswith("#")]
    for line in noted[2:]:
        key, colon, value = line.removeprefix("# ").partition(": ")
        if not colon:
            raise ValueError(f"the line '{line[:60]}' is not a name and a value")
        head[key] = json.loads(value)
    rows = list(csv.reader(lines[len(noted) :]))
    if not rows or tuple(rows[0]) != _COLUMNS:
        raise ValueError(f"its columns are not {', '.join(_COLUMNS)}")
    if len(rows) < 3 or any(len(row) != len(_COLUMNS) for row in rows):
        raise ValueError("a row is cut short, or there are fewer than two")
    time_s, air_c, core_c = (
        np.array([float(row[i]) if row[i] else math.nan for row in rows[1:]])
        for i in range(len(_COLUMNS))
    )
    return checked(head, name, time_s, air_c, core_c)


def checked(
    head: Mapping[str, Any], name: str, time_s: Floats, air_c: Floats, core_c: Floats
) -> OwnCook:
    """Return a cook of which every part is what it should be.

    Raises
    ------
    ValueError
        Saying which is not.
    """
    for key in _WORDS:
        if not isinstance(head.get(key), str) or not head[key].strip():
            raise ValueError(f"{key} is {head.get(key)!r}")
    if head["cut"] not in tables.names("cut"):
        raise ValueError(f"no cut is called {head['cut'][:40]!r}")
    for key in (*_NUMBERS, *_OPEN):
        value = head.get(key)
        if value is None and key in _OPEN:
            continue
        number = isinstance(value, (int, float)) and not isinstance(value, bool)
        if not number or not math.isfinite(value):  # type: ignore[arg-type]
            raise ValueError(f"{key} is {value!r}")
    wrap = head.get("wrap")
    if wrap not in (None, "foil", "paper") or (wrap is None) != (head.get("wrap_s") is None):
        raise ValueError(f"wrap is {wrap!r} at {head.get('wrap_s')!r} s")
    steps = np.diff(time_s)
    if time_s[0] != 0.0 or not np.all(steps > 0.0) or np.ptp(steps) > 0.01 * steps[0]:
        raise ValueError("its times do not begin at 0 and go on evenly")
    if np.isfinite(core_c).sum() < 2 or np.isinf(air_c).any() or np.isinf(core_c).any():
        raise ValueError("it has no readings of the core")
    happened = head.get("happened", [])
    when = head.get("when", "")
    if not isinstance(happened, list) or not all(isinstance(one, str) for one in happened):
        raise ValueError("'happened' is no list of sentences")
    if not isinstance(when, str):
        raise ValueError(f"when is {when!r}")
    if when:
        dt.datetime.fromisoformat(when)
    cook = PastCook(
        name=name,
        origin="own",
        time_s=time_s,
        air_c=air_c,
        core_c=core_c,
        wrap=wrap,
        **{key: head[key] for key in _WORDS},
        **{key: _number(head.get(key)) for key in (*_NUMBERS, *_OPEN)},
    )
    return OwnCook(cook, when, tuple(happened))


def _number(value: Any) -> Any:
    return None if value is None else float(value)


def _same_curve(one: PastCook, other: PastCook) -> bool:
    return one.core_c.shape == other.core_c.shape and bool(
        np.allclose(one.core_c, other.core_c, rtol=0.0, atol=0.01, equal_nan=True)
        and np.allclose(one.time_s, other.time_s)
    )


def _plain_name(name: str) -> str:
    """Return a name that every disk takes for a file."""
    kept = re.sub(r'[\x00-\x1f/\\:*?"<>|]+', " ", name)
    return " ".join(kept.split())[:_LONGEST_NAME].strip(". ") or "cook"
