"""From a body and a pit to a record: the course, the readings, the truths, the files."""

from __future__ import annotations

import csv
import io
from dataclasses import asdict, dataclass, fields
from pathlib import Path
from typing import Any, Protocol

import numpy as np
from library_pieces import Piece
from library_structures import BARE, Cover

EVERY_MIN = 5
MISSING = -32768
CHANNELS = ("read_air", "read_core", "true_air", "true_core")
AFTER_MIN = 15
"""How long a record goes on when the target is reached; the meat stays where it is."""


class Body(Protocol):
    """A piece of meat of whatever structure."""

    core_c: float

    def step(self, air_c: float, dew_c: float, cover: Cover) -> None:
        """Go on by a minute."""


@dataclass(frozen=True)
class Wrap:
    """A wrap that is put on when the core reaches a temperature."""

    kind: str = "none"
    at_core_c: float = float("inf")
    cover: Cover = BARE


@dataclass(frozen=True)
class Probe:
    """How a core probe and an air probe tell."""

    offset_c: float
    noise_c: float
    step_c: float
    lag_s: float
    air_offset_c: float
    air_noise_c: float
    gaps: int


@dataclass(frozen=True)
class Course:
    """What truly happened, minute by minute."""

    air_c: np.ndarray
    core_c: np.ndarray
    finish_s: float | None
    wrap_s: float | None


@dataclass(frozen=True)
class Standstill:
    """The longest standstill, and how long all of them took."""

    begin_s: float
    end_s: float
    hours: float


@dataclass(frozen=True)
class Row:
    """One line of cooks.csv. What a person would know comes first, then the truth."""

    cook: int
    cut: str
    shape: str
    mass_kg: float
    thickness_mm: float
    start_c: float
    fire: str
    water_pan: int
    pit_set_c: float
    wrap: str
    target_c: float
    probe_step_c: float
    structure: str
    wrap_s: float | None
    finish_s: float | None
    reading_finish_s: float | None
    standstill_begin_s: float | None
    standstill_end_s: float | None
    standstill_hours: float
    pit_trouble: str
    dew_point_c: float
    lids: int
    probe_offset_c: float
    probe_noise_c: float
    air_offset_c: float
    odd: int
    attempt: int
    first_row: int = 0
    rows: int = 0


@dataclass(frozen=True)
class Record:
    """One cook: its line, and its curves in hundredths of a degree every five minutes."""

    row: Row
    curves: dict[str, np.ndarray]


def march(
    body: Body, piece: Piece, air_c: np.ndarray, dew_c: np.ndarray | float, wrap: Wrap
) -> Course:
    """Cook a body until its target is reached, or the day is over.

    Parameters
    ----------
    body : Body
        The piece at its start.
    piece : Piece
        Its target.
    air_c : numpy.ndarray
        Air at each whole minute, °C.
    dew_c : numpy.ndarray or float
        Dew point of the air, °C.
    wrap : Wrap
        Put on when the core first reaches its temperature.

    Returns
    -------
    Course
        The course; `finish_s` is the first time at which the true core is at the target.
    """
    dew = np.broadcast_to(np.asarray(dew_c, dtype=float), air_c.shape)
    core = [body.core_c]
    finish = wrapped = None
    stop = len(air_c) - 1
    minute = 0
    while minute < stop:
        if wrapped is None and core[-1] >= wrap.at_core_c:
            wrapped = 60.0 * minute
        cover = BARE if wrapped is None else wrap.cover
        mean_air = 0.5 * (air_c[minute] + air_c[minute + 1])
        body.step(float(mean_air), float(dew[minute]), cover)
        core.append(body.core_c)
        if finish is None and core[-1] >= piece.target_c:
            share = (piece.target_c - core[-2]) / (core[-1] - core[-2])
            finish = 60.0 * (minute + share)
            stop = min(stop, minute + 1 + AFTER_MIN)
        minute += 1
    return Course(air_c[: len(core)], np.array(core), finish, wrapped)


def find_standstill(course: Course) -> Standstill | None:
    """Find where the true core stood still although the air was hot.

    The rule is the same for all structures. Over half an hour the core rises at less than
    2.5 K/h (the ends are followed to 4 K/h), it is above 45 °C, and the air leads it by at
    least 15 K and by two thirds of its usual lead, so that neither coming to rest at the
    pit's temperature nor a fire that dies counts. Gaps of twenty minutes are bridged, and
    less than three quarters of an hour does not count.
    """
    end = len(course.core_c) - 1 if course.finish_s is None else int(course.finish_s // 60)
    core, air = course.core_c[: end + 1], course.air_c[: end + 1]
    if end < 60:
        return None
    slope = np.full(end + 1, np.inf)
    slope[15 : end - 14] = (core[30:] - core[:-30]) / 0.5
    slope[end - 14 :] = slope[end - 15]
    steady = np.convolve(np.pad(air, 15, mode="edge"), np.full(31, 1 / 31), mode="valid")
    lead = steady - core
    usual = float(np.median(lead[core > 45])) if (core > 45).any() else 0.0
    hot = (core > 45) & (lead > max(15.0, 0.65 * usual))
    near = _runs(hot & (slope < 4.0), 20)
    strict = hot & (slope < 2.5)
    runs = [(a, b) for a, b in near if b - a >= 45 and strict[a:b].mean() > 0.5]
    if not runs:
        return None
    longest = max(runs, key=lambda run: run[1] - run[0])
    hours = sum(b - a for a, b in runs) / 60
    return Standstill(60.0 * longest[0], 60.0 * longest[1], hours)


def _runs(true: np.ndarray, bridge: int) -> list[tuple[int, int]]:
    """Return stretches of truth as (first, past the last), with short gaps bridged."""
    edges = np.flatnonzero(np.diff(np.concatenate([[0], true.astype(int), [0]])))
    runs: list[tuple[int, int]] = []
    for first, last in zip(edges[::2], edges[1::2], strict=True):
        if runs and first - runs[-1][1] <= bridge:
            runs[-1] = (runs[-1][0], int(last))
        else:
            runs.append((int(first), int(last)))
    return runs


def draw_probe(rng: np.random.Generator) -> Probe:
    """Draw a thermometer: common practice, no source."""
    return Probe(
        offset_c=float(np.clip(rng.normal(0.0, 0.7), -2.0, 2.0)),
        noise_c=float(rng.uniform(0.02, 0.25)),
        step_c=float(rng.choice([0.1, 0.5, 1.0, 5 / 9, 5 / 90])),
        lag_s=float(rng.uniform(15, 90)),
        air_offset_c=float(np.clip(rng.normal(-1.0, 2.0), -6.0, 5.0)),
        air_noise_c=float(rng.uniform(0.2, 1.0)),
        gaps=int(rng.integers(1, 4)) if rng.uniform() < 0.12 else 0,
    )


def read_out(course: Course, probe: Probe, rng: np.random.Generator) -> dict[str, np.ndarray]:
    """Return what the probes told and what was true, in hundredths of a degree.

    Parameters
    ----------
    course : Course
        The truth, minute by minute.
    probe : Probe
        The thermometers.
    rng : numpy.random.Generator
        Where noise and gaps come from.

    Returns
    -------
    dict
        The four `CHANNELS`, every five minutes; a missing reading is `MISSING`.
    """
    keep = float(np.exp(-60 / probe.lag_s))
    late = np.empty_like(course.core_c)
    told = course.core_c[0]
    for minute, core_c in enumerate(course.core_c):
        told = (1 - keep) * core_c + keep * told
        late[minute] = told
    take = slice(None, None, EVERY_MIN)
    true_air, true_core, late = course.air_c[take], course.core_c[take], late[take]
    count = len(true_core)
    step = probe.step_c
    core = late + probe.offset_c + rng.normal(0.0, probe.noise_c, count)
    air = true_air + probe.air_offset_c + rng.normal(0.0, probe.air_noise_c, count)
    curves = {
        "read_air": np.round(100 * step * np.round(air / step)),
        "read_core": np.round(100 * step * np.round(core / step)),
        "true_air": np.round(100 * true_air),
        "true_core": np.round(100 * true_core),
    }
    for _ in range(probe.gaps):
        start = int(rng.integers(2, max(count - 3, 3)))
        length = int(rng.integers(1, 5))
        curves["read_core"][start : start + length] = MISSING
        if rng.uniform() < 0.5:
            curves["read_air"][start : start + length] = MISSING
    if any(np.abs(values[values > MISSING]).max() > 32_000 for values in curves.values()):
        raise ValueError("a curve passes 320 °C, which hundredths in two bytes cannot hold")
    return {name: values.astype(np.int16) for name, values in curves.items()}


def first_reading_at(curves: dict[str, np.ndarray], target_c: float) -> float | None:
    """Return when a reading first shows the target, s."""
    there = np.flatnonzero(curves["read_core"] >= 100 * target_c - 1e-6)
    return None if len(there) == 0 else float(60 * EVERY_MIN * there[0])


def shown(value: Any) -> str:
    """Write a value of a line: empty for none, enough digits to rebuild it, no more."""
    if value is None:
        return ""
    if isinstance(value, float):
        return f"{value:.6g}"
    return str(value)


def write_files(records: list[Record], folder: Path) -> None:
    """Write cooks.csv and curves.npz; the same records give the same bytes."""
    names = [field.name for field in fields(Row)]
    text = io.StringIO()
    writer = csv.writer(text, lineterminator="\n")
    writer.writerow(names)
    first = 0
    for record in records:
        count = len(record.curves["true_core"])
        line = asdict(record.row) | {"first_row": first, "rows": count}
        writer.writerow([shown(line[name]) for name in names])
        first += count
    (folder / "cooks.csv").write_text(text.getvalue(), encoding="utf-8")
    columns = {
        name: np.concatenate([record.curves[name] for record in records]) for name in CHANNELS
    }
    np.savez_compressed(folder / "curves.npz", **columns)


def read_files(folder: Path) -> list[tuple[dict[str, str], dict[str, np.ndarray]]]:
    """Read cooks.csv and curves.npz: each cook's line and its curves.

    Parameters
    ----------
    folder : pathlib.Path
        The folder that holds both.

    Returns
    -------
    list
        Pairs of the line, as text, and the four curves in hundredths of a degree.
    """
    with (folder / "cooks.csv").open(encoding="utf-8", newline="") as file:
        lines = list(csv.DictReader(file))
    with np.load(folder / "curves.npz") as stored:
        columns = {name: stored[name] for name in CHANNELS}
    cooks = []
    for line in lines:
        part = slice(int(line["first_row"]), int(line["first_row"]) + int(line["rows"]))
        cooks.append((line, {name: values[part] for name, values in columns.items()}))
    return cooks
