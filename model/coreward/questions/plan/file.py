"""A plan written down: a TOML file that a crew can keep, share and change.

Units are those of a kitchen: °C, mm, kg and hours. Every key is checked; a key that is not
known is refused by name, because a wish that was misspelt would silently not be kept.
"""

from __future__ import annotations

import datetime as dt
import math
import tomllib
from collections.abc import Callable, Iterable, Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass, fields
from pathlib import Path
from typing import Any
from zoneinfo import ZoneInfo, ZoneInfoNotFoundError

from coreward.cook.stages import Piece
from coreward.cook.usual_piece import piece as usual_piece
from coreward.errors import CorewardError, InputError
from coreward.experience.learned import learned
from coreward.experience.own_cooks import own_cooks
from coreward.inputs import key_of, kind_of
from coreward.physics.body import SHAPES
from coreward.physics.meat import meat
from coreward.questions.plan.answer import Plan, plan
from coreward.questions.plan.inputs import (
    Hold,
    PitPlan,
    PlannedPiece,
    Wanted,
    as_pieces,
    aware,
    checked_chance,
)
from coreward.units import millimetres_to_metres

# A plan of ten pieces has three thousand bytes.
_MOST_BYTES = 100_000
_LONGEST_TITLE = 200
_TOP = ("title", "serve_at", "zone", "chance", "not_before", "pit", "piece")
# Of a piece, beside what `PlannedPiece` and `Wanted` ask: what it is, and what it is to be.
_SIZED = ("cut", "shape", "size", "thickness", "length", "bone", "start", "core", "standards")


@dataclass(frozen=True)
class PlanFile:
    """What a file asks."""

    title: str
    pieces: tuple[PlannedPiece, ...]
    pit: PitPlan
    serve_at: dt.datetime
    chance: float | None = None
    not_before: dt.datetime | None = None
    pit_name: str = ""
    """The person's name of the pit; empty where none was given."""

    def plan(self, **changes: Any) -> Plan:
        """Plan it, with changes to the arguments of :func:`coreward.plan`.

        Where the file names its pit, what the person's own cooks there have taught counts.
        """
        given: dict[str, Any] = {
            "pit": self.pit,
            "chance": self.chance,
            "not_before": self.not_before,
        }
        if self.pit_name:
            given["taught"] = learned(own_cooks(), self.pit_name)
        given.update(changes)
        pieces = given.pop("pieces", self.pieces)
        return plan(pieces, given.pop("serve_at", self.serve_at), **given)


def read_plan_file(path: str | Path) -> PlanFile:
    """Read a plan from a TOML file.

    Raises
    ------
    InputError
        The file is not there, is no TOML, lacks something or has a key that is unknown.
    """
    name = str(path).replace("\0", "?").rpartition("/")[2] or str(path)
    try:
        if Path(path).stat().st_size > _MOST_BYTES:
            raise InputError(
                f"The plan {name} has more than {_MOST_BYTES} bytes: it is no plan; check the "
                "name of the file."
            )
        text = Path(path).read_text(encoding="utf-8")
    except (OSError, ValueError) as error:
        if isinstance(error, InputError):
            raise
        raise InputError(
            f"The plan {name} cannot be read ({_why(error)}): check the name of the file."
        ) from error
    try:
        raw = tomllib.loads(text)
    except (ValueError, RecursionError) as error:
        raise InputError(
            f"The plan {name} is no TOML ({_why(error)}): check that place in the file."
        ) from error
    return _plan_of(raw, name)


def _why(error: Exception) -> str:
    """Say in one line what a library found wrong."""
    if isinstance(error, RecursionError):
        return "lists within lists without end"
    if isinstance(error, OSError):
        return (error.strerror or "no such file").lower()
    return " ".join(str(error).split())[:120].rstrip(".")


@contextmanager
def _at(where: str) -> Iterator[None]:
    """Name the place of what cannot be used."""
    try:
        yield
    except CorewardError as error:
        raise InputError(f"{where}: {error}") from error


def _plan_of(raw: Mapping[str, Any], name: str) -> PlanFile:
    _known(raw, _TOP, name)
    zone_name = _word(raw, "zone", name)
    try:
        zone = ZoneInfo(zone_name)
    except (ZoneInfoNotFoundError, ValueError, OSError) as error:
        raise InputError(
            f"{name}: there is no time zone {zone_name[:40]!r}; write one such as "
            "Europe/London."
        ) from error
    given = _needed(raw, "piece", name)
    if not isinstance(given, list) or not all(isinstance(one, dict) for one in given):
        raise InputError(
            f"{name}: piece is {_shown(given)}; write each piece under a heading [[piece]]."
        )
    pieces = [_piece(one, zone, name, number) for number, one in enumerate(given, 1)]
    chance = None
    if "chance" in raw:
        chance = _number(raw, "chance", name)
        with _at(f"{name}, chance"):
            checked_chance(chance)
    title = _word(raw, "title", name) if "title" in raw else ""
    if not title.isprintable() or len(title) > _LONGEST_TITLE:
        raise InputError(
            f"{name}: title is {_shown(title)}; give at most {_LONGEST_TITLE} letters in one "
            "line."
        )
    with _at(name):
        found = as_pieces(pieces)
    pit = _table(raw, "pit", name)
    return PlanFile(
        title=title,
        pieces=found,
        pit=_pit(pit, f"{name}, pit"),
        serve_at=_moment(_needed(raw, "serve_at", name), zone, f"{name}: serve_at"),
        chance=chance,
        not_before=_optional_moment(raw, "not_before", zone, name),
        pit_name=_word(pit, "name", f"{name}, pit") if "name" in pit else "",
    )


def _pit(raw: Mapping[str, Any], where: str) -> PitPlan:
    _known(raw, (*_keys(PitPlan), "name"), where)
    given = _given(PitPlan, {key: raw[key] for key in raw if key != "name"}, where)
    with _at(where):
        return PitPlan(**given)


def _keys(kind: type) -> dict[str, str]:
    """Return the key in a file of each field that a dataclass reads from one."""
    return {
        field.metadata.get("key") or key_of(field.name): field.name for field in fields(kind)
    }


def _given(kind: type, raw: Mapping[str, Any], where: str) -> dict[str, Any]:
    """Return the fields of a dataclass that are written in a table, in their own units."""
    types = {field.name: str(field.type) for field in fields(kind)}
    found: dict[str, Any] = {}
    for key, name in _keys(kind).items():
        if key not in raw:
            continue
        if types[name].startswith("float"):
            found[name] = kind_of(name).factor * _number(raw, key, where)
        elif types[name].startswith("str"):
            found[name] = _word(raw, key, where)
        elif types[name].startswith("Mapping"):
            found[name] = _table(raw, key, where)
    return found


def _piece(raw: Mapping[str, Any], zone: ZoneInfo, name: str, number: int) -> PlannedPiece:
    called = raw.get("name")
    where = f"{name}, piece {_shown(called) if isinstance(called, str) else number}"
    own = [key for key in _keys(PlannedPiece) if key not in ("piece", "wanted")]
    _known(raw, (*own, *_keys(Wanted), *_SIZED), where)
    _needed(raw, "core", where)
    wanted = _given(Wanted, raw, where)
    if "standards" in raw:
        wanted["lethality"] = _words(raw, "standards", where)
    if "lethality" in raw:
        if not isinstance(raw["lethality"], bool) or "standards" in raw:
            raise InputError(
                f"{where}: lethality is {_shown(raw['lethality'])}; write true or false, or "
                "name standards instead."
            )
        wanted["lethality"] = raw["lethality"]
    _word(raw, "name", where)
    given = _given(PlannedPiece, raw, where) | {
        "hold": _hold(_table(raw, "hold", where), f"{where}, hold"),
        "not_before": _optional_moment(raw, "not_before", zone, where),
    }
    made = _shaped(raw, where) if "shape" in raw or "size" in raw else _weighed(raw, where)
    with _at(where):
        piece = made()
        return PlannedPiece(piece=piece, wanted=Wanted(**wanted), **given)


def _shaped(raw: Mapping[str, Any], where: str) -> Callable[[], Piece]:
    """Return what makes a piece of a shape and a size."""
    needless = [key for key in ("thickness", "length", "bone") if key in raw]
    if needless:
        raise InputError(
            f"{where}: {', '.join(needless)} goes with a mass; leave shape and size out, or "
            f"leave {needless[0]} out."
        )
    shape = _word(raw, "shape", where)
    if shape not in SHAPES:
        raise InputError(f"{where}: the shape is {shape[:40]!r}; use {', '.join(SHAPES)}.")
    size_m = _size(raw, "size", where)
    cut, start_c = _word(raw, "cut", where), _number(raw, "start", where)
    return lambda: Piece(SHAPES[shape](size_m), meat(cut), start_c)


def _weighed(raw: Mapping[str, Any], where: str) -> Callable[[], Piece]:
    """Return what makes a piece of a weight and what was measured of it."""
    cut, mass = _word(raw, "cut", where), _number(raw, "mass", where)
    start_c = _number(raw, "start", where)
    bone = raw.get("bone", False)
    if not isinstance(bone, bool):
        raise InputError(f"{where}: bone is {_shown(bone)}; write true or false.")
    sizes: dict[str, Any] = {
        f"{key}_m": _size(raw, key, where) for key in ("thickness", "length") if key in raw
    }
    return lambda: usual_piece(cut, mass, bone=bone, start_c=start_c, **sizes)


def _size(raw: Mapping[str, Any], key: str, where: str) -> float:
    """Return a size of a piece. [m]."""
    size_mm, kind = _number(raw, key, where), kind_of("size_m")
    if not kind.low <= size_mm <= kind.high:
        raise InputError(
            f"{where}: {key} is {size_mm:g} mm; give a number from {kind.low:g} to "
            f"{kind.high:g} mm."
        )
    return float(millimetres_to_metres(size_mm))


def _hold(raw: Mapping[str, Any], where: str) -> Hold:
    _known(raw, _keys(Hold), where)
    with _at(where):
        return Hold(**_given(Hold, raw, where))


def _shown(value: object) -> str:
    """Return a value short enough for one line."""
    try:
        text = repr(value)
    except ValueError:  # a whole number with more digits than Python writes out
        text = "a number without end"
    return text if len(text) <= 40 else f"{text[:37]}..."


def _known(raw: Mapping[str, Any], keys: Iterable[str], where: str) -> None:
    keys = tuple(dict.fromkeys(keys))
    unknown = sorted(set(raw) - set(keys))
    if unknown:
        listed = ", ".join(key if len(key) <= 40 else f"{key[:37]}..." for key in unknown[:3])
        raise InputError(f"{where}: {listed} is not known there; use {', '.join(keys)}.")


def _needed(raw: Mapping[str, Any], key: str, where: str) -> Any:
    if key not in raw:
        raise InputError(f"{where}: {key} is missing; write a line {key} = ...")
    return raw[key]


def _table(raw: Mapping[str, Any], key: str, where: str) -> Mapping[str, Any]:
    value = raw.get(key, {})
    if not isinstance(value, dict):
        raise InputError(
            f"{where}: {key} is {_shown(value)}; write names and values in braces, or under a "
            "heading of its own."
        )
    return value


def _word(raw: Mapping[str, Any], key: str, where: str) -> str:
    value = _needed(raw, key, where)
    if not isinstance(value, str):
        raise InputError(f"{where}: {key} is {_shown(value)}; write a word in quotes.")
    return value


def _words(raw: Mapping[str, Any], key: str, where: str) -> tuple[str, ...]:
    value = raw[key]
    if not isinstance(value, list) or not all(isinstance(one, str) for one in value):
        raise InputError(
            f"{where}: {key} is {_shown(value)}; write names in quotes, between [ and ]."
        )
    return tuple(value)


def _number(raw: Mapping[str, Any], key: str, where: str) -> float:
    value = _needed(raw, key, where)
    try:
        if isinstance(value, bool) or not isinstance(value, (int, float)):
            raise TypeError
        number = float(value)
    except (TypeError, OverflowError):
        number = math.nan
    if not math.isfinite(number):
        raise InputError(f"{where}: {key} is {_shown(value)}; it must be a number.")
    return number


def _moment(value: Any, zone: ZoneInfo, where: str) -> dt.datetime:
    if not isinstance(value, dt.datetime):
        raise InputError(
            f"{where} is {_shown(value)}; it must be a date with a time, such as "
            "2026-10-24T18:30:00."
        )
    with _at(where):
        return aware(value if value.tzinfo is not None else value.replace(tzinfo=zone), "time")


def _optional_moment(
    raw: Mapping[str, Any], key: str, zone: ZoneInfo, where: str
) -> dt.datetime | None:
    return _moment(raw[key], zone, f"{where}: {key}") if key in raw else None
