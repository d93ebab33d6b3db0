"""The lesson of the notebook plan-the-day."""

from __future__ import annotations

import datetime as dt
from functools import lru_cache

from coreward.errors import InputError
from coreward.lessons.lesson import Exercise, Finding, Lesson, Question
from coreward.logs.demo import demo_folder
from coreward.logs.read import read_log
from coreward.questions.plan.answer import Plan
from coreward.questions.plan.file import PlanFile, read_plan_file
from coreward.questions.plan.replan import AS_PLANNED, Replan, replan
from coreward.questions.plan.ways import Ways, compare_ways
from coreward.words import Lasting, say

_HOUR = 3600.0
_MINUTE = 60.0
_PIECE = "shoulder"
_SUPPER = "village-hall-supper"
_NOW_S = 6 * _HOUR
_MEMBERS = 100
_WAY_MEMBERS = 60


@lru_cache(maxsize=1)
def _supper() -> PlanFile:
    return read_plan_file(demo_folder() / f"{_SUPPER}.toml")


@lru_cache(maxsize=2)
def _plans() -> tuple[Plan, Plan]:
    """Return the plan for the chance wanted, and that for as often as not."""
    return _supper().plan(), _supper().plan(chance=0.5)


@lru_cache(maxsize=1)
def _again() -> Replan:
    log = read_log(demo_folder() / f"{_SUPPER}.csv")
    return replan(_plans()[0], _PIECE, log, until_s=_NOW_S, members=_MEMBERS)


@lru_cache(maxsize=1)
def _ways() -> Ways:
    return compare_ways(_supper().pieces[0], _supper().pit, members=_WAY_MEMBERS)


def _earlier_h(plans: tuple[Plan, Plan] | None) -> float:
    surer, even = _plans() if plans is None else plans
    return (_goes_on(even) - _goes_on(surer)).total_seconds() / _HOUR


def _goes_on(planned: Plan) -> dt.datetime:
    step = planned.piece(_PIECE).step("on")
    if step is None:
        raise InputError(f"The plan has no time for the {_PIECE} to go on.")
    return step.planned


def _price(plans: tuple[Plan, Plan] | None = None) -> Finding:
    hours = _earlier_h(plans)
    return Finding(
        "little" if hours < 1.5 else "hours" if hours < 6.0 else "night",
        say(
            "For nine in ten the shoulder goes on {0} earlier than for as often as not.",
            Lasting(hours * _HOUR),
        ),
    )


def _earlier(plans: tuple[Plan, Plan] | None = None) -> Finding:
    curve = (_plans() if plans is None else plans)[1].curve
    (ready, _, soon), (then, _, sooner) = curve.at(0.0), curve.at(-_HOUR)
    better, worse = then - ready > 0.005, sooner - soon > 0.005
    return Finding(
        "price" if better and worse else "free" if better else "nothing",
        f"Planned for as often as not, it is ready in {100 * ready:.0f} of 100 and too early "
        f"for a hold in {100 * soon:.0f}; lit an hour earlier, in {100 * then:.0f} and "
        f"{100 * sooner:.0f}.",
    )


def _lost(again: Replan | None = None) -> Finding:
    again = _again() if again is None else again
    base = again.lever(AS_PLANNED)
    saved = [lever.name for lever in again.levers if lever.makes_it and lever is not base]
    return Finding(
        "fine" if base.makes_it else "lever" if saved else "lost",
        f"As planned it is ready in time in {100 * base.chance:.0f} of 100. Enough is: "
        f"{', '.join(saved) or 'nothing that was tried'}.",
    )


def _behind(again: Replan | None = None) -> float:
    return (_again() if again is None else again).lost.total_s / _MINUTE


def _by_foil(ways: Ways | None = None) -> float:
    ways = _ways() if ways is None else ways
    bare, foil = (ways.row(name).ready_band_s[1] for name in ("bare", "foil at the stall"))
    return (bare - foil) / _HOUR


LESSON = Lesson(
    name="plan-the-day",
    title="When do I light the fire?",
    case=(
        "On the Saturday before the clocks go back, our invented village hall serves at 18:30: "
        "a pork shoulder, a flat brisket and a turkey breast, from one pit at {112 C}. Marit "
        "wants to be ready nine times in ten. The shoulder is pulled at {93 C}."
    ),
    questions=(
        Question(
            "price",
            "To be ready nine times in ten instead of as often as not: how much earlier must "
            "the shoulder, done at {93 C}, go on?",
            {
                "little": "An hour at most",
                "hours": "Two to five hours",
                "night": "Six hours or more",
            },
            _price,
            "The spread is the price of what nobody knows beforehand.",
        ),
        Question(
            "earlier",
            "You light it an hour earlier than as often as not asks for. What do you gain, and "
            "what do you lose?",
            {
                "price": "Surer to be ready, and more often too early for the hold",
                "free": "Surer to be ready, at no price",
                "nothing": "Nothing is gained",
            },
            _earlier,
            "Earliness needs a hold, and a hold has an end.",
        ),
        Question(
            "lost",
            "At twenty to ten in the morning the pit turns out to have been ten kelvin too "
            "cool all night. Is the supper lost?",
            {
                "fine": "No, it is ready in time anyway",
                "lever": "Not if something is done now",
                "lost": "Yes, nothing helps any more",
            },
            _lost,
            "The log settles much of what the plan could only guess.",
        ),
    ),
    exercises=(
        Exercise(
            "earlier-on",
            "How many hours earlier does the shoulder go on for nine in ten than for five in "
            "ten?",
            "h",
            lambda plans=None: _earlier_h(plans),
            share=0.1,
            too_low="Compare the two times at which it goes on, not those of the fire.",
            too_high="Take the shoulder of both plans.",
            because="Surer means earlier.",
        ),
        Exercise(
            "behind",
            "At twenty to ten, how many minutes is the shoulder behind the plan?",
            "min",
            _behind,
            share=0.1,
            digits=0,
            too_low="Count all of it: when it went on, the pit, and the piece itself.",
            too_high="Count what is lost so far, not what is still to come.",
            because="Parts of it are mended by a hotter pit, none by worrying.",
        ),
        Exercise(
            "foil",
            "How many hours sooner is the shoulder ready with foil at the stall than bare, as "
            "often as not?",
            "h",
            _by_foil,
            share=0.15,
            too_low="Take the middle of the band of each way, not its early end.",
            too_high="Take the middle of the band of each way, not its late end.",
            because="No evaporation, no stall; the crust pays for it.",
        ),
    ),
    equation=(
        "P(ready by t) = share of the draws whose last piece is done, rested and sliced by t\n"
        "light so early that P(ready by the hour) is the chance wanted"
    ),
    takeaways=(
        "A plan is a lighting time and a chance.",
        "Earliness needs a hold, and a hold has an end that is not yours to choose.",
        "When it runs late, the levers are few; the log says which is enough.",
    ),
)
