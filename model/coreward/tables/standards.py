"""Published time-temperature standards, row by row, as they are printed.

`holds.csv` has every printed row, `standards.toml` says what each standard is for,
`limits.csv` has the limits on time in a temperature band, `d_values.csv` the published
D values behind the kinetics. Where a printed row is shorter than the law behind it, or
two editions differ, the longer time is the one that is used; the printed one is kept
beside it.
"""

from __future__ import annotations

import csv
import io
import math
import re
import tomllib
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from difflib import get_close_matches
from functools import cached_property, lru_cache
from importlib.resources import files

from coreward import tables
from coreward.errors import TableError
from coreward.units import fahrenheit_to_celsius
from coreward.words import Difference, Published, Quantity, Say, Text, shown

_FOLDER = "standards_data"
_TEMPERATURES = ("degC", "degF")
_SECONDS = {"s": 1.0, "min": 60.0, "h": 3600.0}
_KELVIN_PER_FAHRENHEIT = 5.0 / 9.0
_ROUNDING_C = 1e-6  # a reading of exactly 60 °C must reach the row of 140 °F
_STANDARD_TEXTS = (
    "title", "revision", "meats", "conditions", "moisture", "source", "organism", "caution"
)  # fmt: skip
_MARK = re.compile(r"\{(-?\d+(?:\.\d+)?)([CFK])\}")
_SOURCE_KEY = re.compile(r"\b[a-z]+(?:_[a-z]+)*_(?:19|20)\d{2}\b")
MEATS = ("beef", "pork", "lamb", "veal", "chicken", "turkey", "poultry", "other meat")
POULTRY = ("chicken", "turkey", "poultry")
CONDITIONS = ("intact", "tenderised", "injected", "rolled", "stuffed", "ground")
"""States of a piece; several may hold at once, and each adds its own limits."""


@dataclass(frozen=True)
class Law:
    """Time for a target against temperature, log-linear on both sides of an anchor."""

    anchor_c: float
    time_s: float
    """Temperature [°C] and the time it needs. [s]"""
    z_below_c: float
    z_above_c: float
    """Kelvin for a tenfold change of time under and over the anchor. [K]"""

    def required_s(self, temperature_c: float) -> float:
        """Time needed at a temperature. [s]."""
        distance = self.anchor_c - temperature_c
        z = self.z_below_c if distance > 0.0 else self.z_above_c
        return float(self.time_s * 10.0 ** (distance / z))


@dataclass(frozen=True)
class HoldRow:
    """One printed row."""

    standard: str
    printing: str
    """Which table and which edition or column of it."""
    temperature_c: float
    printed: str
    """Temperature [°C] and as printed."""
    printed_s: float
    """Time as printed. [s]"""
    law_s: float | None
    """Time by the law behind the table. [s]"""
    required_s: float
    """Time that is used: the longest of printed, law and the dwell that stands for a printed
    zero. [s]"""
    usable: bool
    """False for rows that are kept to be shown only."""
    source: str
    where: str
    status: str
    note: str
    """Where it comes from."""

    @property
    def short_of_law(self) -> bool:
        """True where the printed time is more lenient than the law behind it."""
        return self.law_s is not None and self.printed_s < self.law_s


@dataclass(frozen=True)
class Standard:
    """A hold standard: minimum temperature in all parts, held for a time."""

    name: str
    title: str
    revision: str
    source: str
    caution: str
    organism: str
    """What it is, with temperatures in °C; `said` gives the texts in either unit."""
    meats: tuple[str, ...]
    conditions: tuple[str, ...]
    """What it covers."""
    moisture: str
    """"guideline 2021", "food code oven" or "none"."""
    target_log: float | None
    """Log reduction it stands for, where it names one."""
    counts: bool
    """Whether it decides the overall answer without being asked for by name."""
    law: Law | None
    """The law behind it."""
    rows: tuple[HoldRow, ...]
    """In order of temperature."""
    view: Mapping[str, str] | None = field(default=None, compare=False)
    """How the table is read as a rate of kill: name, unit, food and note."""
    marked: Mapping[str, str] = field(default_factory=dict, compare=False, repr=False)
    """The texts as the table has them."""

    def said(self, name: str) -> Text:
        """Return title, revision or caution so that it can be shown in either unit."""
        return marked_text(self.marked.get(name, getattr(self, name)))

    @cached_property
    def usable_rows(self) -> tuple[HoldRow, ...]:
        """Rows that may decide a verdict."""
        return tuple(row for row in self.rows if row.usable)

    @cached_property
    def temperatures_c(self) -> tuple[float, ...]:
        """Distinct temperatures of the usable rows, rising. [°C]."""
        return tuple(sorted({row.temperature_c for row in self.usable_rows}))

    @property
    def lowest_c(self) -> float:
        """Coldest usable row. [°C]."""
        return self.temperatures_c[0]

    def required_s(self, temperature_c: float) -> float:
        """Time that a minimum temperature needs; infinite below the coldest row. [s].

        The next colder row counts: nothing is interpolated between rows. In each
        printing (or species column) that reaches so high the row is looked up by
        itself, and the longest of them is the answer.
        """
        reached = [t for t in self.temperatures_c if t <= temperature_c + _ROUNDING_C]
        return self._needed_s[reached[-1]] if reached else math.inf

    @cached_property
    def _needed_s(self) -> dict[float, float]:
        """Time that is needed from each temperature of the usable rows on. [s]."""
        columns: dict[str, list[HoldRow]] = {}
        for row in self.usable_rows:
            columns.setdefault(row.printing, []).append(row)
        return {level: _slowest(columns.values(), level) for level in self.temperatures_c}

    def covers(self, meat: str, condition: str) -> bool:
        """Whether the standard is made for this meat in this condition."""
        return meat in self.meats and condition in self.conditions


def _slowest(columns: Iterable[Sequence[HoldRow]], level: float) -> float:
    """Longest time that the printings which reach up to a level ask for there. [s]."""
    longest = 0.0
    for column in columns:
        below = [row for row in column if row.temperature_c <= level]
        if below and max(row.temperature_c for row in column) >= level:
            needed = max(below, key=lambda row: row.temperature_c).required_s
            longest = max(longest, needed)
    return longest


@dataclass(frozen=True)
class BandLimit:
    """A limit on the time spent between two temperatures, or a lower limit to hold at."""

    standard: str
    title: str
    kind: str
    """Which rule, for code and by the name its readers know; "come-up", "cooling", "hot
    holding" or "reheating"."""
    from_c: float
    to_c: float
    """The band in the order in which it is passed. [°C]"""
    limit_s: float
    """Longest time; zero for hot holding, which has none. [s]"""
    default: bool
    """Whether it is applied unless another is asked for."""
    source: str
    where: str
    status: str
    """Where it comes from."""
    note: Text
    """What to beware of."""
    dwell_s: float = 0.0
    """Time to stay at `to_c` once there; only reheating asks for one. [s]"""


@dataclass(frozen=True)
class PublishedD:
    """One published D value or range, as printed."""

    organism: str
    food: str
    temperature_c: float
    """[°C]"""
    low_min: float
    high_min: float
    """Range of D. [min]"""
    kinetics: str
    source: str
    status: str
    """What it is and which kinetics are built on it."""


def _celsius(text: str, unit: str, place: str) -> float:
    if unit not in _TEMPERATURES:
        raise TableError(
            f"{place}: temperature unit '{unit}'; write one of {', '.join(_TEMPERATURES)}."
        )
    value = _number(text, place)
    return value if unit == "degC" else float(fahrenheit_to_celsius(value))


def _seconds(text: str, unit: str, place: str) -> float:
    if unit not in _SECONDS:
        raise TableError(f"{place}: time unit '{unit}'; write one of {', '.join(_SECONDS)}.")
    value = _number(text, place)
    if value < 0.0:
        raise TableError(f"{place}: a negative time, {text}.")
    return value * _SECONDS[unit]


def _number(text: str, place: str) -> float:
    try:
        value = float(text)
    except ValueError:
        raise TableError(f"{place}: '{text}' is not a number.") from None
    if not math.isfinite(value):
        raise TableError(f"{place}: '{text}' is not a finite number.")
    return value


def cited(text: str) -> str:
    """Return a text with each key of a source in it written as authors and year."""

    def name(match: re.Match[str]) -> str:
        source = tables.source(match[0])
        return f"{source.authors} {source.year}".strip() or source.title

    return _SOURCE_KEY.sub(name, text)


def marked_text(text: str) -> Text:
    """Return a table's text with its marks, such as {130F}, {70C} or {6K}, as quantities."""
    values: list[Quantity] = []

    def number(match: re.Match[str]) -> str:
        value, unit = float(match[1]), match[2]
        celsius = float(fahrenheit_to_celsius(value)) if unit == "F" else value
        values.append(Difference(value) if unit == "K" else Published(celsius))
        return f"{{{len(values) - 1}}}"

    template = _MARK.sub(number, cited(text))
    return Say(template, tuple(values)) if values else template


def _rows(text: str, filename: str) -> list[tuple[str, dict[str, str]]]:
    """Read a CSV; refuse rows without source or status, or with a missing cell."""
    found = []
    for number, row in enumerate(csv.DictReader(io.StringIO(text)), start=2):
        place = f"{filename}, line {number}"
        if None in row or None in row.values():
            raise TableError(f"{place}: too many or too few cells; compare with the header.")
        if not row.get("source"):
            raise TableError(f"{place}: no source; every row names where it was read.")
        tables.source(row["source"])
        if row.get("status") not in tables.STATUSES:
            raise TableError(
                f"{place}: status '{row.get('status')}'; write one of "
                f"{', '.join(tables.STATUSES)}."
            )
        found.append((place, row))
    return found


def parse_holds(text: str, laws: Mapping[str, Law | None]) -> dict[str, list[HoldRow]]:
    """Rows of hold standards by standard, from the text of a CSV.

    Parameters
    ----------
    text : str
        The table.
    laws : mapping
        Law of each standard, or None; a row of any other standard is refused.

    Raises
    ------
    TableError
        A row without unit, source or status, of an unknown standard, remembered but
        usable, or printed as zero without a law or a dwell that stands for it.
    """
    found: dict[str, list[HoldRow]] = {name: [] for name in laws}
    for place, row in _rows(text, "holds.csv"):
        name = row["standard"]
        if name not in laws:
            raise TableError(f"{place}: no standard '{name}' in standards.toml.")
        temperature_c = _celsius(row["temperature"], row["temperature_unit"], place)
        printed_s = _seconds(row["time"], row["time_unit"], place)
        law = laws[name]
        law_s = law.required_s(temperature_c) if law else None
        dwell_s = _seconds(row["dwell"], "s", place) if row["dwell"] else 0.0
        required_s = max(printed_s, law_s or 0.0, dwell_s)
        if required_s <= 0.0:
            raise TableError(
                f"{place}: printed as zero without a law or a dwell: a spike would pass. "
                "Enter the dwell that stands for it and say where it comes from."
            )
        if row["usable"] not in ("yes", "no"):
            raise TableError(f"{place}: usable is '{row['usable']}'; write yes or no.")
        usable = row["usable"] == "yes"
        if usable and row["status"] in ("memory", "unchecked"):
            raise TableError(f"{place}: a row that was not read may be shown, not used.")
        printed = (
            f"{row['temperature']} {row['temperature_unit']}, {row['time']} {row['time_unit']}"
        )
        found[name].append(
            HoldRow(
                standard=name,
                printing=row["printing"],
                temperature_c=temperature_c,
                printed=printed,
                printed_s=printed_s,
                law_s=law_s,
                required_s=required_s,
                usable=usable,
                source=row["source"],
                where=row["where"],
                status=row["status"],
                note=row["note"],
            )
        )
    return found


def parse_standards(standards_text: str, holds_text: str) -> dict[str, Standard]:
    """Standards with their rows, from the text of standards.toml and holds.csv.

    Raises
    ------
    TableError
        An entry that is incomplete or of unknown meat or condition; see `parse_holds`.
    """
    entries = tomllib.loads(standards_text)
    laws: dict[str, Law | None] = {}
    for name, entry in entries.items():
        place = f"standards.toml, '{name}'"
        for key in _STANDARD_TEXTS:
            if not entry.get(key):
                raise TableError(f"{place}: no {key}.")
        tables.source(entry["source"])
        for key, allowed in (("meats", MEATS), ("conditions", CONDITIONS)):
            strange = [item for item in entry[key] if item not in allowed]
            if strange:
                raise TableError(
                    f"{place}: unknown {key} {strange}; there are {', '.join(allowed)}."
                )
        laws[name] = _law(entry["law"], place) if "law" in entry else None
    rows = parse_holds(holds_text, laws)
    result = {}
    for name, entry in entries.items():
        if not any(row.usable for row in rows[name]):
            raise TableError(f"holds.csv: no usable row for the standard '{name}'.")
        result[name] = Standard(
            name=name,
            title=shown(marked_text(entry["title"]), "C"),
            revision=shown(marked_text(entry["revision"]), "C"),
            source=entry["source"],
            caution=shown(marked_text(entry["caution"]), "C"),
            organism=entry["organism"],
            meats=tuple(entry["meats"]),
            conditions=tuple(entry["conditions"]),
            moisture=entry["moisture"],
            target_log=entry.get("target_log"),
            counts=bool(entry.get("counts", False)),
            law=laws[name],
            view=entry.get("view"),
            marked={key: entry[key] for key in ("title", "revision", "caution")},
            rows=tuple(sorted(rows[name], key=lambda row: row.temperature_c)),
        )
    return result


def _law(entry: Mapping[str, object], place: str) -> Law:
    unit = str(entry["unit"])
    per_degree = _KELVIN_PER_FAHRENHEIT if unit == "degF" else 1.0
    z_below = _number(str(entry["z_below"]), place) * per_degree
    z_above = _number(str(entry["z_above"]), place) * per_degree
    if z_below > z_above:
        raise TableError(f"{place}: the smaller z belongs below the anchor.")
    return Law(
        anchor_c=_celsius(str(entry["anchor"]), unit, place),
        time_s=_number(str(entry["time_s"]), place),
        z_below_c=z_below,
        z_above_c=z_above,
    )


def parse_limits(text: str) -> tuple[BandLimit, ...]:
    """Limits on time in a band, from the text of a CSV.

    Raises
    ------
    TableError
        A row without unit, source or status, or with a remembered number.
    """
    found = []
    for place, row in _rows(text, "limits.csv"):
        if row["status"] != "read":
            raise TableError(f"{place}: a limit that was not read is no authority.")
        found.append(
            BandLimit(
                standard=row["standard"],
                title=row["title"],
                kind=row["kind"],
                from_c=_celsius(row["from"], row["temperature_unit"], place),
                to_c=_celsius(row["to"], row["temperature_unit"], place),
                limit_s=_seconds(row["limit"], row["time_unit"], place),
                default=row["default"] == "yes",
                source=row["source"],
                where=row["where"],
                status=row["status"],
                note=marked_text(row["note"]),
                dwell_s=_seconds(row["dwell"], "s", place) if row.get("dwell") else 0.0,
            )
        )
    return tuple(found)


def _text(name: str) -> str:
    return files("coreward.tables").joinpath(_FOLDER, name).read_text(encoding="utf-8")


@lru_cache(maxsize=1)
def _standards() -> dict[str, Standard]:
    return parse_standards(_text("standards.toml"), _text("holds.csv"))


def standard_names() -> tuple[str, ...]:
    """Names of all hold standards."""
    return tuple(_standards())


def load_standard(name: str) -> Standard:
    """Return a hold standard by name.

    Raises
    ------
    TableError
        No such standard; the message names near ones.
    """
    known = _standards()
    if name not in known:
        near = get_close_matches(name, known, n=3, cutoff=0.3) or list(known)
        raise TableError(f"no standard called '{name}'; try {', '.join(near)}.")
    return known[name]


def standards_for(
    meats: Sequence[str], conditions: str | Sequence[str]
) -> tuple[Standard, ...]:
    """Hold standards for a meat or a mixture in one or several states.

    The strictest of all rules holds for a mixture: what is made for any of its meats in
    any of its states is asked for.

    Raises
    ------
    TableError
        An unknown meat or condition.
    """
    states = (conditions,) if isinstance(conditions, str) else tuple(conditions)
    for meat in meats:
        if meat not in MEATS:
            raise TableError(f"no meat called '{meat}'; there are {', '.join(MEATS)}.")
    for state in states:
        if state not in CONDITIONS:
            raise TableError(f"no condition called '{state}'; use {', '.join(CONDITIONS)}.")
    return tuple(
        standard
        for standard in _standards().values()
        if any(standard.covers(meat, state) for meat in meats for state in states)
    )


@lru_cache(maxsize=1)
def band_limits() -> tuple[BandLimit, ...]:
    """All limits on come-up, cooling, hot holding and reheating."""
    return parse_limits(_text("limits.csv"))


@lru_cache(maxsize=1)
def published_d_values() -> tuple[PublishedD, ...]:
    """Return the published D values behind the kinetics."""
    found = []
    for place, row in _rows(_text("d_values.csv"), "d_values.csv"):
        if row["d_unit"] != "min":
            raise TableError(f"{place}: D in '{row['d_unit']}'; convert it to min.")
        found.append(
            PublishedD(
                organism=row["organism"],
                food=row["food"],
                temperature_c=_celsius(row["temperature"], row["temperature_unit"], place),
                low_min=_number(row["d_low"], place),
                high_min=_number(row["d_high"], place),
                kinetics=row["kinetics"],
                source=row["source"],
                status=row["status"],
            )
        )
    return tuple(found)
