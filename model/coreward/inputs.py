"""Inputs declared once: kind, range, option and key in a file follow from the field.

The ending of a field's name says its kind, as everywhere here: ``_c`` is °C, ``_m`` metres,
``_kg`` kilograms, ``_s`` seconds, ``_pa`` pascals. Files and options are written in a kitchen's
units instead. A field made by `asked` also says how a sentence calls it, and its range where
that is not the kind's::

    warm_up_s: float = asked("The time to warm up", default=1800.0)

`check` then refuses what lies outside, and `key_of` is its name in a file and on a page.
"""

from __future__ import annotations

import argparse
import dataclasses
import math
import re
from collections.abc import Callable
from typing import Any, Final

from coreward.errors import InputError
from coreward.units import read_temperature
from coreward.words import Text

_ASKED: Final = "asked"


@dataclasses.dataclass(frozen=True)
class Kind:
    """A kind of number, as a kitchen writes it."""

    unit: str
    factor: float
    """From a number so written to the field's."""
    low: float
    high: float
    """Beyond, in the unit: typed in another one, or slipped. Assumed here."""


_KINDS: Final = {
    "c": Kind("°C", 1.0, -30.0, 99.0),
    "m": Kind("mm", 1e-3, 5.0, 600.0),
    "kg": Kind("kg", 1.0, 0.02, 200.0),
    "s": Kind("h", 3600.0, 0.0, 96.0),
    "pa": Kind("hPa", 100.0, 500.0, 1100.0),
}
_BARE: Final = Kind("", 1.0, 0.0, math.inf)
_ENDING: Final = re.compile(rf"_({'|'.join(_KINDS)}|k|kg_h)$")


def kind_of(name: str) -> Kind:
    """Return the kind of a field by the ending of its name; a bare number has none."""
    found = _ENDING.search(name)
    return _KINDS.get(found.group(1), _BARE) if found else _BARE


def key_of(name: str) -> str:
    """Return the name of a field without its unit."""
    return _ENDING.sub("", name)


def asked(
    words: str,
    low: float | None = None,
    high: float | None = None,
    *,
    above: bool = False,
    why: str = "",
    key: str = "",
    **options: Any,
) -> Any:
    """Return a field of a dataclass that says what it asks for.

    Parameters
    ----------
    words : str
        How a sentence calls it.
    low, high : float, optional
        Ends of its range in a kitchen's units, where they are not those of its kind.
    above : bool
        Whether it must lie above the lower end, and not on it.
    why : str
        Why not beyond, as a clause that begins with a comma.
    key : str
        Its name in a file, where that is not the field's without its unit.
    **options
        For ``dataclasses.field``, such as a default.
    """
    about = (words, low, high, above, why)
    return dataclasses.field(metadata={_ASKED: about, "key": key}, **options)


def check(inputs: Any, whose: str = "") -> None:
    """Refuse a dataclass of which a number is none, or lies outside its range.

    Raises
    ------
    InputError
        Saying which, in a kitchen's units.
    """
    for field in dataclasses.fields(inputs):
        value = getattr(inputs, field.name)
        if _ASKED not in field.metadata or (value is None and "None" in str(field.type)):
            continue
        words, low, high, above, why = field.metadata[_ASKED]
        kind = kind_of(field.name)
        low = kind.low if low is None else low
        high = kind.high if high is None else high
        span = f"above {low:g}, at most {high:g}" if above else f"from {low:g} to {high:g}"
        remedy = f"give a number {f'{span} {kind.unit}'.rstrip()}{why}."
        if isinstance(value, bool) or not isinstance(value, (int, float)):
            raise InputError(f"{whose}{words} is {value!r}: {remedy}")
        # A number may have four hundred digits.
        written = min(max(value, -1e99), 1e99) / kind.factor
        slack = 1e-9 * max(1.0, abs(low), abs(high))
        if not low - slack <= written <= high + slack or (above and written <= low):
            said = f"{written:g} {kind.unit}".rstrip()
            raise InputError(f"{whose}{words} is {said}: {remedy}")


@dataclasses.dataclass(frozen=True)
class Asked:
    """How one input is asked for in a terminal and in an entry of a page."""

    option: str
    field: str
    """Of the dataclass that holds it."""
    page: str
    """What stands before its entry."""
    help: str
    """What the command line says of it."""
    example: Text = ""
    """Stands in an empty entry."""


def number(text: str) -> float:
    """Read a finite number; argparse turns the error into one about the option."""
    try:
        value = float(text)
    except ValueError:
        value = math.nan
    if not math.isfinite(value):
        raise argparse.ArgumentTypeError(f"{text!r} is not a finite number")
    return value


def temperature_c(text: str) -> float:
    """Read a temperature; argparse turns the error into one about the option."""
    try:
        return read_temperature(text)
    except InputError as error:
        raise argparse.ArgumentTypeError(str(error)) from error


def option(name: str, unit: str = "") -> dict[str, Any]:
    """Return what argparse needs to read a field from an option, into the field's own unit.

    Parameters
    ----------
    name : str
        Of the field.
    unit : str
        Written in that unit instead: "min" of a time.
    """
    kind = kind_of(name)
    if kind is _BARE:
        return {"dest": name, "metavar": "NAME"}
    if kind.unit == "°C":
        read: Callable[[str], float] = temperature_c
        return {"dest": name, "type": read, "metavar": "TEMPERATURE"}
    factor = 60.0 if unit == "min" else kind.factor

    def scaled(text: str) -> float:
        return factor * number(text)

    return {"dest": name, "type": scaled, "metavar": (unit or kind.unit).upper() or None}
