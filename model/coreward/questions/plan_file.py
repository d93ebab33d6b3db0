"""A plan written down: a TOML file that a crew can keep, share and change.

Units are those of a kitchen: °C, mm, kg and hours. Every key is checked; a key that is not
known is refused by name, because a wish that was misspelt would silently not be kept.
"""

from __future__ import annotations

import datetime as dt
import tomllib
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any
from zoneinfo import ZoneInfo, ZoneInfoNotFoundError

from coreward.cook.stages import Piece
from coreward.errors import InputError
from coreward.physics.body import SHAPES
from coreward.physics.meat import meat
from coreward.questions.plan import Plan, plan
from coreward.questions.plan_inputs import Hold, PitPlan, PlannedPiece, Wanted, as_pieces
from coreward.units import millimetres_to_metres

_HOUR = 3600.0
_TOP = ("title", "serve_at", "zone", "chance", "not_before", "pit", "piece")
_PIT = (
    "air",
    "fire",
    "dew_point",
    "warm_up",
    "turn_up",
    "turn_up_after",
    "pressure",
    "doubt",
)
_PIECE = (
    "name",
    "cut",
    "shape",
    "size",
    "start",
    "mass",
    "core",
    "tenderness",
    "most_loss",
    "crust_activity",
    "standards",
    "lethality",
    "wrap",
    "wrap_at",
    "not_before",
    "slicing",
    "doubt",
    "hold",
)
_HOLD = ("place", "least", "most", "preheated", "limit")


@dataclass(frozen=True)
class PlanFile:
    """What a file asks.

    Attributes
    ----------
    title : str
    pieces : tuple of PlannedPiece
    pit : PitPlan
    serve_at : datetime
    chance : float or None
    not_before : datetime or None
    """

    title: str
    pieces: tuple[PlannedPiece, ...]
    pit: PitPlan
    serve_at: dt.datetime
    chance: float | None = None
    not_before: dt.datetime | None = None

    def plan(self, **changes: Any) -> Plan:
        """Plan it, with changes to the arguments of :func:`coreward.plan`."""
        given: dict[str, Any] = {
            "pit": self.pit,
            "chance": self.chance,
            "not_before": self.not_before,
        }
        given.update(changes)
        pieces = given.pop("pieces", self.pieces)
        return plan(pieces, given.pop("serve_at", self.serve_at), **given)


def read_plan_file(path: str | Path) -> PlanFile:
    """Read a plan from a TOML file.

    Parameters
    ----------
    path : str or Path

    Raises
    ------
    InputError
        The file is not there, is no TOML, lacks something or has a key that is unknown.
    """
    try:
        text = Path(path).read_text(encoding="utf-8")
    except (OSError, UnicodeDecodeError) as error:
        raise InputError(
            f"The plan {Path(path).name} cannot be read: {error}. Check the name of the file."
        ) from error
    try:
        raw = tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        raise InputError(f"The plan {Path(path).name} is no TOML: {error}.") from error
    return _plan_of(raw, Path(path).name)


def _plan_of(raw: Mapping[str, Any], name: str) -> PlanFile:
    _known(raw, _TOP, name)
    zone_name = _needed(raw, "zone", name)
    try:
        zone = ZoneInfo(zone_name)
    except (ZoneInfoNotFoundError, ValueError, OSError) as error:
        raise InputError(
            f"{name}: there is no time zone {zone_name!r}; write one such as Europe/London."
        ) from error
    given = _needed(raw, "piece", name)
    return PlanFile(
        title=str(raw.get("title", "")),
        pieces=as_pieces([_piece(one, zone, name) for one in given]),
        pit=_pit(raw.get("pit", {}), name),
        serve_at=_moment(_needed(raw, "serve_at", name), zone, f"{name}: serve_at"),
        chance=raw.get("chance"),
        not_before=_optional_moment(raw, "not_before", zone, name),
    )


def _pit(raw: Mapping[str, Any], name: str) -> PitPlan:
    where = f"{name}, pit"
    _known(raw, _PIT, where)
    given: dict[str, Any] = {}
    for key, target, factor in (
        ("air", "air_c", 1.0),
        ("dew_point", "dew_point_c", 1.0),
        ("warm_up", "warm_up_s", _HOUR),
        ("turn_up", "turn_up_c", 1.0),
        ("turn_up_after", "turn_up_after_s", _HOUR),
        ("pressure", "pressure_pa", 100.0),
    ):
        if key in raw:
            given[target] = factor * _number(raw, key, where)
    for key in ("fire", "doubt"):
        if key in raw:
            given[key] = raw[key]
    return PitPlan(**given)


def _piece(raw: Mapping[str, Any], zone: ZoneInfo, name: str) -> PlannedPiece:
    where = f"{name}, piece {raw.get('name', '')!r}"
    _known(raw, _PIECE, where)
    shape = _needed(raw, "shape", where)
    if shape not in SHAPES:
        raise InputError(f"{where}: the shape is {shape!r}; use {', '.join(SHAPES)}.")
    size = float(millimetres_to_metres(_number(raw, "size", where)))
    wanted: dict[str, Any] = {"core_c": _number(raw, "core", where)}
    for key in ("tenderness", "most_loss", "crust_activity"):
        if key in raw:
            wanted[key] = _number(raw, key, where)
    if "standards" in raw:
        wanted["lethality"] = tuple(raw["standards"])
    elif "lethality" in raw:
        wanted["lethality"] = bool(raw["lethality"])
    given: dict[str, Any] = {
        "wrap": raw.get("wrap"),
        "hold": _hold(raw.get("hold", {}), where),
        "not_before": _optional_moment(raw, "not_before", zone, where),
        "doubt": raw.get("doubt", {}),
    }
    for key, target, factor in (
        ("wrap_at", "wrap_at_core_c", 1.0),
        ("mass", "mass_kg", 1.0),
        ("slicing", "slicing_s", _HOUR),
    ):
        if key in raw:
            given[target] = factor * _number(raw, key, where)
    return PlannedPiece(
        str(_needed(raw, "name", where)),
        Piece(
            SHAPES[shape](size), meat(_needed(raw, "cut", where)), _number(raw, "start", where)
        ),
        Wanted(**wanted),
        **given,
    )


def _hold(raw: Mapping[str, Any], where: str) -> Hold:
    _known(raw, _HOLD, f"{where}, hold")
    given: dict[str, Any] = {key: raw[key] for key in ("place", "limit") if key in raw}
    for key, target, factor in (
        ("least", "least_s", _HOUR),
        ("most", "most_s", _HOUR),
        ("preheated", "preheated_c", 1.0),
    ):
        if key in raw:
            given[target] = factor * _number(raw, key, where)
    return Hold(**given)


def _known(raw: Mapping[str, Any], keys: tuple[str, ...], where: str) -> None:
    unknown = sorted(set(raw) - set(keys))
    if unknown:
        raise InputError(
            f"{where}: {', '.join(unknown)} is not known there; use {', '.join(keys)}."
        )


def _needed(raw: Mapping[str, Any], key: str, where: str) -> Any:
    if key not in raw:
        raise InputError(f"{where}: {key} is missing.")
    return raw[key]


def _number(raw: Mapping[str, Any], key: str, where: str) -> float:
    value = _needed(raw, key, where)
    if isinstance(value, bool) or not isinstance(value, (int, float)):
        raise InputError(f"{where}: {key} is {value!r}; it must be a number.")
    return float(value)


def _moment(value: Any, zone: ZoneInfo, where: str) -> dt.datetime:
    if not isinstance(value, dt.datetime):
        raise InputError(f"{where} must be a date with a time, such as 2026-10-24T18:30:00.")
    return value if value.tzinfo is not None else value.replace(tzinfo=zone)


def _optional_moment(
    raw: Mapping[str, Any], key: str, zone: ZoneInfo, where: str
) -> dt.datetime | None:
    return _moment(raw[key], zone, f"{where}: {key}") if key in raw else None


__all__ = ["PlanFile", "read_plan_file"]
