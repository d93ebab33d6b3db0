"""A lesson: a case, predictions to commit to, exercises to compute, a plan for a class.

Nothing in a lesson knows its own answers. A question and an exercise hold a function that
runs the model and returns what comes out; change the model, and the answers change.

The prose of a lesson is written with its quantities in braces, as `words.from_markup` reads
them, since a paragraph split into a template and its values can no longer be proofread. It
is read once, when the lesson is made: a slip in it is an error of the module, not of a page.
"""

from __future__ import annotations

import math
import re
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from typing import Any, Literal

from coreward.errors import InputError
from coreward.units import celsius_to_fahrenheit, delta_celsius_to_fahrenheit
from coreward.words import Text, UnitChoice, as_units, from_markup, say, shown

Unit = Literal["h", "min", "s", "%", "°C", "K", "log", "times"]


def _read(text: Text) -> Text:
    return from_markup(text) if isinstance(text, str) else text


def _read_prose(thing: object, *names: str) -> None:
    for name in names:
        text = getattr(thing, name)
        read = (
            tuple(map(_read, text))
            if isinstance(text, tuple)
            else {key: _read(each) for key, each in text.items()}
            if isinstance(text, Mapping)
            else _read(text)
        )
        object.__setattr__(thing, name, read)


@dataclass(frozen=True)
class Finding:
    """What the model says to a question."""

    choice: str
    """Key of the choice that it bears out."""
    evidence: Text
    """The computed numbers in a sentence, its quantities in braces."""

    def __post_init__(self) -> None:
        _read_prose(self, "evidence")


@dataclass(frozen=True)
class Question:
    """A prediction to commit to before anything is run."""

    name: str
    prompt: Text
    """The question, its quantities in braces."""
    choices: Mapping[str, Text]
    """Key to words, in the order shown."""
    find: Callable[..., Finding]
    """Runs the model and returns a `Finding`. It may take something computed before, so that a
    page need not compute it twice."""
    because: Text = ""
    """The explanation, shown with the answer."""

    def __post_init__(self) -> None:
        _read_prose(self, "prompt", "choices", "because")


@dataclass(frozen=True)
class Exercise:
    """A number to find with the panel, checked by computing it."""

    name: str
    prompt: Text
    """What to find, its quantities in braces."""
    unit: Unit
    """Of the answer. A temperature is asked for in the reader's own unit."""
    find: Callable[..., float]
    """Runs the model and returns the number in `unit`. It may take something computed before.
    """
    share: float = 0.0
    within: float = 0.0
    """An answer is right if it is off by at most this share of the truth, or by this much in
    `unit`, whichever is more."""
    too_low: Text = ""
    too_high: Text = ""
    """Hints."""
    because: Text = ""
    """Shown with a right answer."""
    digits: int = 1
    """Shown of the truth."""

    def __post_init__(self) -> None:
        _read_prose(self, "prompt", "too_low", "too_high", "because")

    def allowed(self, truth: float) -> float:
        """Return how far off an answer may be, in `unit`."""
        return max(self.share * abs(truth), self.within)


@dataclass(frozen=True)
class Step:
    """A part of a class: how long, what the class does, what the teacher does."""

    minutes: int
    title: str
    class_does: Text
    teacher_does: Text

    def __post_init__(self) -> None:
        _read_prose(self, "class_does", "teacher_does")


@dataclass(frozen=True)
class Lesson:
    """One notebook's lesson."""

    name: str
    """That of the notebook, without suffix."""
    title: str
    case: Text
    """The question in words; the story, its quantities in braces."""
    questions: tuple[Question, ...]
    exercises: tuple[Exercise, ...]
    equation: str = ""
    """In words and letters that paper can hold."""
    takeaways: tuple[Text, ...] = ()
    steps: tuple[Step, ...] = ()
    """The plan for a class; empty where there is none."""

    def __post_init__(self) -> None:
        _read_prose(self, "case", "takeaways")

    def question(self, name: str) -> Question:
        """Return a question by name.

        Raises
        ------
        InputError
            If the lesson has no such question.
        """
        found: Question = _by_name(self.questions, name, f"question in '{self.name}'")
        return found

    def exercise(self, name: str) -> Exercise:
        """Return an exercise by name.

        Raises
        ------
        InputError
            If the lesson has no such exercise.
        """
        found: Exercise = _by_name(self.exercises, name, f"exercise in '{self.name}'")
        return found


def _by_name(items: tuple[Any, ...], name: str, what: str) -> Any:
    for item in items:
        if item.name == name:
            return item
    known = ", ".join(item.name for item in items) or "none"
    raise InputError(f"There is no {what} called {name!r}; there are: {known}.")


@dataclass(frozen=True, repr=False)
class Checked:
    """An answer held against the model."""

    right: bool
    sentence: str
    """What to tell the person."""
    truth: float | None = field(default=None)
    """What was computed, in the unit asked for; None while it is not given away."""
    unit: str = ""

    def __repr__(self) -> str:
        return self.sentence


def check_prediction(
    question: Question,
    choice: str,
    units: str | UnitChoice = "C",
    given: Any = None,
) -> Checked:
    """Hold a prediction against the model.

    Parameters
    ----------
    choice : str
        Key of the choice committed to.
    given : object, optional
        Something computed before that the question can use.

    Raises
    ------
    InputError
        If there is no such choice.
    """
    if choice not in question.choices:
        raise InputError(
            f"There is no choice {choice!r}; there are: {', '.join(question.choices)}."
        )
    found = question.find() if given is None else question.find(given)
    if found.choice not in question.choices:
        raise InputError(
            say(
                "The model's answer to '{0}' is none of the choices: {1}",
                question.name,
                found.evidence,
            )
        )
    right = found.choice == choice
    verdict = "As predicted." if right else "Not as predicted."
    model = f"The model says: {_lower_first(shown(question.choices[found.choice], units))}"
    told = (shown(text, units) for text in (found.evidence, question.because))
    return Checked(right, " ".join(part for part in (verdict, _stop(model), *told) if part))


def check_exercise(
    exercise: Exercise,
    answer: float | str,
    units: str | UnitChoice = "C",
    *,
    reveal: bool = False,
    given: Any = None,
) -> Checked:
    """Hold an answer against the number that the model gives.

    Parameters
    ----------
    answer : float or str
        In the unit asked for (see `asked_unit`); text may hold a decimal comma, or hours
        as "7 h 30 min" or "7:30".
    reveal : bool
        Tell the number even if the answer is wrong.
    given : object, optional
        Something computed before that the exercise can use.

    Raises
    ------
    InputError
        If the answer is no number.
    """
    choice = as_units(units)
    unit = asked_unit(exercise, choice)
    value = number_of(answer, unit)
    found = exercise.find() if given is None else exercise.find(given)
    truth = shown_number(exercise, found, choice)
    allowed = exercise.allowed(found)
    if exercise.unit in ("°C", "K"):
        allowed = delta_celsius_to_fahrenheit(allowed) if unit == "°F" else allowed
    computed = f"{truth:.{exercise.digits}f} {unit}"
    right = abs(value - truth) <= allowed + 1e-9
    if right:
        told, why = f"Right: the model gives {computed}.", exercise.because
    elif reveal:
        told, why = f"The model gives {computed}.", exercise.because
    else:
        side, why = ("less", exercise.too_low) if value < truth else ("more", exercise.too_high)
        told = f"Not yet: {value:g} {unit} is {side} than the model gives."
    sentence = f"{told} {shown(why, choice)}".strip()
    return Checked(right, sentence, truth if right or reveal else None, unit)


def asked_unit(exercise: Exercise, units: str | UnitChoice = "C") -> str:
    """Return the unit an answer is asked for in."""
    fahrenheit = as_units(units).temperature == "F"
    return "°F" if fahrenheit and exercise.unit in ("°C", "K") else exercise.unit


def shown_number(exercise: Exercise, value: float, units: str | UnitChoice = "C") -> float:
    """Return a number of the model in the unit asked for."""
    if as_units(units).temperature == "F":
        if exercise.unit == "°C":
            return celsius_to_fahrenheit(float(value))
        if exercise.unit == "K":
            return delta_celsius_to_fahrenheit(float(value))
    return float(value)


_MOST_LETTERS = 24
_CLOCK = re.compile(
    r"(?:(\d+(?:\.\d+)?) ?h(?:ours?)?)? ?(?:(\d+(?:\.\d+)?) ?m(?:in)?(?:utes?)?)? ?"
    r"(?:(\d+(?:\.\d+)?) ?s(?:econds?)?)?"
)
_COLON = re.compile(r"(\d+):([0-5]\d)")


def number_of(answer: float | str, unit: str) -> float:
    """Return an answer as a number in `unit`.

    Raises
    ------
    InputError
        If it cannot be read as one.
    """
    if not isinstance(answer, str):
        value = float(answer)
    else:
        value = _read_number(answer.strip().lower().replace(",", "."), unit)
    if not math.isfinite(value):
        said = str(answer)
        short = said if len(said) <= _MOST_LETTERS else f"{said[:_MOST_LETTERS]}…"
        what = "" if unit == "times" else f" in {unit}"
        raise InputError(f"{short!r} is not a number; type a number{what}.")
    return value


def _read_number(text: str, unit: str) -> float:
    minutes = {"h": 60.0, "min": 1.0, "s": 1.0 / 60.0}.get(unit)
    if minutes is not None:
        colon, clock = _COLON.fullmatch(text), _CLOCK.fullmatch(text)
        if colon:
            return (60.0 * int(colon[1]) + int(colon[2])) / minutes
        if clock and any(clock.groups()):
            hours, whole, seconds = (float(part or 0.0) for part in clock.groups())
            return (60.0 * hours + whole + seconds / 60.0) / minutes
    bare = text.removesuffix(unit.lower()).strip().removesuffix("°").strip()
    try:
        return float(bare)
    except ValueError:
        return math.nan


def _lower_first(words: str) -> str:
    return words[:1].lower() + words[1:]


def _stop(words: str) -> str:
    return words if words.endswith((".", "!", "?")) else f"{words}."
