"""A lesson: a case, predictions to commit to, exercises to compute, a plan for a class.

Nothing in a lesson knows its own answers. A question and an exercise hold a function that
runs the model and returns what comes out; change the model, and the answers change.
"""

from __future__ import annotations

import math
import re
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from typing import Any, Literal

from coreward.errors import InputError
from coreward.reports.words import in_units
from coreward.units import celsius_to_fahrenheit, delta_celsius_to_fahrenheit
from coreward.words import UnitChoice, as_units

Unit = Literal["h", "min", "s", "%", "°C", "K", "log", "times"]


@dataclass(frozen=True)
class Finding:
    """What the model says to a question.

    Attributes
    ----------
    choice : str
        Key of the choice that it bears out.
    evidence : str
        The computed numbers in a sentence, temperatures in °C.
    """

    choice: str
    evidence: str


@dataclass(frozen=True)
class Question:
    """A prediction to commit to before anything is run.

    Attributes
    ----------
    name : str
    prompt : str
        The question, with temperatures in °C and lengths in mm.
    choices : mapping
        Key to words, in the order shown.
    find : callable
        Runs the model and returns a `Finding`. It may take something computed before,
        so that a page need not compute it twice.
    because : str
        The explanation, shown with the answer.
    """

    name: str
    prompt: str
    choices: Mapping[str, str]
    find: Callable[..., Finding]
    because: str = ""


@dataclass(frozen=True)
class Exercise:
    """A number to find with the panel, checked by computing it.

    Attributes
    ----------
    name, prompt : str
        Temperatures in °C and lengths in mm.
    unit : str
        Of the answer. A temperature is asked for in the reader's own unit.
    find : callable
        Runs the model and returns the number in `unit`. It may take something computed
        before.
    share, within : float
        An answer is right if it is off by at most this share of the truth, or by this
        much in `unit`, whichever is more.
    too_low, too_high : str
        Hints.
    because : str
        Shown with a right answer.
    digits : int
        Shown of the truth.
    """

    name: str
    prompt: str
    unit: Unit
    find: Callable[..., float]
    share: float = 0.0
    within: float = 0.0
    too_low: str = ""
    too_high: str = ""
    because: str = ""
    digits: int = 1

    def allowed(self, truth: float) -> float:
        """Return how far off an answer may be, in `unit`."""
        return max(self.share * abs(truth), self.within)


@dataclass(frozen=True)
class Step:
    """A part of a class: how long, what the class does, what the teacher does."""

    minutes: int
    title: str
    class_does: str
    teacher_does: str


@dataclass(frozen=True)
class Lesson:
    """One notebook's lesson.

    Attributes
    ----------
    name : str
        That of the notebook, without suffix.
    title, case : str
        The question in words; the story, with temperatures in °C.
    equation : str
        In words and letters that paper can hold.
    questions, exercises : tuple
    takeaways : tuple of str
    steps : tuple of Step
        The plan for a class; empty where there is none.
    """

    name: str
    title: str
    case: str
    questions: tuple[Question, ...]
    exercises: tuple[Exercise, ...]
    equation: str = ""
    takeaways: tuple[str, ...] = ()
    steps: tuple[Step, ...] = ()

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
    """An answer held against the model.

    Attributes
    ----------
    right : bool
    sentence : str
        What to tell the person.
    truth : float or None
        What was computed, in the unit asked for; None while it is not given away.
    unit : str
    """

    right: bool
    sentence: str
    truth: float | None = field(default=None)
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
    question : Question
    choice : str
        Key of the choice committed to.
    units : str or UnitChoice
        Of the sentence.
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
            f"The model's answer to '{question.name}' is none of the choices: {found.evidence}"
        )
    right = found.choice == choice
    verdict = "As predicted." if right else "Not as predicted."
    model = f"The model says: {_lower_first(question.choices[found.choice])}"
    sentence = " ".join(
        part for part in (verdict, _stop(model), found.evidence, question.because) if part
    )
    return Checked(right, in_units(sentence, units))


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
    exercise : Exercise
    answer : float or str
        In the unit asked for (see `asked_unit`); text may hold a decimal comma, or hours
        as "7 h 30 min" or "7:30".
    units : str or UnitChoice
        The reader's units.
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
        allowed = float(delta_celsius_to_fahrenheit(allowed)) if unit == "°F" else allowed
    computed = f"{truth:.{exercise.digits}f} {unit}"
    right = abs(value - truth) <= allowed + 1e-9
    if right:
        words = f"Right: the model gives {computed}. {exercise.because}"
    else:
        side, hint = (
            ("less", exercise.too_low) if value < truth else ("more", exercise.too_high)
        )
        words = f"Not yet: {value:g} {unit} is {side} than the model gives. {hint}"
        if reveal:
            words = f"The model gives {computed}. {exercise.because}"
    shown = in_units(words.strip(), choice)
    return Checked(right, shown, truth if right or reveal else None, unit)


def asked_unit(exercise: Exercise, units: str | UnitChoice = "C") -> str:
    """Return the unit an answer is asked for in."""
    fahrenheit = as_units(units).temperature == "F"
    return "°F" if fahrenheit and exercise.unit in ("°C", "K") else exercise.unit


def shown_number(exercise: Exercise, value: float, units: str | UnitChoice = "C") -> float:
    """Return a number of the model in the unit asked for."""
    if as_units(units).temperature == "F":
        if exercise.unit == "°C":
            return float(celsius_to_fahrenheit(value))
        if exercise.unit == "K":
            return float(delta_celsius_to_fahrenheit(value))
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
