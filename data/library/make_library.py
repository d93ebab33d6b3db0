"""Make the library: 600 whole cooks of six structures, all computed, none measured.

Run from anywhere: ``python data/library/make_library.py``. It writes ``cooks.csv`` and
``curves.npz`` beside itself, the same bytes each time. ``--only 0 17`` makes single cooks
and prints them instead.

Each cook has its own seed, so that any of them can be made again alone. A draw whose total
time is not usual for its cut and pit (``practice.csv``) is drawn again, except that one
cook of each row may be odd: down to 0.62 of its least, up to 1.6 of its most. How often
draws were repeated is printed: it tells how far a structure is from what people see.
"""

from __future__ import annotations

import argparse
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from library_pieces import KINDS, Piece, Usual, draw_piece, how_usual, usual_times
from library_pits import Pit, draw_pit
from library_records import (
    Course,
    Cover,
    Record,
    Row,
    Wrap,
    draw_probe,
    find_standstill,
    first_reading_at,
    march,
    read_out,
    write_files,
)
from library_structures import STRUCTURES

HERE = Path(__file__).resolve().parent
SEED = 20_261_130
COOKS = 600
ATTEMPTS = 120
ODD = (0.62, 1.6)
"""Least and most of an odd cook's time, as shares of the usual range's ends."""


@dataclass(frozen=True)
class Plan:
    """What cook number n is to be, before anything is drawn."""

    number: int
    structure: str
    cut: str
    usual: Usual
    never: str
    odd: bool


def plan_of(number: int) -> Plan:
    """Return what cook number ``number`` is to be: all combinations take their turns."""
    structures, cuts = list(STRUCTURES), list(KINDS)
    turn, place = number // len(structures), number % len(structures)
    cut = cuts[turn % len(cuts)]
    rows = [row for row in usual_times() if row.cut == cut]
    never = ""
    if number % 25 == 24:
        # Nobody sets a pit so low that it cannot bring a roast to 55 °C.
        never = "too_low" if KINDS[cut].target_c[0] > 80 else "dying"
    round_, index = divmod(turn, len(cuts))
    usual = rows[(round_ + place) % len(rows)]
    # One odd cook for each row of the table, of changing structures.
    odd = not never and round_ == 1 and 0 <= place - index % 3 < len(rows)
    return Plan(number, structures[place], cut, usual, never, odd)


def draw_wrap(piece: Piece, rng: np.random.Generator) -> Wrap:
    """Draw whether, in what and when a piece is wrapped; ranges are common practice."""
    if rng.uniform() >= KINDS[piece.cut].wrapped_share:
        return Wrap()
    at = min(rng.uniform(58, 82), piece.target_c - 5)
    if rng.uniform() < 0.4:
        return Wrap("paper", at, Cover(rng.uniform(0.1, 0.55), rng.uniform(0.82, 1.0)))
    return Wrap("foil", at, Cover(rng.uniform(0.0, 0.05), rng.uniform(0.7, 0.98)))


def draw_setting(plan: Plan, piece: Piece, rng: np.random.Generator) -> tuple[float, Piece]:
    """Draw the pit's setting inside the row of usual times, and a target it can reach."""
    setting = float(np.floor(rng.uniform(plan.usual.pit_from_c, plan.usual.pit_to_c)))
    target = piece.target_c
    if plan.never == "too_low":
        setting = min(setting, float(np.floor(target - rng.uniform(4, 12))))
    else:
        target = min(target, setting - 8)
    return setting, Piece(
        piece.cut, piece.shape, piece.mass_kg, piece.thickness_m, piece.start_c, target
    )


def acceptable(plan: Plan, course: Course, piece: Piece, chance: float) -> bool:
    """Return whether the course is one that its plan asks for; ``chance`` was drawn."""
    if plan.never:
        last = course.air_c[-120:]
        return course.finish_s is None and bool((last < piece.target_c - 1).all())
    if course.finish_s is None:
        return False
    hours = course.finish_s / 3600
    low, high = plan.usual.hours_from, plan.usual.hours_to
    if plan.odd:
        return ODD[0] * low <= hours <= ODD[1] * high
    return chance < how_usual(plan.usual, hours)


def attempt_cook(number: int, attempt: int) -> Record | None:
    """Make one attempt at a cook.

    Parameters
    ----------
    number : int
        Which cook.
    attempt : int
        Which attempt; each has its own seed.

    Returns
    -------
    Record or None
        None where the total time is not usual, or the wrong thing came to an end.
    """
    plan = plan_of(number)
    rng = np.random.default_rng([SEED, number, attempt])
    setting, piece = draw_setting(plan, draw_piece(plan.cut, rng), rng)
    trouble = plan.never or str(
        rng.choice(["none", "drift", "dying_refuelled", "changed"], p=[0.62, 0.15, 0.08, 0.15])
    )
    usual_h = float(np.sqrt(plan.usual.hours_from * plan.usual.hours_to))
    horizon = plan.usual.hours_to * 1.25 + 4 if plan.never else plan.usual.hours_to * 1.65
    pit = draw_pit(setting, trouble, usual_h, horizon, rng)
    wrap = draw_wrap(piece, rng)
    stalls = bool(rng.uniform() < KINDS[plan.cut].standstill_share)
    body = STRUCTURES[plan.structure](piece, setting, pit.film_w_m2k, stalls, rng)
    course = march(body, piece, pit.air_c, pit.dew_point_c, wrap)
    if not acceptable(plan, course, piece, float(rng.uniform())):
        return None
    return record_of(plan, attempt, piece, pit, wrap, course, rng)


def record_of(
    plan: Plan,
    attempt: int,
    piece: Piece,
    pit: Pit,
    wrap: Wrap,
    course: Course,
    rng: np.random.Generator,
) -> Record:
    """Read a course with a drawn thermometer and write its line."""
    probe = draw_probe(rng)
    curves = read_out(course, probe, rng)
    still = find_standstill(course)
    row = Row(
        cook=plan.number,
        cut=piece.cut,
        shape=piece.shape,
        mass_kg=piece.mass_kg,
        thickness_mm=round(1000 * piece.thickness_m),
        start_c=piece.start_c,
        fire=pit.fire,
        water_pan=int(pit.water_pan),
        pit_set_c=pit.set_c,
        wrap=wrap.kind if course.wrap_s is not None else "none",
        target_c=piece.target_c,
        probe_step_c=probe.step_c,
        structure=plan.structure,
        wrap_s=course.wrap_s,
        finish_s=course.finish_s,
        reading_finish_s=first_reading_at(curves, piece.target_c),
        standstill_begin_s=still.begin_s if still else None,
        standstill_end_s=still.end_s if still else None,
        standstill_hours=still.hours if still else 0.0,
        pit_trouble=pit.trouble,
        dew_point_c=pit.dew_point_c,
        lids=pit.lids,
        probe_offset_c=probe.offset_c,
        probe_noise_c=probe.noise_c,
        air_offset_c=probe.air_offset_c,
        odd=int(plan.odd),
        attempt=attempt,
    )
    return Record(row, curves)


def make_cook(number: int) -> Record:
    """Make cook number ``number``: its first acceptable attempt."""
    for attempt in range(ATTEMPTS):
        record = attempt_cook(number, attempt)
        if record is not None:
            return record
    raise RuntimeError(f"no usual cook in {ATTEMPTS} attempts: {plan_of(number)}")


def main() -> None:
    """Make the library, or single cooks of it."""
    parser = argparse.ArgumentParser(description="Make the library of computed cooks.")
    parser.add_argument("--only", type=int, nargs="*", help="numbers of single cooks to print")
    chosen = parser.parse_args().only
    if chosen:
        for number in chosen:
            print(make_cook(number).row)
        return
    records = [make_cook(number) for number in range(COOKS)]
    write_files(records, HERE)
    for structure in STRUCTURES:
        attempts = [r.row.attempt + 1 for r in records if r.row.structure == structure]
        print(f"{structure}: one draw in {np.mean(attempts):.1f} was usual")


if __name__ == "__main__":
    main()
