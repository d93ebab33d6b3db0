"""What a panel was set to, as a small JSON file that can be kept, sent and opened.

The file holds what a person chose and nothing that was computed::

    {
     "schema": "coreward panel",
     "version": 1,
     "panel": "stall",
     "written_by": "coreward 0.1.0",
     "units": {"temperature": "C", "length": "mm", "mass": "kg"},
     "inputs": {"cut": "beef brisket whole", "thickness_m": 0.08, "pit_c": 110.0},
     "kept": null
    }

``inputs`` has the names and the units of the panel's state: SI, and °C where a name
ends in ``_c``. ``units`` is only what the person read on the page. ``kept`` has the
inputs of the cook kept for comparison, or null. Other entries are left alone.

An input that the file does not have is as the page starts it, and the panel says so;
this is how a file from before an input existed opens. An input that was renamed or
means something else asks for a new `VERSION` and a function in `MIGRATIONS` that turns
the older content into the newer. Anything else that does not fit is refused as a whole,
with a sentence that says what and where: a panel is never half set.
"""

from __future__ import annotations

import json
from collections.abc import Callable, Mapping, Sequence
from dataclasses import asdict, dataclass
from pathlib import Path
from types import MappingProxyType
from typing import TYPE_CHECKING, Any, Final

import traitlets

import coreward
from coreward.errors import InputError
from coreward.files import write_atomically
from coreward.widgets.settings import units_from
from coreward.words import UnitChoice

if TYPE_CHECKING:
    from coreward.widgets.panel import PanelState

SCHEMA: Final = "coreward panel"
VERSION: Final = 1
SUFFIX: Final = ".json"
_MOST_BYTES: Final = 200_000
_MOST_DIGITS: Final = 15  # what fits into a number of the machine without loss

Content = dict[str, Any]

MIGRATIONS: Final[Mapping[int, Callable[[Content], Content]]] = MappingProxyType({})
"""From a version to the function that makes the next one of it; 1 is the first."""


@dataclass(frozen=True)
class Opened:
    """What a file says, checked against a panel."""

    inputs: dict[str, Any]
    """By trait name, complete."""
    units: UnitChoice
    """What the person read on the page."""
    kept: dict[str, Any] | None
    """Inputs of the cook kept for comparison."""
    missing: tuple[str, ...]
    """Labels of the inputs that the file does not have."""


def text_of(
    panel: str, inputs: dict[str, Any], units: UnitChoice, kept: dict[str, Any] | None = None
) -> str:
    """Return the content of a file."""
    content = {
        "schema": SCHEMA,
        "version": VERSION,
        "panel": panel,
        "written_by": f"coreward {coreward.__version__}",
        "units": asdict(units),
        "inputs": inputs,
        "kept": kept,
    }
    return json.dumps(content, indent=1, ensure_ascii=False, allow_nan=False) + "\n"


def read(
    data: str | bytes,
    where: str,
    panel: str,
    state: PanelState,
    start: dict[str, Any],
    *,
    version: int = VERSION,
    migrations: Mapping[int, Callable[[Content], Content]] = MIGRATIONS,
) -> Opened:
    """Check the content of a file against a panel, changing nothing.

    Parameters
    ----------
    where : str
        What to call the file in a sentence.
    state : PanelState
        Its state, which knows what each input may be.
    start : dict
        The inputs that the page starts it with, by trait name.
    migrations : Mapping
        From a version to the function that makes the next one of it.

    Raises
    ------
    InputError
        If it cannot be used: what is wrong, and where in the file.
    """
    content = _upgraded(_parsed(data, where), where, version, migrations)
    found = content.get("panel")
    if found is None:
        raise InputError(
            f"{where}: it does not say which panel saved it; choose a file that a panel saved."
        )
    if found != panel:
        raise InputError(
            f"{where}: it was saved by the panel {found!r} and this is the panel "
            f"{panel!r}; open it there."
        )
    try:
        units = units_from(content.get("units"))
    except ValueError as error:
        raise InputError(f'{where}: under "units", {error}.') from error
    inputs = _inputs(content.get("inputs"), "inputs", where, state)
    kept = content.get("kept")
    if kept is not None:
        kept = start | _inputs(kept, "kept", where, state)
    missing = tuple(_label(state, name) for name in start if name not in inputs)
    return Opened(start | inputs, units, kept, missing)


def read_file(file: Path, panel: str, state: PanelState, start: dict[str, Any]) -> Opened:
    """Read a file; see `read`.

    Raises
    ------
    InputError
        If it is not there, cannot be read or cannot be used.
    """
    try:
        if file.stat().st_size > _MOST_BYTES:
            raise InputError(_too_big(file.name))
        data = file.read_bytes()
    except (OSError, ValueError) as error:  # a ValueError: a letter that no name may have
        reason = getattr(error, "strerror", None) or str(error)
        raise InputError(f"{file.name} cannot be read in {file.parent}: {reason}.") from error
    return read(data, file.name, panel, state, start)


def checked(name: str, content: memoryview | bytes) -> bytes:
    """Return what was sent from a browser, unless it is larger than any saved panel.

    Raises
    ------
    InputError
        If it is.
    """
    if len(content) > _MOST_BYTES:
        raise InputError(_too_big(name))
    return bytes(content)


def write_beside(folder: Path, name: str, text: str) -> Path:
    """Write a file into a folder under a name that is free, and return it.

    Parameters
    ----------
    name : str
        The wanted name, with or without ``.json``. If it is taken, a number is added:
        nothing is overwritten.

    Raises
    ------
    InputError
        If the name leads elsewhere, or the folder cannot be written.
    """
    wanted = inside(folder, name)
    file, number = wanted, 1
    while file.exists():
        number += 1
        file = wanted.with_name(f"{wanted.stem} {number}{SUFFIX}")
    return write_atomically(file, text.encode("utf-8"), what="file")


def inside(folder: Path, name: str) -> Path:
    """Return the file of that name in a folder.

    Raises
    ------
    InputError
        If there is no name, or it leads out of the folder.
    """
    plain = name.strip()
    if not plain:
        raise InputError("The file has no name yet: type one, such as supper.json.")
    if not plain.lower().endswith(SUFFIX):
        plain += SUFFIX
    try:
        file = (folder / plain).resolve()
        leads_out = not file.is_relative_to(folder.resolve())
    except (OSError, ValueError) as error:  # a character that no name may have
        raise InputError(f"{name!r} is no name for a file: {error}.") from error
    if leads_out:
        raise InputError(
            f"{name!r} leads out of the folder of this page, {folder}. Type a name inside it, "
            "or send the file with the button."
        )
    return file


def _parsed(data: str | bytes, where: str) -> Content:
    if len(data) > _MOST_BYTES:
        raise InputError(_too_big(where))
    try:
        text = data.decode("utf-8-sig") if isinstance(data, bytes) else data
        content = json.loads(
            text, parse_constant=_refuse, parse_int=_whole, object_pairs_hook=_once
        )
    except UnicodeDecodeError as error:
        raise InputError(
            f"{where}: it is not text (byte {error.start} is not UTF-8); choose a file that "
            "a panel saved."
        ) from error
    except json.JSONDecodeError as error:
        raise InputError(
            f"{where}: line {error.lineno}, column {error.colno}: {error.msg}. The file is "
            "broken or cut short; choose another one."
        ) from error
    except RecursionError as error:
        raise InputError(
            f"{where}: it is nested far deeper than what a panel saves; choose a file that a "
            "panel saved."
        ) from error
    except ValueError as error:
        raise InputError(f"{where}: {error}.") from error
    if not isinstance(content, dict) or content.get("schema") != SCHEMA:
        raise InputError(
            f'{where}: it is not a "{SCHEMA}" file; choose one that a panel saved.'
        )
    return content


def _too_big(where: str) -> str:
    return (
        f"{where}: it is larger than {_MOST_BYTES // 1000} kB, and what a panel saves is not; "
        "choose a file that a panel saved."
    )


def _refuse(name: str) -> float:
    raise ValueError(f"{name} is not a number that a panel can use")


def _whole(digits: str) -> int:
    if len(digits) > _MOST_DIGITS:
        raise ValueError(
            f"a number of {len(digits)} digits ({digits[:12]}...) is none that a panel saves; "
            "choose a file that a panel saved"
        )
    return int(digits)


def _once(pairs: Sequence[tuple[str, Any]]) -> Content:
    names = [name for name, _ in pairs]
    twice = sorted({name for name in names if names.count(name) > 1})
    if twice:
        raise ValueError(f"{', '.join(map(repr, twice))} is there twice")
    return dict(pairs)


def _upgraded(
    content: Content,
    where: str,
    version: int,
    migrations: Mapping[int, Callable[[Content], Content]],
) -> Content:
    """Bring older content up to this program's version, one version after the other."""
    found = content.get("version")
    if isinstance(found, bool) or not isinstance(found, int):
        raise InputError(f'{where}: under "version", {found!r} is not a whole number.')
    if found > version:
        raise InputError(
            f"{where}: it was saved by a newer Coreward (version {found} of the file; this "
            f"one reads up to {version}). Bring Coreward up to date; the file stays as it is."
        )
    while found < version:
        if found not in migrations:
            raise InputError(f'{where}: under "version", there never was a version {found}.')
        try:
            content = migrations[found](content)
        except (KeyError, TypeError, ValueError, AttributeError) as error:
            raise InputError(
                f"{where}: it says version {found}, but it is not like one ({error!r})."
            ) from error
        found += 1
    return content


def _inputs(given: Any, part: str, where: str, state: PanelState) -> dict[str, Any]:
    if not isinstance(given, dict):
        raise InputError(f'{where}: under "{part}" there is no list of names and values.')
    known = state.saved()
    checked: dict[str, Any] = {}
    for name, value in given.items():
        if name not in known:
            raise InputError(
                f'{where}: under "{part}", {name!r} is not an input of this panel; it has '
                f"{', '.join(known)}."
            )
        trait: Any = state.traits()[name]
        try:
            checked[name] = trait.validate(state, value)
        except (InputError, traitlets.TraitError) as error:
            raise InputError(f'{where}: under "{part}", {name}: {error}') from error
    return checked


def _label(state: PanelState, name: str) -> str:
    return str(getattr(state.traits()[name], "label", name))
