"""What the own cooks of one pit have taught about it.

Three numbers of a pit are believed beforehand, each with a doubt, and each of its cooks
narrows them by the usual update of a normal law whose mean and spread are unknown (prior:
table ``pace``): how far its probe stays off what it is set to, how steady it is, and how
much longer its cooks take than is usual for their cut and thickness. A pit that was rebuilt,
moved or fired otherwise is another pit: where two are far likelier than one, only the cooks
since count.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from functools import cache
from typing import Final

import numpy as np
from scipy import special

from coreward import tables
from coreward.errors import CorewardError
from coreward.experience.library import library_cooks
from coreward.experience.past_cook import Floats, PastCook
from coreward.plain import apart, told_as
from coreward.words import Difference, Text, say, together

_NINE_TENTHS: Final = 0.9
# A cook so seldom or more seldom, by those before it, is told of.
_RARE: Final = 0.05
# The first while after lighting and after the lid is no level of the pit.
_SETTLING_S: Final = 2700.0
_LEAST_LEVEL_S: Final = 1800.0
# An open lid is no unsteadiness: the middle of the scatter is taken, as a normal law has it.
_MAD: Final = 1.4826
_LEAST_SCATTER_K: Final = 0.2
# Of one pace to another, below which nobody would speak of a change.
_SAME_PACE: Final = 0.02
# Of the draws of a plan, that must count after they were weighed.
_LEAST_SHARE: Final = 0.2


@dataclass(frozen=True)
class Believed:
    """What the next cook will show: a Student law."""

    middle: float
    spread: float
    """Its centre and its scale."""
    freedom: float
    """Its degrees of freedom."""

    def half_width(self, chance: float = _NINE_TENTHS) -> float:
        """How far from the middle the next one lies at most, with a chance."""
        return self.spread * float(special.stdtrit(self.freedom, 0.5 + 0.5 * chance))

    def surprise(self, value: float) -> float:
        """Chance of one that lies as far from the middle, or further. [-]."""
        off = abs(value - self.middle) / self.spread
        return 2.0 * float(special.stdtr(self.freedom, -off))

    def log_density(self, value: Floats) -> Floats:
        """Logarithm of the density."""
        n = self.freedom
        scale = special.gammaln(0.5 * (n + 1.0)) - special.gammaln(0.5 * n)
        scale -= 0.5 * math.log(n * math.pi) + math.log(self.spread)
        off = (np.asarray(value, dtype=float) - self.middle) / self.spread
        return np.asarray(scale - 0.5 * (n + 1.0) * np.log1p(off * off / n))


@dataclass(frozen=True)
class _Law:
    """A normal law of unknown mean and spread, as it is believed before any value.

    `between` is how far the mean may lie from `middle`, `within` what the spread is taken
    for, worth so many values.
    """

    middle: float
    between: float
    within: float
    worth: float

    def after(self, values: Floats) -> tuple[float, float, float, float]:
        """Mean, weight of the mean, shape and rate of the spread, after some values."""
        weight, shape = (self.within / self.between) ** 2, 0.5 * self.worth
        rate, n = shape * self.within**2, len(values)
        if not n:
            return self.middle, weight, shape, rate
        mean = float(np.mean(values))
        off = weight * n * (mean - self.middle) ** 2 / (weight + n)
        return (
            (weight * self.middle + n * mean) / (weight + n),
            weight + n,
            shape + 0.5 * n,
            rate + 0.5 * float(np.sum((values - mean) ** 2)) + 0.5 * off,
        )

    def next_one(self, values: Floats) -> Believed:
        """What the next value is believed to be."""
        mean, weight, shape, rate = self.after(values)
        return Believed(mean, math.sqrt(rate * (weight + 1.0) / (shape * weight)), 2.0 * shape)

    def log_evidence(self, *groups: Floats) -> float:
        """Logarithm of how likely the values are, if each group has a mean of its own.

        All have one spread: two cooks could not tell two.
        """
        shape, rate, least = 0.5 * self.worth, 0.5 * self.worth * self.within**2, 0.0
        start = (math.lgamma(shape), shape * math.log(rate))
        count = 0
        for values in groups:
            _, weight_0, _, rate_0 = self.after(values[:0])
            _, weight, _, rate_1 = self.after(values)
            least += 0.5 * math.log(weight_0 / weight)
            rate += rate_1 - rate_0
            count += len(values)
        shape += 0.5 * count
        least -= 0.5 * count * math.log(2.0 * math.pi)
        return least + math.lgamma(shape) - shape * math.log(rate) - start[0] + start[1]


@dataclass(frozen=True)
class Change:
    """A cook from which on a pit is another one."""

    since: str
    """Name of the first cook of the pit as it is now."""
    pace: float
    """How many times as long its cooks take since. [-]"""
    offset_k: float
    """How much hotter it reads against its setting since. [K]"""
    odds: float
    """How many times likelier two pits are than one. [-]"""


def _names(cooks: tuple[PastCook, ...]) -> tuple[str, ...]:
    return tuple(cook.name for cook in cooks)


def _nine_tenths(law: Believed) -> dict[str, float]:
    wide = law.half_width()
    return {"p5": law.middle - wide, "p50": law.middle, "p95": law.middle + wide}


def _ratios(law: Believed) -> dict[str, float]:
    return {key: math.exp(value) for key, value in _nine_tenths(law).items()}


@dataclass(frozen=True)
class Learned:
    """What the cooks of a pit have taught."""

    pit: str
    cooks: tuple[PastCook, ...] = field(metadata=told_as(told=_names))
    """Those that count: all of the pit, or those since a change."""
    pace: Believed = field(metadata=told_as("time_against_usual", _ratios))
    """Logarithm of the whole time of the next cook over the usual one. [-]"""
    offset_k: Believed = field(metadata=told_as(told=_nine_tenths))
    """Level that the pit's probe shows, less what it is set to. [K]"""
    unsteady: Believed = field(metadata=apart())
    """Logarithm of the scatter of its air about its level. [ln K]"""
    paces: int
    """How many of the cooks had a pace: finished, and of a known size."""
    narrower: float
    """By what share the band of a whole cook's time is narrower than without them. [-]"""
    changed: Change | None = None
    departed: Text = ""
    """Sentence on the last cook, where it alone departs from those before; else empty."""

    @property
    def enough(self) -> bool:
        """Whether there are cooks enough to say something."""
        return len(self.cooks) >= _table()["fewest"]

    @property
    def said(self) -> tuple[Text, ...]:
        """What was learned, in sentences."""
        return tuple(_said(self))


def learned(cooks: Iterable[PastCook], pit: str) -> Learned:
    """Tell what the cooks of a pit have taught.

    Parameters
    ----------
    cooks : iterable of PastCook
        The earliest first; those of other pits, and of the library, are passed over.
    """
    wanted = same_name(pit)
    mine = [cook for cook in cooks if cook.origin == "own" and same_name(cook.pit) == wanted]
    laws = _laws()
    table = np.array([_told(cook) for cook in mine]).reshape(len(mine), len(laws))
    change, first = _change(mine, table, laws)
    departed = _departed(mine[first:], table[first:], laws)
    now = table[first:]
    pace, offset, unsteady = (law.next_one(_known(now[:, i])) for i, law in enumerate(laws))
    blank = laws[0].next_one(np.empty(0)).half_width()
    return Learned(
        pit=mine[-1].pit if mine else pit,
        cooks=tuple(mine[first:]),
        pace=pace,
        offset_k=offset,
        unsteady=unsteady,
        paces=len(_known(now[:, 0])),
        narrower=1.0 - pace.half_width() / blank,
        changed=change,
        departed=departed,
    )


def pits(cooks: Iterable[PastCook]) -> tuple[str, ...]:
    """Return the names of the pits of own cooks, the latest spelling of each."""
    found = {same_name(cook.pit): cook.pit for cook in cooks if cook.origin == "own"}
    return tuple(found.values())


def same_name(pit: str) -> str:
    """Return a name as it is compared."""
    return " ".join(pit.casefold().split())


def usual_s(cook: PastCook) -> float | None:
    """Return the usual time of a cook's cut and thickness; None of an unknown size. [s].

    A rule of thumb (common practice, no source; table ``pace``) that only makes cooks of
    different pieces comparable with each other.
    """
    thick = cook.thickness_m or usual_thickness(cook.cut, cook.mass_kg)
    if thick is None:
        return None
    return usual_time(
        cook.cut, thick, cook.pit_set_c, cook.target_c, cook.start_c, wrap=cook.wrap
    )


def usual_time(
    cut: str,
    thickness_m: float,
    pit_c: float,
    target_c: float,
    start_c: float,
    *,
    wrap: str | None = None,
) -> float:
    """Return the usual time of a piece; see `usual_s`. [s]."""
    table = _table()
    excess = max(pit_c - target_c, table["least_excess"])
    warming = math.log(max((pit_c - start_c) / excess, 1.05))
    time = table["time"] * (thickness_m / table["thickness"]) ** table["exponent"] * warming
    if "ribs" in cut.split():
        time *= table["ribs"]
    return float(time if wrap is None else time * table[wrap])


@cache
def usual_thickness(cut: str, mass_kg: float | None) -> float | None:
    """Return the thickness of a usual piece of a mass; None if it is not known. [m]."""
    if mass_kg is None:
        return None
    from coreward.cook.usual_piece import piece  # late: it loads the engine's shapes

    try:
        return float(piece(cut, mass_kg).shape.size)
    except CorewardError:
        return None


def _table() -> tables.ParameterSet:
    return tables.load("pace")


def _laws() -> tuple[_Law, _Law, _Law]:
    """Laws of pace, offset and unsteadiness."""
    t = _table()
    worth = t["worth"]
    return (
        _Law(0.0, t["pace_between"], t["pace_within"], worth),
        _Law(0.0, t["offset_between"], t["offset_within"], worth),
        _Law(math.log(t["unsteady"]), t["unsteady_between"], t["unsteady_within"], worth),
    )


def _told(cook: PastCook) -> tuple[float, float, float]:
    """Pace, offset and unsteadiness of one cook; NaN where it does not tell. [ln, K, ln K]."""
    usual = usual_s(cook)
    pace = math.nan
    if usual is not None and cook.finish_s is not None and cook.finish_s > 0.0:
        pace = math.log(cook.finish_s / usual)
    end = math.inf if cook.finish_s is None else cook.finish_s
    level = cook.air_c[(cook.time_s >= _SETTLING_S) & (cook.time_s <= end)]
    level = level[np.isfinite(level)]
    step = float(cook.time_s[1] - cook.time_s[0])
    if len(level) * step < _LEAST_LEVEL_S:
        return pace, math.nan, math.nan
    middle = float(np.median(level))
    scatter = _MAD * float(np.median(np.abs(level - middle)))
    return pace, middle - cook.pit_set_c, math.log(max(scatter, _LEAST_SCATTER_K))


def _known(values: Floats) -> Floats:
    return np.asarray(values[np.isfinite(values)])


def _change(
    cooks: Sequence[PastCook], table: Floats, laws: Sequence[_Law]
) -> tuple[Change | None, int]:
    """The last change of a pit, and the place of the first cook since."""
    fewest = int(_table()["fewest"])
    found, first = None, 0
    while True:
        part = table[first:]
        best, place = 0.0, None
        for k in range(fewest, len(part)):
            odds = sum(
                law.log_evidence(_known(part[:k, i]), _known(part[k:, i]))
                - law.log_evidence(_known(part[:, i]))
                for i, law in enumerate(laws[:2])
            )
            if odds > best:
                best, place = odds, k
        if place is None or best < math.log(_table()["changed_odds"]):
            return found, first
        before, after = part[:place], part[place:]
        found = Change(
            since=cooks[first + place].name,
            pace=math.exp(_moved(before[:, 0], after[:, 0])),
            offset_k=_moved(before[:, 1], after[:, 1]),
            odds=math.exp(min(best, 50.0)),
        )
        first += place


def _moved(before: Floats, after: Floats) -> float:
    was, now = _known(before), _known(after)
    return float(now.mean() - was.mean()) if was.size and now.size else 0.0


def _departed(cooks: Sequence[PastCook], table: Floats, laws: Sequence[_Law]) -> Text:
    """Say how the last cook departs from those before it, where it does."""
    if len(cooks) <= _table()["fewest"]:
        return ""
    last = table[-1]
    expected = [law.next_one(_known(table[:-1, i])) for i, law in enumerate(laws)]
    parts: list[Text] = []
    if math.isfinite(last[0]) and expected[0].surprise(last[0]) < _RARE:
        times = math.exp(float(last[0]) - expected[0].middle)
        parts.append(f"took {times:.2f} times as long as those before would have it")
    if math.isfinite(last[1]) and expected[1].surprise(last[1]) < _RARE:
        off = float(last[1]) - expected[1].middle
        way = "hotter" if off > 0.0 else "cooler"
        parts.append(say(f"was {{0}} {way} against its setting", Difference(abs(off), 0)))
    if not parts:
        return ""
    return say(
        "The last of them, '{0}', {1}: if the next one does so too, this pit has changed.",
        cooks[-1].name,
        together(parts, ", and "),
    )


def _said(answer: Learned) -> Iterable[Text]:
    count = len(answer.cooks)
    cooks = f"{count} cook{'' if count == 1 else 's'}"
    if answer.changed is not None:
        change = answer.changed
        ways: list[Text] = []
        if abs(math.log(change.pace)) > _SAME_PACE:
            ways.append(f"its cooks take {change.pace:.2f} times as long")
        if round(abs(change.offset_k)):
            way = "hotter" if change.offset_k > 0.0 else "cooler"
            ways.append(
                say(f"it is {{0}} {way} for its setting", Difference(abs(change.offset_k), 0))
            )
        yield say(
            "This pit has changed: since '{0}' {1}. Only the {2} since then count{3}.",
            change.since,
            ways[0]
            if len(ways) == 1
            else say("{0}, and {1}", *ways)
            if ways
            else "it is another",
            cooks,
            "" if answer.enough else ", which are too few yet to say more",
        )
    if not answer.enough:
        fewest = int(_table()["fewest"])
        if answer.changed is None:
            yield (
                f"Of the pit '{answer.pit}' {cooks} {'is' if count == 1 else 'are'} kept; "
                f"after the {_ordinal(fewest)} it is said what they taught."
            )
        return
    offset = answer.offset_k
    level: Text = "near"
    if round(offset.middle):
        side = "above" if offset.middle > 0.0 else "below"
        level = say(f"about {{0}} {side}", Difference(abs(offset.middle), 0))
    yield say(
        "Learned from {0} in the pit '{1}': its probe stays {2} what it is set to, give "
        "or take {3}, and its air scatters about its level by {4}.",
        cooks,
        answer.pit,
        level,
        Difference(offset.half_width(), 0),
        Difference(math.exp(answer.unsteady.middle), 0),
    )
    if answer.paces >= _table()["fewest"]:
        low, middle, high = _ratios(answer.pace).values()
        yield (
            f"Cooks here take {middle:.2f} times the usual time of their cut and thickness "
            f"({low:.2f} to {high:.2f} in nine of ten). That band is "
            f"{math.floor(100.0 * answer.narrower)} % narrower than for a pit nobody knows."
        )
    if answer.departed:
        yield answer.departed


def _ordinal(number: int) -> str:
    return {1: "first", 2: "second", 3: "third"}.get(number, f"{number}th")


def shares(answer: Learned, usual: float, time_s: Floats) -> Floats:
    """Weigh draws of a cook's whole time by what was learned of the pit.

    Parameters
    ----------
    usual : float
        The usual time of that cook, see `usual_time`. [s]
    time_s : ndarray, shape (members,)
        Whole time of each draw; infinite where it never gets there. [s]

    Returns
    -------
    ndarray, shape (members,)
        Sum 1. Each is the density learned over that of the draws themselves (a normal law
        through them), flattened until a fifth of the draws count.
    """
    there = np.isfinite(time_s) & (time_s > 0.0)
    count = len(time_s)
    even: Floats = np.full(count, 1.0 / count)
    if there.sum() < 10:
        return even
    log = np.log(time_s[there] / usual)
    own = Believed(float(np.mean(log)), max(float(np.std(log)), 1e-3), 1e6)
    ratio = answer.pace.log_density(log) - own.log_density(log)
    # In the tails a few draws would count for all: none counts for more than the middle of
    # what was learned.
    ratio = np.minimum(ratio, float(ratio[np.argmax(answer.pace.log_density(log))]))
    for power in np.linspace(1.0, 0.0, 21):
        weights = np.zeros(count)
        weights[there] = np.exp(power * (ratio - ratio.max()))
        weights[there] *= there.mean() / weights[there].sum()
        weights[~there] = 1.0 / count
        if 1.0 / np.sum(weights**2) >= _LEAST_SHARE * count:
            return weights
    return even


@dataclass(frozen=True)
class UsualPace:
    """How long cooks of a cut take against the rule of `usual_time`, over all pits."""

    pace: Believed
    """Logarithm of the whole time over that of the rule. [-]"""
    thickness_m: tuple[float, float]
    target_c: tuple[float, float]
    """Least and greatest of the cooks it rests on."""

    def covers(self, thickness_m: float, target_c: float) -> bool:
        """Whether a piece is like those it rests on."""
        near = _table()["near"]
        thin, thick = self.thickness_m
        rare, done = self.target_c
        return (
            thin / near <= thickness_m <= thick * near and rare - 3.0 <= target_c <= done + 3.0
        )


@cache
def usual_pace(cut: str) -> UsualPace | None:
    """Tell how long cooks of a cut usually take; None of a cut without whole cooks.

    Read off the shipped library, whose totals were drawn within common practice (no
    source): a second witness for a piece that no log speaks of yet.
    """
    cooks = [c for c in library_cooks() if c.cut == cut and c.finish_s and c.thickness_m]
    paces = [
        math.log(c.finish_s / usual)
        for c in cooks
        if c.finish_s and (usual := usual_s(c)) is not None
    ]
    if len(paces) < _table()["cooks_of_cut"]:
        return None
    spread = math.hypot(float(np.std(paces)), _table()["practice_doubt"])
    sizes = [c.thickness_m for c in cooks if c.thickness_m]
    targets = [c.target_c for c in cooks]
    return UsualPace(
        Believed(float(np.median(paces)), spread, float(len(paces) - 1)),
        (min(sizes), max(sizes)),
        (min(targets), max(targets)),
    )


def agreeing(pace: Believed, usual: float, time_s: Floats) -> Floats:
    """Weigh draws of a cook's whole time by how usual they are.

    Both count: the draws, and what is usual. Draws that never get there count as the
    slowest that does. Flattened until a fifth of the draws count.

    Parameters
    ----------
    usual : float
        See `usual_time`. [s]
    time_s : ndarray, shape (members,)
        Whole time of each draw; infinite where it never gets there. [s]
    """
    there = np.isfinite(time_s) & (time_s > 0.0)
    count = len(time_s)
    if not there.any():
        return np.full(count, 1.0 / count)
    log = pace.log_density(np.log(np.where(there, time_s, time_s[there].max()) / usual))
    for power in np.linspace(1.0, 0.0, 21):
        weights = np.exp(power * (log - log.max()))
        weights /= weights.sum()
        if 1.0 / np.sum(weights**2) >= _LEAST_SHARE * count:
            break
    return np.asarray(weights)


__all__ = [
    "Believed",
    "Change",
    "Learned",
    "UsualPace",
    "agreeing",
    "learned",
    "pits",
    "same_name",
    "shares",
    "usual_pace",
    "usual_s",
    "usual_thickness",
    "usual_time",
]
