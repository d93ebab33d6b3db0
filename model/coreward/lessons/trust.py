"""The lesson of the notebook how-far-to-trust-it."""

from __future__ import annotations

from collections.abc import Sequence
from functools import lru_cache

import numpy as np

from coreward.evidence import trust
from coreward.evidence.sensitivity import OUTCOMES, Sensitivity, sensitivity
from coreward.evidence.trust import TOPICS, CarryoverCase, ClosureRow, TrustRow
from coreward.lessons.lesson import Exercise, Finding, Lesson, Question

COOKS = ((107.0, 35.0, 0.09), (107.0, 65.0, 0.09), (121.0, 35.0, 0.09), (107.0, 35.0, 0.05))
"""Pit [°C], dew point [°C] and thickness [m] in which the accounts of water are compared."""
_ASKED_TOPICS = ("conduction", "yield", "carryover", "smoking")
_ASKED_INPUTS = {
    "dew_point_c": "The dew point of the pit",
    "start_c": "The temperature at the start",
    "wall_offset": "How much hotter than the air the walls are",
    "fat": "How fat the piece is",
}
_FINISH = [name for name, _ in OUTCOMES].index("finish time")


@lru_cache(maxsize=1)
def _rows() -> tuple[TrustRow, ...]:
    return trust.trust_table(_ASKED_TOPICS)


@lru_cache(maxsize=1)
def _compared() -> tuple[ClosureRow, ...]:
    return trust.compare_closures(COOKS, ("expulsion", "swelling_pressure"))


@lru_cache(maxsize=1)
def _study() -> Sensitivity:
    return sensitivity()


def _right_topic(rows: Sequence[TrustRow] | None = None) -> Finding:
    known = _rows() if rows is None else rows
    shares = {}
    words = []
    for topic in _ASKED_TOPICS:
        own = [row.verdict == "inside" for row in known if row.topic == topic]
        shares[topic] = sum(own) / len(own)
        words.append(f"{TOPICS[topic][0].lower()}{TOPICS[topic][1:]}: {sum(own)} of {len(own)}")
    best = max(shares, key=lambda topic: shares[topic])
    return Finding(best, f"Rows inside what the source allows: {'; '.join(words)}.")


def _one_place(rows: Sequence[ClosureRow] | None = None) -> Finding:
    known = _compared() if rows is None else rows
    squeezed = [row for row in known if row.closure == "expulsion"]
    driven = [row for row in known if row.closure == "swelling_pressure"]
    inside = sum(row.at_release for row in squeezed)
    choice = "same" if inside == len(squeezed) else "moves"
    if choice == "same" and any(row.recovers for row in squeezed):
        choice = "stands"
    return Finding(
        choice,
        "Squeezed out on the spot, it is slowed most between {65 C} and {75 C} in "
        f"{inside} of {len(squeezed)} cooks and picks up speed again in "
        f"{sum(row.recovers for row in squeezed)}; driven through the meat by pressure, in "
        f"{sum(row.at_release for row in driven)} of {len(driven)}.",
    )


def _worth_knowing(study: Sensitivity | None = None) -> Finding:
    known = _study() if study is None else study
    total = {item.name: whole for item, _, whole in known.ranked(_FINISH)}
    best = max(_ASKED_INPUTS, key=lambda name: total[name])
    words = ", ".join(
        f"{_ASKED_INPUTS[name][0].lower()}{_ASKED_INPUTS[name][1:]} {100 * total[name]:.0f} %"
        for name in sorted(_ASKED_INPUTS, key=lambda name: -total[name])
    )
    return Finding(best, f"Share of the doubt about the finish that hangs on each: {words}.")


def _carryover_excess(cases: Sequence[CarryoverCase] | None = None) -> float:
    cases = trust.carryover_cases() if cases is None else cases
    return float(np.mean([case.wet_rise_k - case.measured_k for case in cases]))


def _dry_over_wet(cases: Sequence[CarryoverCase] | None = None) -> float:
    cases = trust.carryover_cases() if cases is None else cases
    return float(np.median([case.dry_rise_k / case.wet_rise_k for case in cases]))


def _finish_spread(study: Sensitivity | None = None) -> float:
    study = _study() if study is None else study
    return float(study.high[_FINISH] / study.low[_FINISH])


LESSON = Lesson(
    name="how-far-to-trust-it",
    title="How far to trust it",
    case=(
        "You have a model that draws smooth curves, and every published number it could be "
        "held against. Nothing in the model was adjusted to make a row pass."
    ),
    questions=(
        Question(
            "right",
            "Which of these does the model get right most often?",
            {
                "conduction": "Heat conduction against textbooks",
                "yield": "How much weight a piece loses",
                "carryover": "How far a roast rises after the oven",
                "smoking": "Smoked brisket and its stall",
            },
            _right_topic,
            "The more of an answer is water, the farther out the model lies.",
        ),
        Question(
            "one-place",
            "Heated meat squeezes its water out. If that is how water travels, where is the "
            "core slowed most, in four very different pits?",
            {
                "same": "Between {65 C} and {75 C} in all four, and it never picks up speed "
                "again",
                "stands": "Between {65 C} and {75 C} in all four, and then it picks up speed",
                "moves": "It moves with the pit",
            },
            _one_place,
            "Believe the place of the stall within some {5 K}, and do not believe its end.",
        ),
        Question(
            "learn",
            "You may know exactly one of these about your pit or your piece. Which would "
            "sharpen the finish time most?",
            _ASKED_INPUTS,
            _worth_knowing,
            "How heat gets to the piece decides, and a thermometer in the lid does not show "
            "it.",
        ),
    ),
    exercises=(
        Exercise(
            "excess",
            "Over the published roasts, how many kelvin does the model rise after the oven "
            "beyond what was measured, on average?",
            "K",
            _carryover_excess,
            within=1.0,
            too_low="Take the difference for each roast, then the mean; all lie above.",
            too_high="Compare with the measured rise, not with that of the dry solid's.",
            because="Take carryover from the model as on the high side by that much.",
        ),
        Exercise(
            "dry",
            "A dry solid of the same size rises how many times as far as the wet one? Take the "
            "middle of the published roasts.",
            "times",
            _dry_over_wet,
            share=0.2,
            too_low="Divide the dry rise by the model's, roast by roast.",
            too_high="Divide by the model's rise, not by the measured one.",
            because="A wet surface keeps the outside cool, so that less heat is left to travel "
            "inwards.",
        ),
        Exercise(
            "spread",
            "Nine in ten finish times lie between a short and a long one. The long one is how "
            "many times the short one?",
            "times",
            _finish_spread,
            share=0.15,
            too_low="Take the two ends of 'nine in ten', not the middle and one end.",
            too_high="Take the ends of 'nine in ten', not the extremes of all cooks.",
            because="Until a log has been fitted, a single number of hours says too much.",
        ),
    ),
    takeaways=(
        "Trust comparisons and conduction; they stand on solved equations.",
        "Take hours to the end of a long bare cook as uncertain by a factor of one and a half "
        "to two until a log has been fitted.",
        "Take carryover from the model as on the high side.",
    ),
)
