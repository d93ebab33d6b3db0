"""An oracle for verdicts: it knows the truth of a cook second by second, and judges that.

Written apart from the package: nothing of `coreward` is imported here but the place of
its tables, whose rows are read as plain data. The rule is that of the guideline and the
codes named beside each part, and everything is a plain loop over seconds; the loops are
compiled only so that twenty thousand cooks take minutes.

The truth has no probe error. A *piece* is known at one or several *points* (where its
probes sit). The coldest point decides the kill and the come-up; every point and the
hottest of them at each moment decide what comes after.

Where the words of the rule leave something open, the oracle confirms by the *milder*
reading (so that an answer it does not confirm is wrong under every reading), and says
so at the place. `judge_with_margin` asks the opposite question: does the truth meet
everything by a stated margin, so that a careful judge with a healthy probe should see it?
"""

from __future__ import annotations

import csv
import importlib.util
import tomllib
from dataclasses import dataclass, field
from functools import lru_cache
from pathlib import Path

import numba
import numpy as np

SECOND = 1.0


def fahrenheit(value: float) -> float:
    """Return a temperature in °C."""
    return (value - 32.0) / 1.8


COME_UP_FROM_C = fahrenheit(50.0)
COME_UP_TO_C = fahrenheit(130.0)
COME_UP_LIMIT_S = 6 * 3600.0
"""Guideline of 2021, p. 23-24: at most 6 h between 50 and 130 °F before the kill."""

WARMEST_START_C = fahrenheit(70.0)
"""A record that begins warmer has missed a part of the come-up (assumed, table value)."""

STAY_TOP_C = fahrenheit(135.0)
STAY_MIDDLE_C = fahrenheit(70.0)
STAY_BOTTOM_C = fahrenheit(41.0)
STAY_UPPER_LIMIT_S = 2 * 3600.0
STAY_WHOLE_LIMIT_S = 6 * 3600.0
"""Food Code 3-501.14(A): 135 to 70 °F within 2 h, to 41 °F within 6 h in all."""

REHEATED_C = 74.0
REHEATED_DWELL_S = 15.0
REHEATING_LIMIT_S = 2 * 3600.0
"""Food Code 3-403.11: 74 °C for 15 s, within 2 h."""

LOWEST_ROW_C = fahrenheit(130.0)

INSTANT_STUFFED_F, STUFFED_DWELL_S = 165.0, 15.0
"""Food Code 3-401.11(A)(3): stuffed meat; the older editions ask 15 s, the newer none."""

SAME_STATE = {"injected": "tenderised", "minced": "ground"}

HUMID_LEAST_S, HUMID_LEAST_SHARE = 3600.0, 0.25
"""Guideline of 2021, table 1, option 3: 90 % for a quarter of the cook or 1 h."""
LARGE_PIECE_KG, LARGE_PIECE_OVEN_C = 4.5359237, fahrenheit(250.0)
"""Guideline of 2021, p. 31: 10 lb in an oven held at 250 °F needs no humidity."""


# --- the rows, read as data -------------------------------------------------------------


@dataclass(frozen=True)
class HoldRule:
    """One hold standard: rows of temperature and time, the longer of print and law."""

    name: str
    moisture: str
    rows_c: tuple[float, ...]
    rows_s: tuple[float, ...]


def tables_folder() -> Path:
    """Return the folder of the standards' rows, without importing the package's code."""
    spec = importlib.util.find_spec("coreward")
    assert spec is not None
    assert spec.origin is not None
    return Path(spec.origin).parent / "tables" / "standards_data"


@lru_cache(maxsize=1)
def hold_rules() -> dict[str, tuple[dict[str, object], HoldRule]]:
    """Return each hold standard's own words and its rows."""
    folder = tables_folder()
    words = tomllib.loads((folder / "standards.toml").read_text(encoding="utf-8"))
    times: dict[str, dict[float, float]] = {}
    with (folder / "holds.csv").open(encoding="utf-8", newline="") as lines:
        for row in csv.DictReader(lines):
            if row["usable"] != "yes":
                continue
            temperature = float(row["temperature"])
            if row["temperature_unit"] == "degF":
                temperature = fahrenheit(temperature)
            seconds = float(row["time"]) * (60.0 if row["time_unit"] == "min" else 1.0)
            if row["dwell"]:
                seconds = max(seconds, float(row["dwell"]))
            rows = times.setdefault(row["standard"], {})
            # Several printings of one row: the longest time.
            key = round(temperature, 9)
            rows[key] = max(rows.get(key, 0.0), seconds)
    rules = {}
    for name, rows in times.items():
        law = words[name].get("law")
        held = {}
        for temperature, seconds in sorted(rows.items()):
            if law is not None:
                anchor, width = float(law["anchor"]), 1.0
                if law["unit"] == "degF":
                    anchor, width = fahrenheit(anchor), 1.0 / 1.8
                slope = law["z_below"] if temperature < anchor else law["z_above"]
                by_law = law["time_s"] * 10 ** ((anchor - temperature) / (slope * width))
                seconds = max(seconds, round(by_law, 3))
            assert seconds > 0.0, f"{name}: a row without a time"
            held[temperature] = seconds
        rules[name] = (
            words[name],
            HoldRule(name, words[name]["moisture"], tuple(held), tuple(held.values())),
        )
    return rules


def deciding_rules(meats: tuple[str, ...], states: tuple[str, ...]) -> tuple[HoldRule, ...]:
    """Return the standards that decide: every meat's own, for every state, together."""
    chosen: dict[str, HoldRule] = {}
    plain = [SAME_STATE.get(state, state) for state in states]
    whole = {"intact", "tenderised", "rolled", "ground"}
    for name, (words, rule) in hold_rules().items():
        if not words["counts"]:
            continue
        for meat in meats:
            if meat not in words["meats"]:
                continue
            for state in plain:
                if state in words["conditions"] or (
                    # Not in a table that names it: what holds for meat in any state.
                    state == "stuffed" and whole <= set(words["conditions"])
                ):
                    chosen[name] = rule
    if "stuffed" in plain:
        chosen["stuffed meat"] = HoldRule(
            "stuffed meat", "none", (fahrenheit(INSTANT_STUFFED_F),), (STUFFED_DWELL_S,)
        )
    return tuple(chosen.values())


# --- plain loops over seconds -----------------------------------------------------------


@numba.njit(cache=True)
def coldest_of(points):
    """Return the lowest of the points at each second."""
    out = np.empty(points.shape[1])
    for i in range(points.shape[1]):
        lowest = points[0, i]
        for p in range(1, points.shape[0]):
            if points[p, i] < lowest:
                lowest = points[p, i]
        out[i] = lowest
    return out


@numba.njit(cache=True)
def hottest_of(points):
    """Return the highest of the points at each second."""
    out = np.empty(points.shape[1])
    for i in range(points.shape[1]):
        highest = points[0, i]
        for p in range(1, points.shape[0]):
            if points[p, i] > highest:
                highest = points[p, i]
        out[i] = highest
    return out


@numba.njit(cache=True)
def completions(coldest, rows_c, rows_s, rows_rule, rules):
    """Return when each standard is first completed, and the seconds of lethal heatings.

    A row is completed while the last so many seconds were all at or above it. A lethal
    heating is complete at the second in which every standard has been completed since
    the one before; what was completed before the coldest point fell under the lowest row
    of all does not add to a later heating.
    """
    seconds = coldest.size
    first = np.full(rules, -1.0)
    done_first = np.zeros(rules, dtype=np.bool_)
    done = np.zeros(rules, dtype=np.bool_)
    run = np.full(rows_c.size, -1.0)
    lethal = np.zeros(seconds, dtype=np.bool_)
    reached = -1.0
    lowest_row = rows_c[0]
    for r in range(rows_c.size):
        if rows_c[r] < lowest_row:
            lowest_row = rows_c[r]
    standing = True
    for i in range(seconds):
        if coldest[i] < lowest_row:
            if standing:
                standing = False
                for s in range(rules):
                    done[s] = False
                for r in range(rows_c.size):
                    run[r] = -1.0
            continue
        standing = True
        for r in range(rows_c.size):
            if coldest[i] >= rows_c[r]:
                run[r] += 1.0
            else:
                run[r] = -1.0
            if run[r] >= rows_s[r]:
                s = rows_rule[r]
                done[s] = True
                if not done_first[s]:
                    done_first[s] = True
                    first[s] = i
        if reached < 0.0:
            # The first time: each standard once, in whatever heating (the milder reading).
            every = True
            for s in range(rules):
                every = every and done_first[s]
            if every:
                reached = i
                lethal[i] = True
                for s in range(rules):
                    done[s] = False
        else:
            every = True
            for s in range(rules):
                every = every and done[s]
            if every:
                lethal[i] = True
                for s in range(rules):
                    done[s] = False
    return first, reached, lethal


@numba.njit(cache=True)
def seconds_between(series, low_c, high_c, begin, end):
    """Return how many seconds of [begin, end) lie between two temperatures."""
    total = 0.0
    for i in range(begin, end):
        if low_c <= series[i] <= high_c:
            total += 1.0
    return total


@numba.njit(cache=True)
def reheated_at(series, begin, bottom_c, reheated_c, dwell_s, limit_s):
    """Return when a warming from the cold has become a reheating in time, or -1."""
    run = 0.0
    for i in range(begin, series.size):
        if series[i] <= bottom_c:
            return -1
        if series[i] >= reheated_c:
            if run == 0.0 and i - begin > limit_s:
                return -1
            run += 1.0
            if run > dwell_s:
                return i
        else:
            run = 0.0
            if i - begin > limit_s:
                return -1
    return -1


@numba.njit(cache=True)
def stays(series, lethal, begin, bands, limits):
    """Return the longest times of stays since `begin` that no lethal heating separates.

    Bands: top, middle, bottom, reheated. Limits: dwell of a reheating and its time. The
    answer: most seconds between top and middle, most between top and bottom, where each
    was reached, and how many warmings from the cold came to the top but did not become a
    reheating in time.
    """
    top_c, middle_c, bottom_c, reheated_c = bands[0], bands[1], bands[2], bands[3]
    upper = 0.0
    whole = 0.0
    worst_upper = 0.0
    worst_whole = 0.0
    where_upper = -1.0
    where_whole = -1.0
    late_reheatings = 0.0
    cold = False
    warming = False
    free_until = -1
    for i in range(begin, series.size):
        value = series[i]
        if lethal[i]:
            upper = 0.0
            whole = 0.0
        if value <= bottom_c:
            cold = True
            warming = False
        elif cold:
            # Out of the cold: is this a reheating that reaches 74 °C in time?
            cold = False
            warming = True
            free_until = reheated_at(series, i, bottom_c, reheated_c, limits[0], limits[1])
        if warming and value >= top_c and free_until < 0:
            late_reheatings += 1.0
            warming = False
        if bottom_c < value < top_c and i >= free_until:
            whole += 1.0
            if value > middle_c:
                upper += 1.0
        if upper > worst_upper:
            worst_upper = upper
            where_upper = i
        if whole > worst_whole:
            worst_whole = whole
            where_whole = i
    return worst_upper, worst_whole, where_upper, where_whole, late_reheatings, upper, whole


# --- judging ----------------------------------------------------------------------------


@dataclass(frozen=True)
class Numbers:
    """What the limits are; the defaults are the sources' own.

    Attributes
    ----------
    rows_up_k, hold_more_s : float
        Added to every row's temperature and time.
    bands_out_k : float
        Both ends of every band move outwards by so much.
    limits_share, limits_less_s : float
        What is left of every limit of time: the share, less so many seconds.
    """

    rows_up_k: float = 0.0
    hold_more_s: float = 0.0
    bands_out_k: float = 0.0
    limits_share: float = 1.0
    limits_less_s: float = 0.0

    def limit(self, seconds: float) -> float:
        """Return a limit of time as it is asked for here."""
        return seconds * self.limits_share - self.limits_less_s


@dataclass(frozen=True, eq=False)
class TruePiece:
    """The truth of one piece over the time that the record covers.

    Attributes
    ----------
    name : str
    points_c : ndarray, shape (points, seconds)
        What each probe would have read if it had no error, every second of real time.
    moist_s : tuple of (float, float)
        Spans of the piece's own time in which the air had 90 % humidity or more.
    wet_surface : bool
        In a sealed bag, immersed, or otherwise where no humidity is asked for.
    oven_c : ndarray or None
        True air of the oven over the same seconds, where it was stated.
    mass_kg : float or None
    begins_s : float
        Second of the record's real time at which the piece's history begins.
    """

    name: str
    points_c: np.ndarray
    moist_s: tuple[tuple[float, float], ...] = ()
    wet_surface: bool = True
    oven_c: np.ndarray | None = None
    mass_kg: float | None = None
    begins_s: float = 0.0


@dataclass(frozen=True)
class PieceTruth:
    """What the truth of a piece meets.

    Attributes
    ----------
    name : str
    broken : tuple of (str, str)
        Kind and sentence of each thing that is not met, or not shown; none: met.
    lethality_s : float or None
        When every deciding standard had been completed once.
    come_up_s, upper_s, whole_s : float
        Time of the come-up, and the longest times of later stays that add up.
    """

    name: str
    broken: tuple[tuple[str, str], ...]
    lethality_s: float | None
    come_up_s: float
    upper_s: float
    whole_s: float
    completed_s: dict[str, float] = field(default_factory=dict)

    @property
    def met(self) -> bool:
        """Whether everything is met."""
        return not self.broken


def judge_piece(
    piece: TruePiece,
    meats: tuple[str, ...],
    states: tuple[str, ...],
    *,
    cooling_asked: bool = False,
    numbers: Numbers | None = None,
    rules: tuple[HoldRule, ...] | None = None,
    credit_from_s: float = 0.0,
) -> PieceTruth:
    """Judge the truth of one piece.

    Parameters
    ----------
    piece : TruePiece
    meats, states : tuple of str
        What the piece is made of, and what was done to it.
    cooling_asked : bool
        Whether the cooling has to be complete in the record.
    numbers : Numbers, optional
        Limits other than the sources' own.
    rules : tuple of HoldRule, optional
        Hold standards other than those of the tables.
    credit_from_s : float
        No kill before this second is credited (see `judged_with_credit_withheld`).

    Returns
    -------
    PieceTruth
    """
    numbers = numbers or Numbers()
    rules = rules or deciding_rules(meats, states)
    rows_c = np.array([c + numbers.rows_up_k for rule in rules for c in rule.rows_c])
    rows_s = np.array([s + numbers.hold_more_s for rule in rules for s in rule.rows_s])
    rows_rule = np.array([k for k, rule in enumerate(rules) for _ in rule.rows_s])
    points = np.ascontiguousarray(piece.points_c, dtype=float)
    coldest = coldest_of(points)
    credited = coldest.copy()
    for i in range(min(int(credit_from_s), credited.size)):
        credited[i] = -40.0
    first, reached, lethal = completions(credited, rows_c, rows_s, rows_rule, len(rules))
    end = coldest.size if reached < 0 else int(reached)
    broken: list[tuple[str, str]] = []

    if coldest[0] > WARMEST_START_C - numbers.bands_out_k:
        broken.append(
            ("began warm", f"the record begins at {coldest[0]:.2f} °C: a part is missing")
        )
    if reached < 0:
        missing = [rule.name for k, rule in enumerate(rules) if first[k] < 0]
        broken.append(
            ("no lethality", f"never completed: {', '.join(missing)}; peak {coldest.max():.2f}")
        )
    broken += _surface(piece, rules, end, numbers)

    come_up = seconds_between(
        coldest,
        COME_UP_FROM_C - numbers.bands_out_k,
        COME_UP_TO_C + numbers.bands_out_k,
        0,
        end,
    )
    if come_up > numbers.limit(COME_UP_LIMIT_S):
        broken.append(("come-up", f"{come_up / 3600:.3f} h between 10 and 54.44 °C"))

    upper = whole = 0.0
    if reached >= 0:
        begin = end
        if numbers.rows_up_k:
            # A careful judge counts stays from the earliest moment the kill may have been.
            _, soonest, _ = completions(
                credited, rows_c - 2.0 * numbers.rows_up_k, rows_s, rows_rule, len(rules)
            )
            begin = int(soonest)
        upper, whole, more = _later(piece, points, lethal, begin, numbers, cooling_asked)
        broken += more
    return PieceTruth(
        piece.name,
        tuple(broken),
        float(reached) if reached >= 0 else None,
        come_up,
        upper,
        whole,
        {rule.name: float(first[k]) for k, rule in enumerate(rules)},
    )


def _later(
    piece: TruePiece,
    points: np.ndarray,
    lethal: np.ndarray,
    begin: int,
    numbers: Numbers,
    cooling_asked: bool,
) -> tuple[float, float, list[tuple[str, str]]]:
    """Judge every stay after the kill, at each point and at the hottest of them."""
    out = numbers.bands_out_k
    bands = np.array(
        [STAY_TOP_C + out, STAY_MIDDLE_C - out, STAY_BOTTOM_C - out, REHEATED_C + out]
    )
    limits = np.array(
        [REHEATED_DWELL_S + numbers.hold_more_s, numbers.limit(REHEATING_LIMIT_S)]
    )
    series = [("point " + str(p + 1), points[p]) for p in range(points.shape[0])]
    if points.shape[0] > 1:
        series.append(("hottest point", hottest_of(points)))
    worst_upper = worst_whole = 0.0
    broken = []
    for name, values in series:
        upper, whole, at_upper, at_whole, late, _, _ = stays(
            values, lethal, begin, bands, limits
        )
        worst_upper, worst_whole = max(worst_upper, upper), max(worst_whole, whole)
        if upper > numbers.limit(STAY_UPPER_LIMIT_S):
            broken.append(
                (
                    "later stay, 2 h",
                    f"{name}: {upper / 3600:.3f} h from 57.2 to 21.1 °C by {at_upper:.0f} s",
                )
            )
        if whole > numbers.limit(STAY_WHOLE_LIMIT_S):
            broken.append(
                (
                    "later stay, 6 h",
                    f"{name}: {whole / 3600:.3f} h from 57.2 to 5 °C by {at_whole:.0f} s",
                )
            )
        # A reheating that is late adds to the stays, no more: the milder reading. With a
        # margin it counts as broken, so that nobody is asked to call it met.
        if late and numbers != Numbers():
            broken.append(("late reheating", f"{name}: not at 74 °C within 2 h"))
        # A cooling that was seen whole may be followed by a reheating: the milder reading.
        least = values[-1] if numbers != Numbers() else values[begin:].min()
        if cooling_asked and least > STAY_BOTTOM_C - out:
            broken.append(
                ("cooling not seen", f"{name}: the record ends at {values[-1]:.2f} °C")
            )
    return worst_upper, worst_whole, broken


def _surface(
    piece: TruePiece, rules: tuple[HoldRule, ...], end: int, numbers: Numbers
) -> list[tuple[str, str]]:
    """Judge what the standards ask of the surface while cooking, and not later."""
    if piece.wet_surface:
        return []
    needs = {rule.moisture for rule in rules} - {"none"}
    humid = 0.0
    for begin, stop in piece.moist_s:
        humid += max(0.0, min(stop, end) - max(begin, 0.0))
    least = max(HUMID_LEAST_S, HUMID_LEAST_SHARE * end) + numbers.hold_more_s
    hot_and_large = False
    if piece.oven_c is not None and piece.mass_kg is not None:
        lowest = float(np.min(piece.oven_c[: max(end, 1)]))
        hot_and_large = (
            lowest >= LARGE_PIECE_OVEN_C + numbers.rows_up_k and piece.mass_kg >= LARGE_PIECE_KG
        )
    broken = []
    for need in sorted(needs):
        if hot_and_large or (humid >= least and end >= HUMID_LEAST_S):
            continue
        broken.append(
            ("moist surface", f"{need}: {humid / 3600:.2f} h of humid air while cooking")
        )
    return broken


def judged_with_credit_withheld(
    piece: TruePiece,
    meats: tuple[str, ...],
    states: tuple[str, ...],
    margin: Numbers,
    *,
    cooling_asked: bool = False,
) -> PieceTruth | None:
    """Return a judgement that is met because a doubtful early kill is not counted as one.

    A judge who sees readings only cannot know that a short heating was just lethal: for
    him the come-up goes on. That is a reading of its own: the whole time is then held
    against the come-up's limit, and the kill that ends it lies after every long stay. Only
    a heating that is not lethal by the margin may be passed over so; one that a judge
    should see counts.
    """
    seen = judge_piece(piece, meats, states, numbers=margin).lethality_s
    coldest = coldest_of(np.ascontiguousarray(piece.points_c, dtype=float))
    below = coldest < LOWEST_ROW_C
    for i in range(1, coldest.size):
        if seen is not None and i > seen:
            break
        if below[i] and not below[i - 1]:
            truth = judge_piece(
                piece, meats, states, cooling_asked=cooling_asked, credit_from_s=float(i)
            )
            if truth.met:
                return truth
    return None


def judge_pieces(
    pieces: tuple[TruePiece, ...],
    meats: tuple[str, ...],
    states: tuple[str, ...],
    *,
    cooling_asked: bool = False,
    numbers: Numbers | None = None,
) -> tuple[PieceTruth, ...]:
    """Judge every piece; the record is met if all are."""
    return tuple(
        judge_piece(piece, meats, states, cooling_asked=cooling_asked, numbers=numbers)
        for piece in pieces
    )


def stated_margin(probe_error_c: float, step_s: float) -> Numbers:
    """Return the margin by which a truth must meet everything to be expected as met.

    The reading may be off by the probe error one way, and a careful judge takes it to be
    off as much the other way: twice the error on every row and band. Two steps are lost
    at each end of a hold or a band, and a twentieth of every limit is left free.
    """
    return Numbers(
        rows_up_k=2.0 * probe_error_c + 0.1,
        hold_more_s=2.0 * step_s,
        bands_out_k=2.0 * probe_error_c + 0.1,
        limits_share=0.95,
        limits_less_s=4.0 * step_s,
    )
