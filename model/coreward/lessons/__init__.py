"""Lessons: one for each notebook that teaches, in one form.

A lesson has a case, predictions to commit to, exercises that are checked by running the
model, and where it was made for a class a plan by the minute. Add one as a module with a
``LESSON`` here and its name in `_MODULES`; its notebook shows it with
``coreward.pages.lesson_cards.open_lesson(name)``.
"""

from __future__ import annotations

from importlib import import_module

from coreward.errors import InputError
from coreward.lessons.lesson import Checked, Lesson, check_exercise, check_prediction
from coreward.words import UnitChoice

_MODULES = {
    "why-the-stall": "stall",
    "is-this-hold-enough": "hold",
    "my-log": "probe_log",
    "plan-the-day": "day",
    "rest-and-carryover": "rest",
    "how-good-are-the-forecasts": "forecasts",
    "how-far-to-trust-it": "trust",
    "does-it-solve-its-equations": "equations",
}


def lesson_names() -> tuple[str, ...]:
    """Return the names of all lessons: those of their notebooks."""
    return tuple(_MODULES)


def load_lesson(name: str) -> Lesson:
    """Return a lesson by the name of its notebook.

    Raises
    ------
    InputError
        If there is no such lesson.
    """
    if name not in _MODULES:
        raise InputError(f"There is no lesson {name!r}; there are: {', '.join(_MODULES)}.")
    found: Lesson = import_module(f"coreward.lessons.{_MODULES[name]}").LESSON
    return found


def check_answer(
    lesson: str,
    name: str,
    answer: float | str,
    *,
    units: str | UnitChoice = "C",
    reveal: bool = False,
) -> Checked:
    """Check an answer to a question or an exercise by running the model.

    Parameters
    ----------
    lesson : str
        Name of its notebook.
    name : str
        Of the question or the exercise.
    answer : float or str
        The number found, or the key of the choice.
    units : str or UnitChoice
        "C" or "F": what a temperature was answered in.
    reveal : bool
        Tell the computed number even if the answer is wrong.

    Returns
    -------
    Checked
        Prints as a sentence: right, or a hint.

    Raises
    ------
    InputError
        If there is no such lesson, question or exercise, or the answer cannot be read.

    Examples
    --------
    >>> check_answer("why-the-stall", "foil", 3.0)  # doctest: +SKIP
    """
    found = load_lesson(lesson)
    if any(question.name == name for question in found.questions):
        return check_prediction(found.question(name), str(answer), units)
    return check_exercise(found.exercise(name), answer, units, reveal=reveal)


__all__ = ["check_answer", "lesson_names", "load_lesson"]
