"""Make the judge set: 108 whole cooks of three structures that the library does not have.

Run from anywhere: ``python data/library/judge/make_judge.py``. It writes ``cooks.csv`` and
``curves.npz`` beside itself, the same bytes each time. Its pits are of another making than
the library's too. Cuts, usual times, thermometers, the rule for standstills and the layout
of the files are shared with it.

Nothing may be tuned on these cooks. README.md says how they are to be used.
"""

from __future__ import annotations

import sys
from dataclasses import dataclass
from pathlib import Path

import numpy as np

HERE = Path(__file__).resolve().parent
sys.path[:0] = [str(HERE), str(HERE.parent)]

from judge_structures import JUDGE_STRUCTURES  # noqa: E402
from library_pieces import KINDS, Piece, Usual, draw_piece, how_usual, usual_times  # noqa: E402
from library_records import (  # noqa: E402
    Course,
    Record,
    Row,
    Standstill,
    Wrap,
    draw_probe,
    find_standstill,
    first_reading_at,
    march,
    read_out,
    write_files,
)
from library_structures import Cover  # noqa: E402

SEED = 77_230_011
COOKS = 108
ATTEMPTS = 400
LONG = (1.5, 6.0)
"""A long standstill, h: three in five cooks of the soft cuts are asked to have one."""


@dataclass(frozen=True)
class Day:
    """A pit's day: what the air did, and why."""

    fire: str
    pan: bool
    trouble: str
    film: float
    lids: int
    air_c: np.ndarray
    dew_c: np.ndarray


@dataclass(frozen=True)
class Wish:
    """What a cook of the judge set is to be."""

    number: int
    structure: str
    cut: str
    usual: Usual
    never: bool
    long_still: bool


def wish_of(number: int) -> Wish:
    """Return what judge cook ``number`` is to be."""
    structures, cuts = list(JUDGE_STRUCTURES), list(KINDS)
    turn, place = divmod(number, len(structures))
    cut = cuts[(turn * 5 + 7 * place) % len(cuts)]
    rows = [row for row in usual_times() if row.cut == cut]
    usual = rows[(turn // 3 + place) % len(rows)]
    never = number % 17 == 16
    soft = KINDS[cut].target_c[0] > 80
    long_still = soft and not never and turn % 5 < 3 and usual.hours_from > 2.5
    return Wish(number, structures[place], cut, usual, never, long_still)


def burn(setting: float, wish: Wish, horizon_h: float, rng: np.random.Generator) -> Day:
    """Draw a day: a fire as heat that is put in, lost through walls, and fed in portions.

    The air is a store that fuel warms and the walls cool. A thermostat feeds in bursts, a
    person by hand and late; fuel burns down between. This is not how the library's pits are
    drawn: their air is a level with wanderings on it.
    """
    minutes = int(horizon_h * 60) + 1
    outside = rng.uniform(2, 28)
    fire = str(rng.choice(["thermostat", "charcoal", "wood"], p=[0.4, 0.4, 0.2]))
    middle = float(np.sqrt(wish.usual.hours_from * wish.usual.hours_to)) * 60
    trouble = str(
        rng.choice(["none", "drift", "dying_refuelled", "changed"], p=[0.6, 0.15, 0.1, 0.15])
    )
    if wish.never:
        trouble = "dying"
        fire = "charcoal"
    if trouble == "dying_refuelled" and fire == "thermostat":
        fire = "wood"
    goal = np.full(minutes, setting + rng.normal(0, 3))
    clock = np.arange(minutes)
    if trouble == "changed":
        goal[int(middle * rng.uniform(0.3, 0.7)) :] += rng.choice([-10, 10, 14, 20])
    if trouble == "drift":
        goal += rng.choice([-1, 1]) * rng.uniform(4, 14) * clock / middle
    fails = int(middle * rng.uniform(0.2, 0.6))
    lasts = int(rng.uniform(35, 110)) if trouble == "dying_refuelled" else minutes
    walls = rng.uniform(12, 40)
    feed_every = {"thermostat": 1, "charcoal": 15, "wood": 35}[fire]
    clumsy = {"thermostat": 0.03, "charcoal": 0.08, "wood": 0.15}[fire]
    lid_rate = rng.uniform(0.0, 0.35 if fire == "thermostat" else 0.55) / 60
    air = np.empty(minutes)
    air[0] = setting - (rng.uniform(0, 70) if rng.uniform() < 0.4 else 0.0)
    heat, lid_left, lids = 1.0, 0, 0
    for minute in range(1, minutes):
        failing = trouble.startswith("dying") and fails <= minute < fails + lasts
        if minute % feed_every == 0 and not failing:
            short = (goal[minute] - air[minute - 1]) / 150
            heat = float(np.clip(1 + short + rng.normal(0, clumsy), 0.75, 1.25))
        if failing:
            heat *= 1 - 1 / rng.uniform(30, 80)
        if lid_left == 0 and minute > 20 and rng.uniform() < lid_rate:
            lid_left = int(rng.integers(1, 5))
            lids += 1
        target = outside + heat * (goal[minute] - outside)
        pace = 1 / walls
        if lid_left > 0:
            target, pace, lid_left = outside + 45, 0.2, lid_left - 1
        air[minute] = air[minute - 1] + pace * (target - air[minute - 1])
    pan = bool(rng.uniform() < 0.3)
    dew = rng.uniform(45, 64) if pan else rng.uniform(10, 45)
    # Dampness rises while the meat is young and the pan full, and falls later.
    course = dew + rng.uniform(0, 10) * np.exp(
        -(((clock - 0.25 * middle) / (0.3 * middle)) ** 2)
    )
    film = rng.uniform(10, 18) if fire != "thermostat" else rng.uniform(14, 25)
    air = np.maximum(air, outside)
    return Day(fire, pan, trouble, film, lids, air, course)


def try_cook(number: int, attempt: int) -> Record | None:
    """Make one attempt at a judge cook; None where it is not what was wished."""
    wish = wish_of(number)
    rng = np.random.default_rng([SEED, number, attempt])
    piece = draw_piece(wish.cut, rng)
    setting = float(np.floor(rng.uniform(wish.usual.pit_from_c, wish.usual.pit_to_c)))
    target = min(piece.target_c, setting - 8)
    piece = Piece(
        piece.cut, piece.shape, piece.mass_kg, piece.thickness_m, piece.start_c, target
    )
    horizon = wish.usual.hours_to * 1.3 + (4 if wish.never else 0.5)
    day = burn(setting, wish, horizon, rng)
    wrap = Wrap()
    # A long standstill is rare under a wrap: the other soft cuts are wrapped the more often.
    soft = KINDS[wish.cut].target_c[0] > 80
    share = 0.65 if soft and not wish.long_still else KINDS[wish.cut].wrapped_share
    if rng.uniform() < share:
        at = float(np.clip(rng.normal(76 if wish.long_still else 70, 6), 56, target - 4))
        paper = rng.uniform() < 0.45
        cover = Cover(rng.uniform(0.15, 0.6), 0.95) if paper else Cover(0.02, 0.85)
        wrap = Wrap("paper" if paper else "foil", at, cover)
    stalls = wish.long_still or bool(rng.uniform() < KINDS[wish.cut].standstill_share)
    body = JUDGE_STRUCTURES[wish.structure](piece, day.film, stalls, rng)
    course = march(body, piece, day.air_c, day.dew_c, wrap)
    still = find_standstill(course)
    if not _as_wished(wish, course, still, piece, float(rng.uniform())):
        return None
    probe = draw_probe(rng)
    curves = read_out(course, probe, rng)
    row = Row(
        cook=number,
        cut=piece.cut,
        shape=piece.shape,
        mass_kg=piece.mass_kg,
        thickness_mm=round(1000 * piece.thickness_m),
        start_c=piece.start_c,
        fire=day.fire,
        water_pan=int(day.pan),
        pit_set_c=setting,
        wrap=wrap.kind if course.wrap_s is not None else "none",
        target_c=target,
        probe_step_c=probe.step_c,
        structure=wish.structure,
        wrap_s=course.wrap_s,
        finish_s=course.finish_s,
        reading_finish_s=first_reading_at(curves, target),
        standstill_begin_s=still.begin_s if still else None,
        standstill_end_s=still.end_s if still else None,
        standstill_hours=still.hours if still else 0.0,
        pit_trouble=day.trouble,
        dew_point_c=float(np.mean(day.dew_c[: len(course.core_c)])),
        lids=day.lids,
        probe_offset_c=probe.offset_c,
        probe_noise_c=probe.noise_c,
        air_offset_c=probe.air_offset_c,
        odd=0,
        attempt=attempt,
    )
    return Record(row, curves)


def _as_wished(
    wish: Wish, course: Course, still: Standstill | None, piece: Piece, chance: float
) -> bool:
    """Return whether a course is what was wished: usual in time, long in its standstill."""
    if wish.never:
        return course.finish_s is None and bool(
            (course.air_c[-120:] < piece.target_c - 1).all()
        )
    if course.finish_s is None:
        return False
    if wish.long_still:
        length = 0.0 if still is None else (still.end_s - still.begin_s) / 3600
        if not LONG[0] <= length <= LONG[1]:
            return False
    return chance < how_usual(wish.usual, course.finish_s / 3600)


def make_cook(number: int) -> Record:
    """Make judge cook ``number``: its first attempt that is as wished."""
    for attempt in range(ATTEMPTS):
        record = try_cook(number, attempt)
        if record is not None:
            return record
    raise RuntimeError(f"not as wished in {ATTEMPTS} attempts: {wish_of(number)}")


def main() -> None:
    """Make the judge set."""
    records = [make_cook(number) for number in range(COOKS)]
    write_files(records, HERE)
    for structure in JUDGE_STRUCTURES:
        attempts = [r.row.attempt + 1 for r in records if r.row.structure == structure]
        print(f"{structure}: one draw in {np.mean(attempts):.1f} was as wished")


if __name__ == "__main__":
    main()
