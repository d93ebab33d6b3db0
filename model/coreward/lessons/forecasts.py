"""The lesson of the notebook how-good-are-the-forecasts."""

from __future__ import annotations

from collections.abc import Sequence
from functools import lru_cache

from coreward.evidence.backtest import Summary, Trial, read_trials, summarise
from coreward.lessons.lesson import Exercise, Finding, Lesson, Question
from coreward.logs.demo import demo_folder

_KNOWN, _UNKNOWN = "stated pit", "hold as now"
_LATE, _EARLY = 0.6, 0.2


@lru_cache(maxsize=1)
def _stored() -> tuple[Trial, ...]:
    return tuple(read_trials(demo_folder() / "backtest-trials.csv"))


def _at(found: Sequence[Trial] | None, mode: str, share: float) -> Summary:
    return summarise(_stored() if found is None else found, mode, share)


def _simple(told: Summary) -> float:
    """Return how many times as far off the better of the two simple ways is."""
    return min(told.line_error, told.curve_error) / told.error


def _miss(found: Sequence[Trial] | None = None) -> Finding:
    told = _at(found, _UNKNOWN, _LATE)
    percent = 100.0 * told.error
    return Finding(
        "small" if percent < 5.0 else "middle" if percent < 20.0 else "large",
        f"With the pit unknown, half of {told.trials} forecasts missed by less than "
        f"{percent:.0f} % of the time left.",
    )


def _line(found: Sequence[Trial] | None = None) -> Finding:
    told = _at(found, _KNOWN, _LATE)
    ratio = told.line_error / told.error
    return Finding(
        "alike" if ratio < 1.4 else "half" if ratio < 2.5 else "third",
        f"With the pit stated, the median miss is {100 * told.error:.0f} % of the time left "
        f"and that of the straight line {100 * told.line_error:.0f} %.",
    )


def _honest(found: Sequence[Trial] | None = None) -> Finding:
    told = _at(found, _UNKNOWN, _EARLY)
    share = told.inside_90
    return Finding(
        "boast" if share < 0.85 else "honest" if share <= 0.95 else "wide",
        f"At a fifth of the cook, with the pit unknown, {100 * share:.0f} % of the truths lay "
        f"inside the band that claims 90 %.",
    )


LESSON = Lesson(
    name="how-good-are-the-forecasts",
    title="How good are the forecasts?",
    case=(
        "'Ready at half past five, nine chances in ten between five and a quarter past six.' "
        "Whether such a promise is worth anything shows when many of them are held against "
        "what came: cooks that are invented, and whose end is known."
    ),
    questions=(
        Question(
            "miss",
            "How far off, in per cent of the time that is left, is a forecast made at 60 % of "
            "the cook by somebody who does not know what the pit will do?",
            {
                "small": "Less than 5 %",
                "middle": "From 5 % to 20 %",
                "large": "More than 20 %",
            },
            _miss,
            "The pit that nobody knows yet costs as much as the meat.",
        ),
        Question(
            "line",
            "And the straight line that everybody draws in their head through the last hour?",
            {
                "alike": "As good as the model",
                "half": "About half as good",
                "third": "A third as good, or worse",
            },
            _line,
            "A straight line does not know that the stall comes, nor that it ends.",
        ),
        Question(
            "honest",
            "Of the bands that claim nine in ten, early in the cook and with the pit unknown: "
            "how many hold the truth?",
            {
                "boast": "Fewer than 85 in 100: they boast",
                "honest": "85 to 95 in 100: they are honest",
                "wide": "More than 95 in 100: they are too wide",
            },
            _honest,
            "A band is honest if it holds what it claims, no less and not much more.",
        ),
    ),
    exercises=(
        Exercise(
            "percent",
            "The median miss at 60 % of the cook with the pit stated, in per cent of the time "
            "left?",
            "%",
            lambda found=None: 100.0 * _at(found, _KNOWN, _LATE).error,
            share=0.15,
            too_low="Take the median of all cooks, not the best of them.",
            too_high="Take the pit as stated, and the model, not the straight line.",
            because="That is the meat alone; what the pit will do comes on top.",
        ),
        Exercise(
            "times",
            "How many times as far off is the better of the two simple ways there?",
            "times",
            lambda found=None: _simple(_at(found, _KNOWN, _LATE)),
            share=0.15,
            too_low="Divide the simple way's miss by the model's, not the other way round.",
            too_high="Take the better one of the straight line and the exponential approach.",
            because="What a model is for.",
        ),
        Exercise(
            "width",
            "How wide is the nine-in-ten band there, in per cent of the time left?",
            "%",
            lambda found=None: 100.0 * _at(found, _KNOWN, _LATE).width_90,
            share=0.15,
            digits=0,
            too_low="From the 5th to the 95th of a hundred, not the narrow band.",
            too_high="Take the median of the widths with the pit stated.",
            because="A band that wide is what honesty costs at that hour.",
        ),
    ),
    equation=(
        "miss = |forecast - truth| / time that was left\n"
        "covered = share of truths inside the band;  honest if it is what the band claims"
    ),
    takeaways=(
        "Hold a forecaster against many cooks, never against one.",
        "A narrow band is worth something only if it holds what it claims.",
    ),
)
