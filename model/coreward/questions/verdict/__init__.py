"""Is this finish, or this hold, enough? By each published standard, and beside them.

Three things are shown and never mixed: the hold standards, each applied in its own way
(every part at a minimum temperature, for a time, under its conditions); limits on the
whole history of each piece (come-up, cooling and every later stay, reheating, hot
holding); and the integral of kill with its spread. Every doubt goes to the careful side,
and the answer is "meets", "does not meet" or "cannot tell", never a bare word.
"""

from coreward.questions.verdict.answer import (
    CANNOT_TELL,
    CAUTION,
    MET,
    NOT_MET,
    Doubt,
    IntegralView,
    LimitVerdict,
    PieceVerdict,
    StandardVerdict,
    State,
    Verdict,
)
from coreward.questions.verdict.case import OVENS, SURFACES
from coreward.questions.verdict.doubts import ANSWERS
from coreward.questions.verdict.holds import longest_hold
from coreward.questions.verdict.judge import verdict
from coreward.questions.verdict.kill import MOST_SHOWN_LOG, amount, uk_curve, usual_views
from coreward.questions.verdict.stays import TimeInBand, time_in_band

__all__ = [
    "ANSWERS",
    "CANNOT_TELL",
    "CAUTION",
    "MET",
    "MOST_SHOWN_LOG",
    "NOT_MET",
    "OVENS",
    "SURFACES",
    "Doubt",
    "IntegralView",
    "LimitVerdict",
    "PieceVerdict",
    "StandardVerdict",
    "State",
    "TimeInBand",
    "Verdict",
    "amount",
    "longest_hold",
    "time_in_band",
    "uk_curve",
    "usual_views",
    "verdict",
]
