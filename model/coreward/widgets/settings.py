"""The person's choice of units, kept for all notebooks in one small JSON file.

The file holds ``{"schema": "coreward settings", "version": 1, "units": {...}}``. A
folder that cannot be written or a file that cannot be read never stops a notebook:
the choice then holds for that notebook only, and the caller is told why.
"""

from __future__ import annotations

import json
from dataclasses import asdict, dataclass
from pathlib import Path
from typing import Final, get_args

from coreward.errors import InputError
from coreward.files import write_atomically
from coreward.person import folder
from coreward.words import METRIC, LengthUnit, MassUnit, TemperatureUnit, UnitChoice

_SCHEMA: Final = "coreward settings"
_VERSION: Final = 1
_FILE: Final = "settings.json"


@dataclass(frozen=True)
class Kept:
    """The units in force and, where something went wrong, one sentence about it."""

    units: UnitChoice
    problem: str = ""


def read(place: Path | None = None) -> Kept:
    """Return the kept units, or metric ones with the reason when there are none.

    Parameters
    ----------
    place : Path, optional
        The folder; the person's own when not given.
    """
    try:
        file = (place or folder()) / _FILE
        text = file.read_text(encoding="utf-8")
    except FileNotFoundError:
        return Kept(METRIC)
    except (OSError, RuntimeError, UnicodeDecodeError) as error:
        return Kept(METRIC, f"The settings cannot be read ({error}); metric units are used.")
    try:
        return Kept(_units(json.loads(text)))
    except (ValueError, TypeError, KeyError) as error:
        return Kept(
            METRIC,
            f"The settings in {file} cannot be used ({error}); metric units are used until "
            "you choose again.",
        )


def write(units: UnitChoice, place: Path | None = None) -> Kept:
    """Keep a choice of units for all notebooks.

    Parameters
    ----------
    place : Path, optional
        The folder; the person's own when not given.

    Returns
    -------
    Kept
        With a sentence in `problem` when the choice holds for this notebook only.
    """
    content = {"schema": _SCHEMA, "version": _VERSION, "units": asdict(units)}
    try:
        target = place or folder()
        target.mkdir(parents=True, exist_ok=True)
        write_atomically(
            target / _FILE, json.dumps(content, indent=1).encode(), what="settings"
        )
    except (OSError, RuntimeError, InputError) as error:
        return Kept(units, f"The choice holds for this notebook only. {error}")
    return Kept(units)


def units_from(given: object) -> UnitChoice:
    """Return the units that a file names.

    Parameters
    ----------
    given : object
        As read from JSON: a name of a unit for each of temperature, length and mass.

    Raises
    ------
    ValueError
        If it names none, or one that is unknown.
    """
    if not isinstance(given, dict):
        raise ValueError("the units are not a list of names and values")
    for name, allowed in (
        ("temperature", get_args(TemperatureUnit)),
        ("length", get_args(LengthUnit)),
        ("mass", get_args(MassUnit)),
    ):
        if given.get(name) not in allowed:
            raise ValueError(f"{name} {given.get(name)!r} is not one of {', '.join(allowed)}")
    return UnitChoice(
        temperature=given["temperature"], length=given["length"], mass=given["mass"]
    )


def _units(content: object) -> UnitChoice:
    if not isinstance(content, dict) or content.get("schema") != _SCHEMA:
        raise ValueError(f'it is not a "{_SCHEMA}" file')
    if content.get("version") != _VERSION:
        raise ValueError(f"version {content.get('version')!r} is unknown to this program")
    return units_from(content["units"])
