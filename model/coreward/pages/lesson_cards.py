"""Predictions to commit to, answers held against the model, exercises, hand-outs.

One lesson on one page shares one state: what was predicted at the top is what the checks
further down speak about.
"""

from __future__ import annotations

import html
from collections.abc import Callable, Mapping, Sequence
from functools import partial
from typing import Any, ClassVar, Final

import ipywidgets as W
import traitlets

from coreward.errors import CorewardError
from coreward.lessons import load_lesson
from coreward.lessons.handout import answer_sheet, handout
from coreward.lessons.lesson import (
    Exercise,
    Lesson,
    Question,
    asked_unit,
    check_exercise,
    check_prediction,
)
from coreward.reports.cards import look
from coreward.reports.document import Document, Picture
from coreward.reports.write import download_link, report_bytes
from coreward.widgets.panel import default_units
from coreward.widgets.panel_parts import PAGE_STYLE, button, line, row
from coreward.words import UnitChoice, shown

_STYLE: Final = f"<style>{look(__file__)}</style>"

_FIRST: Final = (
    "Commit to a prediction at the top of the page first. A guess is good enough: what counts "
    "is to have one. Press again to see the answer without."
)
_INTERNAL: Final = (
    "Internal error: this could not be checked. Nothing you did is lost; run the page again."
)


class LessonState(traitlets.HasTraits):
    """What the person has predicted.

    Attributes
    ----------
    chosen : dict
        Question to key of its choice.
    committed : bool
        Whether it can no longer be changed.
    """

    chosen = traitlets.Dict()
    committed = traitlets.Bool(False)


class Card:
    """One box on the page. Display it by naming it at the end of a cell."""

    def __init__(self, rows: Sequence[W.Widget], words: str) -> None:
        self._words = words
        self.widget = W.VBox(
            [W.HTML(PAGE_STYLE + _STYLE, layout=W.Layout(display="none")), *rows]
        )
        self.widget.add_class("coreward-lesson")

    def _repr_mimebundle_(self, include: Any = None, exclude: Any = None) -> dict[str, Any]:
        """Return the live card, and its words for pages without a kernel."""
        bundle: dict[str, Any] = dict(self.widget._repr_mimebundle_() or {})
        bundle["text/plain"] = self._words
        return bundle


class LessonCards:
    """The cards of one lesson.

    Parameters
    ----------
    units : str or UnitChoice, optional
        Units at the start; those kept in the settings when not given.
    """

    def __init__(self, lesson: Lesson, units: str | UnitChoice | None = None) -> None:
        self.lesson = lesson
        self.state = LessonState()
        self.units = default_units(units)
        self.checks: dict[str, CheckCard] = {}
        self.exercise_cards: dict[str, ExerciseCard] = {}

    def predict(self) -> PredictCard:
        """Return the card with the questions and the button that commits."""
        return PredictCard(self.lesson.questions, self.state, self.units)

    def check(self, name: str, given: Any = None) -> CheckCard:
        """Return the card that holds a prediction against the model.

        Parameters
        ----------
        given : object, optional
            Something the page computed before that the question can use.
        """
        question = self.lesson.question(name)
        self.checks[name] = CheckCard(question, self.state, self.units, given)
        return self.checks[name]

    def exercises(self, *names: str, given: Mapping[str, Any] | None = None) -> Card:
        """Return the card with exercises: those named, or all.

        Parameters
        ----------
        given : mapping, optional
            Exercise to something the page computed before that it can use.
        """
        chosen = [self.lesson.exercise(name) for name in names] or self.lesson.exercises
        known = given or {}
        parts = [ExerciseCard(each, self.units, known.get(each.name)) for each in chosen]
        self.exercise_cards |= {part.exercise.name: part for part in parts}
        prompts = "\n".join(shown(exercise.prompt, self.units) for exercise in chosen)
        return Card([part.widget for part in parts], f"Exercises:\n{prompts}")


class PredictCard(Card):
    """Questions with choices, and one button that commits to all of them."""

    def __init__(
        self, questions: Sequence[Question], state: LessonState, units: UnitChoice
    ) -> None:
        self._state = state
        self.radios: dict[str, W.RadioButtons] = {}
        rows: list[W.Widget] = []
        words = ["Predict before you run anything:"]
        for number, question in enumerate(questions, 1):
            prompt = f"{number}. {shown(question.prompt, units)}"
            choices = [shown(each, units) for each in question.choices.values()]
            asked = line("prompt", _bound(prompt))
            radio = W.RadioButtons(
                options=list(zip(choices, question.choices, strict=True)),
                value=None,
                description=prompt,
                layout=W.Layout(width="100%"),
            )
            radio.add_class(f"coreward-control-predict-{question.name}")
            radio.observe(self._chosen, names="value")
            self.radios[question.name] = radio
            rows += [asked, radio]
            words += [prompt, *(f"   ( ) {choice}" for choice in choices)]
        self.button = button("These are my predictions", "commit", self.commit)
        self.line = W.HTML(_status("Nothing is right or wrong yet."))
        super().__init__([*rows, self.button, self.line], "\n".join(words))

    def _chosen(self, change: Any) -> None:
        self._state.chosen = {
            name: radio.value for name, radio in self.radios.items() if radio.value is not None
        }

    def commit(self) -> None:
        """Commit to what is chosen; refused while a question has no answer."""
        missing = [
            str(number)
            for number, name in enumerate(self.radios, 1)
            if name not in self._state.chosen
        ]
        if missing:
            self.line.value = _status(f"Choose an answer to {_listed(missing)} first.")
            return
        for radio in self.radios.values():
            radio.disabled = True
        self.button.disabled = True
        self._state.committed = True
        self.line.value = _status("Committed. Now try it out; the answers come further down.")


class _Asking(Card):
    """A part with a line that tells what came out, and what went wrong."""

    problem: str = ""
    right: bool | None = None

    def _tell(self, sentence: str) -> None:
        self.line.value = _status(sentence)

    def _try(self, action: Callable[[], None]) -> None:
        self.problem = ""
        self._tell("Computing …")
        try:
            action()
        except CorewardError as error:
            self.problem = str(error)
        except Exception as error:
            self.problem = f"{_INTERNAL} ({type(error).__name__}: {error})"
        if self.problem:
            self.right = None
            self.line.value = f'<div role="alert">{html.escape(self.problem)}</div>'

    line: W.HTML


class CheckCard(_Asking):
    """A button that holds a prediction against the model."""

    def __init__(
        self, question: Question, state: LessonState, units: UnitChoice, given: Any = None
    ) -> None:
        self.question = question
        self.given = given
        self._state = state
        self._units = units
        self._asked = False
        prompt = shown(question.prompt, units)
        asked = line("prompt", _bound(prompt))
        words = "What does the model say?"
        self.button = button(words, f"check-{question.name}", self.press)
        self.line = line("answer")
        super().__init__(
            [asked, self.button, self.line],
            f"{prompt} (Run the page: it checks your prediction by computing.)",
        )

    def press(self) -> None:
        """Compute and tell; the first press without a prediction only asks for one."""
        if not self._state.committed and not self._asked:
            self._asked = True
            self._tell(_FIRST)
            return
        self._try(self._answer)

    def _answer(self) -> None:
        name = self.question.name
        chosen = self._state.chosen.get(name) if self._state.committed else None
        key = chosen or next(iter(self.question.choices))
        checked = check_prediction(self.question, key, self._units, self.given)
        if chosen is None:
            self.right = None
            self._tell(checked.sentence.partition(". ")[2].strip())
            return
        self.right = checked.right
        words = shown(self.question.choices[chosen], self._units)
        self._tell(f"You predicted: {words}. {checked.sentence}")


class ExerciseCard(_Asking):
    """A number to type in, checked by computing it."""

    _shown: ClassVar[str] = "Show the number"

    def __init__(self, exercise: Exercise, units: UnitChoice, given: Any = None) -> None:
        self.exercise = exercise
        self.given = given
        self._units = units
        unit = asked_unit(exercise, units)
        prompt = shown(exercise.prompt, units)
        asked = line("prompt", _bound(prompt))
        self.entry = W.Text(
            # "How many times" is a bare number.
            description="answer" if unit == "times" else f"answer in {unit}",
            continuous_update=False,
            style={"description_width": "initial"},
            layout=W.Layout(width="210px"),
        )
        self.entry.add_class(f"coreward-control-exercise-{exercise.name}")
        self.entry.observe(lambda change: self._typed(), names="value")
        self.button = button("Check", f"try-{exercise.name}", self._typed)
        self.reveal_button = button(
            self._shown, f"reveal-{exercise.name}", lambda: self._try(lambda: self._check(True))
        )
        self.reveal_button.layout.display = "none"
        self.line = line("answer")
        entry = row(self.entry, self.button, self.reveal_button)
        super().__init__([asked, entry, self.line], prompt)

    def give(self, text: str) -> None:
        """Type an answer, as a person would."""
        if self.entry.value == text:
            self._typed()
        else:
            self.entry.value = text

    def _typed(self) -> None:
        if self.entry.value.strip():
            self._try(lambda: self._check(False))

    def _check(self, reveal: bool) -> None:
        answer = self.entry.value if self.entry.value.strip() else "0"
        checked = check_exercise(
            self.exercise, answer, self._units, reveal=reveal, given=self.given
        )
        self.right = checked.right
        self.reveal_button.layout.display = "none" if checked.right or reveal else ""
        self._tell(checked.sentence)


def _bound(prompt: str) -> str:
    """Escape a prompt, and keep its units on the line of their numbers."""
    return html.escape(prompt).replace(" °", "&nbsp;°").replace(" mm", "&nbsp;mm")


def _listed(items: Sequence[str]) -> str:
    *most, last = items
    return f"{', '.join(most)} and {last}" if most else last


def _status(sentence: str) -> str:
    return f'<div role="status">{html.escape(sentence)}</div>'


class PaperCard(Card):
    """Buttons that make the hand-out and the sheet of answers, and offer them to save."""

    def __init__(self, lesson: Lesson, units: UnitChoice, picture: Picture | None) -> None:
        self._lesson = lesson
        self._units = units
        self._picture = picture
        self.line = W.HTML()
        self.buttons: dict[str, W.Button] = {}
        rows = []
        for name, words, kind in (
            ("handout", "Hand-out as PDF", "pdf"),
            ("handout", "Hand-out as a web page", "html"),
            ("answers", "Plan and answers as PDF", "pdf"),
            ("answers", "Plan and answers as a web page", "html"),
        ):
            made = button(words, f"{name}-{kind}", partial(self.offer, name, kind))
            self.buttons[f"{name}-{kind}"] = made
            rows.append(made)
        box = W.Box(rows, layout=W.Layout(flex_flow="row wrap"))
        super().__init__(
            [box, self.line],
            f"Buttons: the hand-out of '{lesson.title}' and the sheet of answers, to save.",
        )

    def document(self, name: str) -> Document:
        """Return the "handout" or the "answers"."""
        if name == "handout":
            return handout(self._lesson, self._units, self._picture)
        return answer_sheet(self._lesson, self._units)

    def offer(self, name: str, kind: str) -> None:
        """Make a paper and show the link that saves it."""
        self.line.value = _status("Computing …")
        try:
            content = report_bytes(self.document(name), kind)
        except CorewardError as error:
            self.line.value = f'<div role="alert">{html.escape(str(error))}</div>'
            return
        link = download_link(content, f"{self._lesson.name}-{name}.{kind}")
        self.line.value = f'<div role="status">{link}</div>'


def open_lesson(name: str, units: str | UnitChoice | None = None) -> LessonCards:
    """Return the cards of a lesson.

    Parameters
    ----------
    units : str or UnitChoice, optional
        ``"C"`` or ``"F"``; the units kept in the settings when not given.

    Raises
    ------
    InputError
        If there is no such lesson.
    """
    return LessonCards(load_lesson(name), units)


def paper_card(
    name: str, units: str | UnitChoice | None = None, picture: Picture | None = None
) -> PaperCard:
    """Return the buttons that make a lesson's hand-out and sheet of answers.

    Parameters
    ----------
    picture : Picture, optional
        Shown under the case of the hand-out.
    """
    return PaperCard(load_lesson(name), default_units(units), picture)


__all__ = ["LessonCards", "open_lesson", "paper_card"]
