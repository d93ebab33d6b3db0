"""The lesson of the notebook my-log."""

from __future__ import annotations

from functools import lru_cache

import numpy as np

from coreward.cook.stages import Piece
from coreward.errors import LogError
from coreward.lessons.lesson import Exercise, Finding, Lesson, Question
from coreward.logs.demo import SUPPER_LOG, demo_folder
from coreward.logs.log import ProbeLog
from coreward.logs.read import read_log
from coreward.physics.body import Cylinder
from coreward.physics.meat import meat
from coreward.questions.forecast.answer import forecast
from coreward.questions.review.answer import review
from coreward.words import Degrees, Lasting, say

_HOUR = 3600.0
_FROM_C, _TO_C = 60.0, 90.0
_TARGET_C = 85.0
SHARES = (0.3, 0.65)
"""Of the log, at which the forecast is asked."""
_MEMBERS = 150


@lru_cache(maxsize=1)
def supper_log() -> ProbeLog:
    """Return the log of the invented supper."""
    return read_log(demo_folder() / SUPPER_LOG)


def shoulder() -> Piece:
    """Return the shoulder as the crew would state it."""
    return Piece(Cylinder(0.12), meat("pork shoulder"), start_c=6.5)


@lru_cache(maxsize=1)
def widths_h() -> tuple[float, ...]:
    """Return the width of the nine-in-ten band to 85 °C at each of `SHARES`. [h]."""
    log = supper_log()
    told = [
        forecast(log, shoulder(), _TARGET_C, until_s=share * log.duration_s, members=_MEMBERS)
        for share in SHARES
    ]
    return tuple((one.quantile_s(95) - one.quantile_s(5)) / _HOUR for one in told)


@lru_cache(maxsize=3)
def _minutes(error_k: float) -> float:
    worth = review(supper_log(), probe_error_k=error_k).coldest.lethality
    if worth is None:
        raise LogError("The log of the invented supper is worth nothing; it was changed.")
    return worth.equivalent_less_error_min


def _lost(error_k: float) -> float:
    return 100.0 * (1.0 - _minutes(error_k) / _minutes(0.0))


def hours_as_read() -> float:
    """Return how long the first probe took from 60 to 90 °C. [h]."""
    log = supper_log()
    read = log.meat(1).temperature_c
    begin, end = (log.time_s[np.flatnonzero(read >= level)[0]] for level in (_FROM_C, _TO_C))
    return float(end - begin) / _HOUR


def _when() -> Finding:
    hours = hours_as_read()
    nearest = min((2, 5, 8), key=lambda each: abs(each - hours))
    took = say(
        "By its log it took {0} from {1} to {2}.",
        Lasting(hours * _HOUR),
        Degrees(_FROM_C),
        Degrees(_TO_C),
    )
    return Finding(str(nearest), took)


def _narrower() -> Finding:
    early, late = widths_h()
    share = late / early
    return Finding(
        "same" if share > 0.8 else "half" if share > 0.33 else "small",
        say(
            "The band that claims nine in ten is {0} wide at {1} of the log and {2} at {3}.",
            Lasting(early * _HOUR),
            f"{SHARES[0]:.0%}",
            Lasting(late * _HOUR),
            f"{SHARES[1]:.0%}",
        ),
    )


def _degree() -> Finding:
    lost = _lost(1.0)
    return Finding(
        "little" if lost < 5.0 else "fifth" if lost < 40.0 else "most",
        f"With one kelvin taken off each reading, {lost:.0f} % of the equivalent minutes are "
        f"gone.",
    )


LESSON = Lesson(
    name="my-log",
    title="What is my log telling me, and when is it ready?",
    case=(
        "The shoulder of our invented village hall stands at {60 C} after five hours in a pit "
        "of {112 C}. The supper is at 18:30, and everybody asks when it will be ready."
    ),
    questions=(
        Question(
            "when",
            "The shoulder stands at {60 C} after five hours. When will it have {90 C}?",
            {"2": "Two hours later", "5": "Five hours later", "8": "Eight hours later"},
            _when,
            "A straight line through the last hour would have promised it far sooner: the "
            "stall was still to come.",
        ),
        Question(
            "narrower",
            "Between 30 % and 65 % of the log, what becomes of the band that claims nine in "
            "ten?",
            {
                "same": "It stays about as wide",
                "half": "It shrinks to about a half",
                "small": "It shrinks to less than a third",
            },
            _narrower,
            "Before any juice is let go, no log knows how strongly the stall will come.",
        ),
        Question(
            "degree",
            "The probe reads one kelvin too high. What share of the equivalent minutes is only "
            "on paper?",
            {
                "little": "Hardly any",
                "fifth": "Between a tenth and a third",
                "most": "More than a half",
            },
            _degree,
            "One degree costs the share 1 - 10^(-1/z), wherever it happens.",
        ),
    ),
    exercises=(
        Exercise(
            "hours",
            "How many hours did the first probe take from {60 C} to {90 C}? Read it off the "
            "picture of the demo log.",
            "h",
            hours_as_read,
            within=0.3,
            too_low="Take the first time that it reads {60 C}, and the first at {90 C}.",
            too_high="Take the first probe, and the first time that it reads {90 C}.",
            because="And nobody in the kitchen would have said so at {60 C}.",
        ),
        Exercise(
            "two",
            "Two kelvin are taken off each reading. What share of the equivalent minutes is "
            "gone?",
            "%",
            lambda: _lost(2.0),
            within=3.0,
            digits=0,
            too_low="Twice the degrees: the share that one kelvin leaves, squared, is left.",
            too_high="Each kelvin takes its share of what is left, not of the whole.",
            because="Each kelvin leaves the same share: two leave the square of it.",
        ),
        Exercise(
            "width",
            "How many hours wide is the nine-in-ten band to {85 C} at 65 % of the log, for a "
            "round piece of {120 mm} that started at {6.5 C}?",
            "h",
            lambda: widths_h()[1],
            share=0.2,
            too_low="Nine in ten, not one in two: from the 5th to the 95th of a hundred.",
            too_high="Seen at 65 % of the log, not earlier.",
            because="It is as wide as what nobody can know yet.",
        ),
    ),
    equation=(
        "sum r C^-1 r + sum z^2  is least     r: reading less model, z: what is not known\n"
        "F = integral of 10^((T - T_ref)/z) dt      equivalent minutes"
    ),
    takeaways=(
        "What the log cannot tell yet is in the width of the band, and it should be.",
        "A kelvin of probe error costs a fifth of the equivalent minutes, wherever it happens.",
    ),
)
