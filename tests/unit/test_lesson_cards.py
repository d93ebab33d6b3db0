"""The cards of a lesson as a person presses them."""

from __future__ import annotations

import pytest

from coreward.errors import InputError
from coreward.lessons.lesson import Exercise, Finding, Lesson, Question
from coreward.pages.lesson_cards import LessonCards, open_lesson, paper_card
from support.trying import try_all


def _lesson(**changes: object) -> Lesson:
    def find(given: str = "b") -> Finding:
        return Finding(given, "It was {65 C}.")

    given = {
        "name": "toy",
        "title": "Toy?",
        "case": "A piece of <80 mm>.",
        "questions": (
            Question("one", "Is it <b>65 °C</b>?", {"a": "Yes", "b": "No"}, find, "So."),
            Question("two", "And now?", {"a": "Up", "b": "Down"}, find, "Thus."),
        ),
        "exercises": (
            Exercise(
                "e",
                "How hot?",
                "°C",
                lambda given=70.0: given,
                within=1.0,
                too_low="Hotter.",
                too_high="Colder.",
                because="Done.",
            ),
        ),
    } | changes
    return Lesson(**given)  # type: ignore[arg-type]


def test_predict_commit_check() -> None:
    cards = LessonCards(_lesson(), "C")
    predict, check = cards.predict(), cards.check("one")
    predict.commit()
    assert "Choose an answer to 1 and 2 first" in predict.line.value
    check.press()
    assert "Commit to a prediction" in check.line.value
    predict.radios["one"].value = "a"
    predict.radios["two"].value = "b"
    predict.commit()
    assert predict.radios["one"].disabled
    assert cards.state.committed
    check.press()
    assert "You predicted: Yes. Not as predicted. The model says: no." in check.line.value
    assert check.right is False
    second = cards.check("two")
    second.press()
    assert second.right is True
    assert "As predicted." in second.line.value


def test_without_a_prediction_the_second_press_tells() -> None:
    check = LessonCards(_lesson(), "F").check("one")
    check.press()
    assert "149" not in check.line.value
    check.press()
    assert "The model says: no. It was 149 °F." in check.line.value
    assert check.right is None
    assert "predicted" not in check.line.value


def test_what_was_computed_before_is_used() -> None:
    cards = LessonCards(_lesson(), "C")
    cards.state.chosen, cards.state.committed = {"one": "a"}, True
    check = cards.check("one", "a")
    check.press()
    assert check.right is True


def test_exercise() -> None:
    cards = LessonCards(_lesson(), "C")
    cards.exercises()
    part = cards.exercise_cards["e"]
    part.give("60")
    assert part.right is False
    assert "Hotter." in part.line.value
    assert part.reveal_button.layout.display == ""
    part.reveal_button.click()
    assert "The model gives 70.0 °C. Done." in part.line.value
    part.give("seventy")
    assert 'role="alert"' in part.line.value
    assert "type a number in °C" in part.line.value
    part.give("70,5")
    assert part.right is True
    assert part.reveal_button.layout.display == "none"
    again = LessonCards(_lesson(), "C")
    again.exercises("e", given={"e": 90.0})
    again.exercise_cards["e"].give("90")
    assert again.exercise_cards["e"].right is True


def test_an_unexpected_error_is_a_sentence() -> None:
    def broken() -> float:
        raise ZeroDivisionError("on purpose")

    lesson = _lesson(exercises=(Exercise("e", "?", "h", broken, within=1.0),))
    cards = LessonCards(lesson, "C")
    cards.exercises()
    cards.exercise_cards["e"].give("1")
    assert "Internal error" in cards.exercise_cards["e"].line.value
    assert "on purpose" in cards.exercise_cards["e"].line.value


def test_try_all_finds_what_is_wrong() -> None:
    assert try_all(LessonCards(_lesson(), "C")) == {}
    assert try_all(LessonCards(_lesson(), "F")) == {}
    blind = Question("one", "?", {"a": "A", "b": "B"}, lambda: Finding("c", "x"))
    wide = Exercise("e", "?", "h", lambda: 1.0, within=1e9)
    trouble = try_all(LessonCards(_lesson(questions=(blind,), exercises=(wide,)), "C"))
    assert "none of the choices" in trouble["one"]
    assert "does not tell them apart" in trouble["e"]


def test_labels_are_escaped_and_read_out() -> None:
    cards = LessonCards(_lesson(), "C")
    predict = cards.predict()
    prompt = predict.widget.children[1]
    assert "&lt;b&gt;65&nbsp;°C" in prompt.value
    # The group of choices carries its question for a screen reader.
    assert predict.radios["one"].description == "1. Is it <b>65 °C</b>?"
    bundle = predict._repr_mimebundle_()
    assert "( ) Yes" in bundle["text/plain"]


def test_paper_card_offers_files() -> None:
    card = paper_card("why-the-stall", "C")
    card.buttons["handout-html"].click()
    assert 'download="why-the-stall-handout.html"' in card.line.value
    card.buttons["answers-pdf"].click()
    assert "data:application/pdf;base64," in card.line.value


def test_unknown_lessons_and_questions() -> None:
    with pytest.raises(InputError, match="no lesson 'x'"):
        open_lesson("x")
    with pytest.raises(InputError, match="no question in 'toy' called 'three'; there are: one"):
        LessonCards(_lesson(), "C").check("three")
