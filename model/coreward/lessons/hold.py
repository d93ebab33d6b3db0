"""The lesson of the notebook is-this-hold-enough."""

from __future__ import annotations

import math
from dataclasses import replace
from functools import lru_cache

from coreward.lessons.lesson import Exercise, Finding, Lesson, Question
from coreward.physics.lethality import Kinetics, kinetics_for, load_kinetics
from coreward.questions.hold.answer import HoldPlan, HoldTime, cook_hold, hold_time
from coreward.questions.verdict import CANNOT_TELL, MET, NOT_MET, Verdict, verdict
from coreward.words import Lasting, Length, say

STANDARD = "us meat 6.5 log"
"""The standard the questions are about."""
PROBE_ERROR_K = 1.0
SLICE = HoldPlan("pork loin", thickness_m=0.030, around_c=62.0, until_core_c=60.0, hold_s=0.0)
"""The slice of the story, served at once."""
BRISKET = HoldPlan(
    "beef brisket flat",
    thickness_m=0.045,
    around="air",
    around_c=110.0,
    dew_point_c=25.0,
    until_core_c=75.0,
    hold_s=0.0,
)
"""The brisket of the story, out of a dry pit."""
_MINUTE = 60.0


def judge(plan: HoldPlan, surface: str = "sealed bag", **more: object) -> Verdict:
    """Compute a cook and hold it against the standards, with the probe error added."""
    cook = cook_hold(plan).result
    return verdict(
        cook,
        meat=plan.cut,
        surface=surface,
        probe_error_c=PROBE_ERROR_K,
        **more,  # type: ignore[arg-type]
    )


@lru_cache(maxsize=32)
def enough(
    thickness_m: float = SLICE.thickness_m,
    around_c: float = SLICE.around_c,
    error_k: float = PROBE_ERROR_K,
) -> HoldTime:
    """Return when a slice in the bath is enough, from the fridge."""
    plan = replace(SLICE, thickness_m=thickness_m, around_c=around_c)
    return hold_time(plan, STANDARD, error_k)


def _at_once() -> Finding:
    answer = judge(SLICE).standard(STANDARD)
    missing = 0.0
    if answer.required_s is not None and answer.held_s is not None:
        missing = max(answer.required_s - answer.held_s, 0.0)
    short = "little" if missing < 5 * _MINUTE else "much"
    choice = "enough" if answer.state == MET else short
    return Finding(
        choice,
        say(
            "By the table it is {0}: {1}. To make it enough: {2}.",
            answer.state,
            answer.governing,
            answer.enough,
        ),
    )


def _twice() -> Finding:
    one, two = enough(), enough(thickness_m=2 * SLICE.thickness_m)
    ratio = two.enough_s / one.enough_s
    nearest = min((1, 2, 4), key=lambda factor: abs(math.log(ratio / factor)))
    return Finding(
        str(nearest),
        say(
            "{0} takes {1} from the fridge until it is enough, {2} takes {3}: "
            f"{ratio:.1f} times as long.",
            Length(SLICE.thickness_m),
            Lasting(one.enough_s),
            Length(2 * SLICE.thickness_m),
            Lasting(two.enough_s),
        ),
    )


def _dry_pit() -> Finding:
    dry, bagged = (
        judge(BRISKET, surface, standards=[STANDARD]).standard(STANDARD)
        for surface in ("dry", "sealed bag")
    )
    return Finding(
        dry.state,
        say(
            "In the dry pit: {0}, because {1}. The same cook in a sealed bag: {2}.",
            dry.state,
            dry.governing,
            bagged.state,
        ),
    )


def _cooler() -> float:
    return enough(around_c=58.0).enough_s / _MINUTE


def _better_probe() -> float:
    return (enough().enough_s - enough(error_k=0.3).enough_s) / _MINUTE


def _law() -> Kinetics:
    """Return the kinetics that the table of the story is built on."""
    return load_kinetics(kinetics_for(SLICE.piece().material.species)[0])


def _one_d() -> float:
    return float(_law().d_minutes(60.0)) * _MINUTE


def _ten_times() -> float:
    return float(_law().z_c)


LESSON = Lesson(
    name="is-this-hold-enough",
    title="Is this hold enough?",
    case=(
        "For the supper at our invented village hall, Osei cooks a pork loin in slices {30 mm} "
        "thick, in bags in a water bath at {62 C}. He takes them out the moment the core reads "
        "{60 C} and wants to serve at once. Marit, who answers for the kitchen, asks: is that "
        "enough?"
    ),
    questions=(
        Question(
            "at-once",
            "Served the moment its core reads {60 C}, the probe good to {1 K}: does the slice "
            "meet the United States meat table?",
            {
                "enough": "Yes: {60 C} is {60 C}",
                "little": "No, but less than 5 minutes are missing",
                "much": "No, and 5 minutes or more are missing",
            },
            _at_once,
            "The number on the thermometer was right, and the time was missing.",
        ),
        Question(
            "twice",
            "A slice twice as thick goes into the same bath. It is ready after",
            {
                "1": "much the same time: the bath is as hot",
                "2": "about twice the time",
                "4": "about four times the time",
            },
            _twice,
            "Conduction alone would ask for four times as long, but the hold at the end does "
            "not grow with thickness, and the water around the bag resists thin and thick "
            "alike.",
        ),
        Question(
            "dry-pit",
            "A brisket leaves a dry pit with its core at {75 C}, far hotter than {60 C}. Does "
            "it meet the same table?",
            {
                MET: "Yes, by far",
                NOT_MET: "No",
                CANNOT_TELL: "The table cannot tell",
            },
            _dry_pit,
            "On a dry surface bacteria become heat tolerant, and the table was made for moist "
            "ones. 'Cannot tell' does not mean unsafe: this table does not speak about that "
            "cook.",
        ),
    ),
    exercises=(
        Exercise(
            "cooler",
            "The bath has {58 C} instead of {62 C}. After how many minutes from the fridge is "
            "the slice enough by the table, with {1 K} of probe error? (Tick 'map by "
            "thickness'.)",
            "min",
            _cooler,
            share=0.06,
            digits=0,
            too_low="{4 K} less makes the hold itself several times longer; and the core comes "
            "close to the bath only slowly.",
            too_high="Count from the fridge, and only until the standard's time is through.",
            because="A cooler bath costs twice: a slower come-up at the end, and a longer "
            "hold.",
        ),
        Exercise(
            "probe",
            "Osei's probe is good to {0.3 K} instead of {1 K}. How many minutes sooner is the "
            "slice enough, in the bath at {62 C}?",
            "min",
            _better_probe,
            within=1.5,
            digits=0,
            too_low="Drag 'probe error' and read the map by thickness: less doubt means a "
            "lower reading is asked for, which comes sooner and must be held as long.",
            too_high="Only the doubt changes, not the bath and not the slice.",
            because="A calibrated probe is the cheapest way to be done sooner.",
        ),
        Exercise(
            "one-d",
            "At {60 C}, how many seconds does it take to kill nine in ten of the Salmonella "
            "that the table is built on?",
            "s",
            _one_d,
            share=0.08,
            digits=0,
            too_low="One D is the time for one log; 6.5 of them take over ten minutes.",
            too_high="Divide the whole hold at {60 C} by 6.5.",
            because="6.5 of these in a row make 6.5 log.",
        ),
        Exercise(
            "z",
            "How many degrees hotter makes that ten times as fast?",
            "K",
            _ten_times,
            within=0.3,
            too_low="Compare the hold at {60 C} with that at {65 C}: it is not yet a tenth.",
            too_high="Compare the hold at {60 C} with that at {65 C}: it is nearly a tenth.",
            because="That is z: the line of the map is straight on its logarithmic axis.",
        ),
    ),
    equation=(
        "D(T) = D_ref 10^((T_ref - T)/z)\nlog reduction = integral of dt / D(T(t)), at the "
        "coldest point"
    ),
    takeaways=(
        "Enough is a temperature and a time, at the coldest point, less what the probe may be "
        "wrong by.",
        "A short hold at the end costs minutes; a thicker piece costs hours.",
        "A standard speaks only about cooks it was made for. 'Cannot tell' means: give it what "
        "it asks for, or choose another.",
    ),
)
