"""Constants of the trade, each with its unit, range and source.

One TOML file per *kind* of constant (``cut``, ``sorption``, ...) lies beside this
module; a file holds named *sets*, a set holds *parameters*, a parameter is a
`Record`. ``sources.toml`` lists what the records cite. Nothing here computes:
equations live in the layer above, numbers live here.

A file that is incomplete is refused as a whole. A number without a unit, a range
or a source is not a constant but a rumour, and the error is cheaper here than in
a forecast.
"""

from __future__ import annotations

import math
import tomllib
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, field, replace
from difflib import get_close_matches
from functools import lru_cache
from importlib.resources import files
from numbers import Real
from pathlib import Path
from typing import Any

from coreward.errors import TableError

__all__ = [
    "BASES",
    "STATUSES",
    "ParameterSet",
    "Record",
    "Source",
    "all_records",
    "default_name",
    "describe",
    "kinds",
    "load",
    "names",
    "read_file",
    "read_sources",
    "source",
    "sources",
]

BASES = ("measured", "fitted", "derived", "assumed")
"""How a value came about."""

STATUSES = ("read", "unchecked", "memory", "derived")
"""How far a value was checked.

``read``: seen in the source named. ``unchecked``: attributed to the source, which
was not opened. ``memory``: remembered or judged, never a citation. ``derived``:
computed from other values or true by definition; the note says how.
"""

_SOURCES_FILE = "sources.toml"
_REQUIRED = ("value", "unit", "range", "source", "basis", "status")
_OPTIONAL = ("where", "conditions", "note")
_SOURCE_REQUIRED = ("title", "status")
_SOURCE_OPTIONAL = ("authors", "year", "where", "note", "general")


@dataclass(frozen=True)
class Source:
    """Something a record cites."""

    key: str
    """Name used by the records."""
    title: str
    status: str
    """One of `STATUSES`: how far the source itself was opened."""
    authors: str = ""
    year: str = ""
    where: str = ""
    note: str = ""
    """What it is and where it is printed; empty where unknown."""
    general: bool = False
    """True for "common practice", "assumed here" and the like, which have no page to point at.
    """

    def citation(self) -> str:
        """Return one line of text naming the source."""
        parts = [part for part in (self.authors, self.year, self.title, self.where) if part]
        return ". ".join(part.rstrip(".") for part in parts) + "."


@dataclass(frozen=True)
class Record:
    """One number with everything needed to judge it."""

    value: float
    """The number, in `unit`."""
    unit: str
    """SI unit, or ``degC`` for a temperature point and ``K`` for a difference."""
    range: tuple[float, float]
    """Lowest and highest credible value, both included; equal when fixed."""
    source: str
    """Key in ``sources.toml``."""
    where: str
    """Table, equation or row in the source."""
    basis: str
    status: str
    """One of `BASES`, one of `STATUSES`."""
    conditions: str = ""
    note: str = ""
    """When it holds; what to beware of."""

    @property
    def inside_range(self) -> bool:
        """Whether the value lies in its range (a user's change may not)."""
        return self.range[0] <= self.value <= self.range[1]


@dataclass(frozen=True)
class ParameterSet:
    """A named set of parameters: index it for values, ask `record` for sources."""

    kind: str
    name: str
    title: str
    note: str
    """Table, set, heading, and what the set is (not) good for."""
    records: tuple[tuple[str, Record], ...]
    """The parameters in file order."""
    texts: tuple[tuple[str, str], ...] = ()
    """Words that belong to the set, such as a species."""
    _by_name: dict[str, Record] = field(init=False, repr=False, compare=False)

    def __post_init__(self) -> None:
        object.__setattr__(self, "_by_name", dict(self.records))

    def __getitem__(self, parameter: str) -> float:
        """Return the value of `parameter` in the unit of its record."""
        return self.record(parameter).value

    def __iter__(self) -> Iterator[str]:
        return iter(self._by_name)

    def __len__(self) -> int:
        return len(self._by_name)

    def __contains__(self, parameter: object) -> bool:
        return parameter in self._by_name

    def record(self, parameter: str) -> Record:
        """Return the whole record of `parameter`.

        Raises
        ------
        TableError
            If the set has no such parameter; near matches are named.
        """
        try:
            return self._by_name[parameter]
        except KeyError:
            raise TableError(
                f"Set {self.name!r} of table {self.kind!r} has no parameter {parameter!r}."
                + _suggest(parameter, self._by_name)
            ) from None

    def text(self, key: str) -> str:
        """Return a text field such as ``species``.

        Raises
        ------
        TableError
            If the set has no such text; near matches are named.
        """
        texts = dict(self.texts)
        try:
            return texts[key]
        except KeyError:
            raise TableError(
                f"Set {self.name!r} of table {self.kind!r} has no text {key!r}."
                + _suggest(key, texts)
            ) from None

    def replace(self, **values: float) -> ParameterSet:
        """Return a copy with some values changed, marked as the user's own.

        The published range is kept, so that `Record.inside_range` and the note can
        tell when a change leaves it; leaving it is allowed, because switching an
        effect off is a fair question.

        Parameters
        ----------
        **values : float
            New values by parameter name, in the unit of the record.

        Returns
        -------
        ParameterSet
            The changed copy: ``basis="assumed"``, ``source="user"``.

        Raises
        ------
        TableError
            If a parameter is unknown or a value is not a finite number.
        """
        changed = dict(self._by_name)
        for parameter, value in values.items():
            old = self.record(parameter)
            where = f"Set {self.name!r} of table {self.kind!r}, parameter {parameter!r}"
            number = _finite(value, where)
            new = Record(
                value=number,
                unit=old.unit,
                range=old.range,
                source="user",
                where="",
                basis="assumed",
                status="unchecked",
                conditions=old.conditions,
                note=f"Set by the user; the table says {old.value:g} {old.unit}.",
            )
            if not new.inside_range:
                low, high = old.range
                new = replace(new, note=new.note + f" Outside the range {low:g} to {high:g}.")
            changed[parameter] = new
        return replace(self, records=tuple(changed.items()))


def kinds() -> tuple[str, ...]:
    """Return the names of all tables, sorted."""
    return tuple(
        sorted(
            item.name.removesuffix(".toml")
            for item in files(__name__).iterdir()
            if item.name.endswith(".toml") and item.name != _SOURCES_FILE
        )
    )


def names(kind: str) -> tuple[str, ...]:
    """Return the names of the sets of table `kind`, in file order.

    Raises
    ------
    TableError
        If there is no such table, or its file is defective.
    """
    return tuple(_table(kind)[0])


def default_name(kind: str) -> str:
    """Return the name of the default set of table `kind`.

    Raises
    ------
    TableError
        If there is no such table, or its file is defective.
    """
    return _table(kind)[1]


def load(kind: str, name: str | None = None) -> ParameterSet:
    """Return a set of constants.

    Parameters
    ----------
    kind : str
        Table, one of `kinds`.
    name : str, optional
        Set, one of `names`; the default of the table when absent.

    Raises
    ------
    TableError
        If the table or set does not exist (near matches are named), or the file is
        defective.
    """
    sets, default = _table(kind)
    wanted = default if name is None else name
    try:
        return sets[wanted]
    except KeyError:
        raise TableError(
            f"Table {kind!r} has no set {wanted!r}." + _suggest(wanted, sets)
        ) from None


def source(key: str) -> Source:
    """Return the source named `key`.

    Raises
    ------
    TableError
        If there is no such source; near matches are named.
    """
    try:
        return sources()[key]
    except KeyError:
        raise TableError(
            f"There is no source {key!r} in {_SOURCES_FILE}." + _suggest(key, sources())
        ) from None


@lru_cache(maxsize=1)
def _packaged_sources() -> dict[str, Source]:
    text = files(__name__).joinpath(_SOURCES_FILE).read_text(encoding="utf-8")
    return _parse_sources(text, _SOURCES_FILE)


def sources() -> dict[str, Source]:
    """Return every source by key."""
    return dict(_packaged_sources())


def all_records() -> Iterator[tuple[str, str, str, Record]]:
    """Yield ``(kind, set name, parameter, record)`` for every number in every table."""
    for kind in kinds():
        for name in names(kind):
            for parameter, record in load(kind, name).records:
                yield kind, name, parameter, record


def describe(kind: str, name: str | None = None) -> str:
    """Return a readable account of a set: values, ranges, status and sources.

    Parameters
    ----------
    kind, name
        As for `load`.

    Raises
    ------
    TableError
        As for `load`.
    """
    chosen = load(kind, name)
    lines = [f"{chosen.title} ({kind}: {chosen.name})"]
    if chosen.note:
        lines.append(chosen.note)
    lines += [f"{key}: {value}" for key, value in chosen.texts]
    for parameter, record in chosen.records:
        low, high = record.range
        lines.append(
            f"{parameter} = {record.value:g} {record.unit} "
            f"[{low:g} to {high:g}] {record.basis}, {record.status}; {record.source}"
            + (f", {record.where}" if record.where else "")
        )
        if record.conditions:
            lines.append(f"    holds for: {record.conditions}")
        if record.note:
            lines.append(f"    {record.note}")
    lines.append("Sources:")
    for key in dict.fromkeys(record.source for _, record in chosen.records):
        cited = source(key)
        lines.append(f"    {key} ({cited.status}): {cited.citation()}")
    return "\n".join(lines)


def read_file(
    path: str | Path, known_sources: Mapping[str, Source] | None = None
) -> tuple[dict[str, ParameterSet], str]:
    """Read and check a table file outside the package.

    Parameters
    ----------
    path : str or Path
        A TOML file; its stem is the kind.
    known_sources : mapping, optional
        Sources the file may cite; those of the package when absent.

    Returns
    -------
    sets : dict of str to ParameterSet
    default : str
        Name of the default set.

    Raises
    ------
    TableError
        If the file cannot be read, or any entry is incomplete or inconsistent. The
        message names file, set, parameter and remedy.
    """
    path = Path(path)
    known = sources() if known_sources is None else known_sources
    return _parse_table(_text_of(path), path.name, path.stem, known)


def read_sources(path: str | Path) -> dict[str, Source]:
    """Read and check a file of sources outside the package.

    Raises
    ------
    TableError
        If the file cannot be read or a source is incomplete.
    """
    path = Path(path)
    return _parse_sources(_text_of(path), path.name)


@lru_cache(maxsize=64)
def _table(kind: str) -> tuple[dict[str, ParameterSet], str]:
    if kind not in kinds():
        raise TableError(f"There is no table {kind!r}." + _suggest(kind, kinds()))
    filename = f"{kind}.toml"
    text = files(__name__).joinpath(filename).read_text(encoding="utf-8")
    return _parse_table(text, filename, kind, _packaged_sources())


def _text_of(path: Path) -> str:
    try:
        return path.read_text(encoding="utf-8")
    except (OSError, UnicodeDecodeError) as error:
        raise TableError(
            f"{path}: cannot be read ({error}); give the path of a UTF-8 TOML file."
        ) from error


def _parse(text: str, filename: str) -> dict[str, Any]:
    try:
        return tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        raise TableError(f"{filename}: not valid TOML: {error}. Correct that line.") from error


def _parse_sources(text: str, filename: str) -> dict[str, Source]:
    found: dict[str, Source] = {}
    for key, entry in _parse(text, filename).items():
        place = f"{filename}, source {key!r}"
        if not isinstance(entry, dict):
            raise TableError(f"{place}: is not a table; write it under [{key}].")
        _check_keys(entry, _SOURCE_REQUIRED, _SOURCE_OPTIONAL, place)
        _check_choice(entry["status"], STATUSES, "status", place)
        general = entry.get("general", False)
        if not isinstance(general, bool):
            raise TableError(f"{place}: 'general' is {general!r}; write true or false.")
        words = {
            name: _words(entry.get(name, ""), name, place)
            for name in ("title", "authors", "year", "where", "note")
        }
        if not words["title"]:
            raise TableError(f"{place}: 'title' is empty; say what it is.")
        found[key] = Source(key=key, status=entry["status"], general=general, **words)
    return found


def _parse_table(
    text: str, filename: str, kind: str, known: Mapping[str, Source]
) -> tuple[dict[str, ParameterSet], str]:
    sets: dict[str, ParameterSet] = {}
    defaults: list[str] = []
    for name, entry in _parse(text, filename).items():
        place = f"{filename}, set {name!r}"
        if not isinstance(entry, dict):
            raise TableError(f"{place}: is not a table; write it under [{name!r}].")
        default = entry.get("default", False)
        if not isinstance(default, bool):
            raise TableError(f"{place}: 'default' is {default!r}; write true or false.")
        if default:
            defaults.append(name)
        sets[name] = _parse_set(entry, kind, name, place, known)
    if not sets:
        raise TableError(f"{filename}: holds no set; add at least one.")
    if len(defaults) != 1:
        raise TableError(
            f"{filename}: {len(defaults)} sets are marked default ({', '.join(defaults)}); "
            "write 'default = true' in exactly one."
        )
    _check_units(sets, filename)
    return sets, defaults[0]


def _parse_set(
    entry: dict[str, Any], kind: str, name: str, place: str, known: Mapping[str, Source]
) -> ParameterSet:
    title = _words(entry.get("title", ""), "title", place)
    if not title:
        raise TableError(f"{place}: has no 'title'; give it one.")
    note = _words(entry.get("note", ""), "note", place)
    records: list[tuple[str, Record]] = []
    texts: list[tuple[str, str]] = []
    for key, item in entry.items():
        if key in ("title", "note", "default"):
            continue
        if isinstance(item, dict):
            records.append((key, _parse_record(item, f"{place}, parameter {key!r}", known)))
        elif isinstance(item, str):
            texts.append((key, _words(item, key, place)))
        else:
            raise TableError(
                f"{place}: {key!r} is a bare {type(item).__name__} without unit, range or "
                f"source; write it as a table with {', '.join(_REQUIRED)}."
            )
    if not records:
        raise TableError(f"{place}: holds no parameter; add one or remove the set.")
    return ParameterSet(kind, name, title, note, tuple(records), tuple(texts))


def _parse_record(entry: dict[str, Any], place: str, known: Mapping[str, Source]) -> Record:
    _check_keys(entry, _REQUIRED, _OPTIONAL, place)
    words = {
        key: _words(entry.get(key, ""), key, place)
        for key in ("unit", "source", "where", "basis", "status", "conditions", "note")
    }
    if not words["unit"]:
        raise TableError(f"{place}: 'unit' is empty; write '-' for a pure number.")
    _check_choice(words["basis"], BASES, "basis", place)
    _check_choice(words["status"], STATUSES, "status", place)
    cited = known.get(words["source"])
    if cited is None:
        raise TableError(
            f"{place}: source {words['source']!r} is not in {_SOURCES_FILE}; add it there."
            + _suggest(words["source"], known)
        )
    if not words["where"] and not cited.general:
        raise TableError(
            f"{place}: 'where' is missing; name the table, equation or row of "
            f"{cited.key!r} that holds the number."
        )
    if words["status"] == "read" and cited.status != "read":
        raise TableError(
            f"{place}: status is 'read' but source {cited.key!r} is {cited.status!r}; "
            "a number cannot be better known than its source."
        )
    value = _finite(entry["value"], place)
    bounds = entry["range"]
    if not isinstance(bounds, list) or len(bounds) != 2:
        raise TableError(f"{place}: 'range' is {bounds!r}; write [low, high].")
    low, high = (_finite(bound, f"{place}, range") for bound in bounds)
    if low > high:
        raise TableError(f"{place}: range [{low:g}, {high:g}] is upside down; swap the two.")
    if not low <= value <= high:
        raise TableError(
            f"{place}: value {value:g} is outside its range [{low:g}, {high:g}]; "
            "correct the value or widen the range and say why."
        )
    return Record(value=value, range=(low, high), **words)


def _check_keys(
    entry: dict[str, Any], required: Iterable[str], optional: Iterable[str], place: str
) -> None:
    missing = [key for key in required if key not in entry]
    if missing:
        raise TableError(
            f"{place}: {', '.join(repr(key) for key in missing)} missing; every entry needs "
            f"{', '.join(required)}."
        )
    allowed = (*required, *optional)
    for key in entry:
        if key not in allowed:
            raise TableError(f"{place}: unknown key {key!r}." + _suggest(key, allowed))


def _check_choice(value: object, allowed: tuple[str, ...], key: str, place: str) -> None:
    if value not in allowed:
        raise TableError(f"{place}: {key!r} is {value!r}; write one of {', '.join(allowed)}.")


def _check_units(sets: dict[str, ParameterSet], filename: str) -> None:
    """Refuse sets that give the same name in different units."""
    seen: dict[str, tuple[str, str]] = {}
    for name, chosen in sets.items():
        for parameter, record in chosen.records:
            unit, first = seen.setdefault(parameter, (record.unit, name))
            if record.unit != unit:
                raise TableError(
                    f"{filename}, set {name!r}, parameter {parameter!r}: unit "
                    f"{record.unit!r} differs from {unit!r} in set {first!r}; convert it."
                )


def _words(value: object, key: str, place: str) -> str:
    if not isinstance(value, str):
        raise TableError(f"{place}: {key!r} is {value!r}; write text in quotes.")
    return value.strip()


def _finite(value: object, place: str) -> float:
    """Return `value` as a float; booleans are not numbers, though Python says so."""
    if (
        isinstance(value, bool)
        or not isinstance(value, Real)
        or not math.isfinite(float(value))
    ):
        raise TableError(f"{place}: {value!r} is not a finite number; write one.")
    return float(value)


def _suggest(wanted: str, available: Iterable[str]) -> str:
    choices = list(available)
    near = get_close_matches(wanted, choices, n=3, cutoff=0.5)
    if not near:
        folded = wanted.lower()
        near = [item for item in choices if folded in item.lower() or item.lower() in folded]
    if near:
        return f" Did you mean {', '.join(repr(item) for item in near)}?"
    return f" There are: {', '.join(repr(item) for item in choices)}."
