"""Lessons: answers come from the model, wrong ones are told apart, paper gives nothing away."""

from __future__ import annotations

import dataclasses
import io
import json
import math
import re
from pathlib import Path
from typing import Any

import pytest
from pypdf import PdfReader

import coreward as cw
from coreward.errors import InputError
from coreward.lessons import check_answer, hold, lesson_names, load_lesson, stall
from coreward.lessons.handout import answer_sheet, handout, minutes, plan_html, plan_table
from coreward.lessons.lesson import (
    Exercise,
    Finding,
    Lesson,
    Question,
    asked_unit,
    check_exercise,
    check_prediction,
    number_of,
)
from coreward.physics.lethality import load_kinetics
from coreward.reports.html_page import html_page
from coreward.reports.pdf_pages import pdf_pages

NOTEBOOKS = Path(__file__).parents[2] / "notebooks"
# The study behind how-far-to-trust-it takes some 900 cooks; its notebook runs it, and so
# checks all its answers (`try_all`). Here it is given a smaller one. The same holds for the
# plans of plan-the-day.
QUICK = (
    "why-the-stall",
    "is-this-hold-enough",
    "my-log",
    "rest-and-carryover",
    "how-good-are-the-forecasts",
    "does-it-solve-its-equations",
)


@pytest.fixture(params=QUICK)
def lesson(request: pytest.FixtureRequest) -> Lesson:
    return load_lesson(request.param)


def _source(file: Path) -> str:
    cells = json.loads(file.read_text(encoding="utf-8"))["cells"]
    return "\n".join("".join(cell["source"]) for cell in cells)


def test_every_lesson_has_its_notebook_and_says_so() -> None:
    for name in lesson_names():
        found = load_lesson(name)
        assert found.name == name
        sources = [_source(file) for file in sorted(NOTEBOOKS.glob("*.ipynb"))]
        (together,) = (
            source for source in sources if f'lesson = open_lesson("{name}")' in source
        )
        # Each question that is asked at the top is answered further down, in order.
        asked = [together.index(f'lesson.check("{q.name}"') for q in found.questions]
        assert asked == sorted(asked)
        assert together.index("lesson.predict()") < asked[0]
        assert "lesson.exercises(" in together


def test_names_are_distinct_and_the_prose_is_there() -> None:
    for name in lesson_names():
        found = load_lesson(name)
        names = [item.name for item in (*found.questions, *found.exercises)]
        assert len(set(names)) == len(names)
        assert len(found.questions) >= 3
        assert len(found.exercises) >= 3
        for question in found.questions:
            assert len(question.choices) >= 3
            assert question.because
        for exercise in found.exercises:
            assert exercise.too_low
            assert exercise.too_high
            assert exercise.because
            assert exercise.share > 0.0 or exercise.within > 0.0


def test_the_model_bears_out_one_choice(lesson: Lesson) -> None:
    for question in lesson.questions:
        answers = [check_prediction(question, key) for key in question.choices]
        assert [answer.right for answer in answers].count(True) == 1
        for answer in answers:
            start = "As predicted." if answer.right else "Not as predicted."
            assert answer.sentence.startswith(start)
            assert str(question.because) in answer.sentence


def test_right_and_wrong_numbers_are_told_apart(lesson: Lesson) -> None:
    for exercise in lesson.exercises:
        truth = exercise.find()
        allowed = exercise.allowed(truth)
        assert math.isfinite(truth)
        assert 0.0 < allowed < 0.3 * abs(truth)
        for off, right in ((0.0, True), (0.9, True), (-0.9, True), (1.2, False), (-1.2, False)):
            answer = check_exercise(exercise, truth + off * allowed)
            assert answer.right is right, (exercise.name, off)
            if right:
                assert "Right" in answer.sentence
            else:
                hint = exercise.too_high if off > 0 else exercise.too_low
                assert str(hint) in answer.sentence
                assert answer.truth is None
                # A hint does not give the number away.
                assert f"{truth:.{exercise.digits}f} {exercise.unit}" not in answer.sentence


def test_answers_follow_the_model(monkeypatch: pytest.MonkeyPatch) -> None:
    exercise = load_lesson("why-the-stall").exercise("foil")
    before = exercise.find()
    real = stall.cook
    monkeypatch.setattr(stall, "cook", lambda **given: real(**(given | {"air_c": 125.0})))
    after = exercise.find()
    assert abs(after - before) > exercise.allowed(before)
    assert not check_exercise(exercise, before).right
    question = load_lesson("why-the-stall").question("no-vapour")
    assert question.find().choice == "no"
    # A model in which shutting the surface changes nothing bears out another choice.
    monkeypatch.setattr(stall, "cook", lambda **given: real())
    assert question.find().choice == "yes"


def test_answers_follow_the_standard(monkeypatch: pytest.MonkeyPatch) -> None:
    exercise = load_lesson("is-this-hold-enough").exercise("cooler")
    before = exercise.find()
    hold.enough.cache_clear()
    monkeypatch.setattr(hold, "STANDARD", "uk 70 for 2 min")
    try:
        assert exercise.find() != pytest.approx(before)
    finally:
        hold.enough.cache_clear()


def test_check_answer_by_name() -> None:
    right = check_answer("is-this-hold-enough", "one-d", 103.4)
    assert right.right
    assert repr(right) == right.sentence
    assert check_answer("is-this-hold-enough", "one-d", "1 min 43 s").right
    assert not check_answer("is-this-hold-enough", "one-d", "2 min").right
    assert not check_answer("why-the-stall", "no-vapour", "yes").right
    told = check_answer("is-this-hold-enough", "z", 9.0, reveal=True)
    assert told.truth == pytest.approx(load_kinetics("salmonella beef guideline").z_c)
    with pytest.raises(InputError, match=r"no lesson 'none'; there are: why-the-stall"):
        check_answer("none", "z", 1.0)
    with pytest.raises(InputError, match="no exercise in 'why-the-stall' called 'z'"):
        check_answer("why-the-stall", "z", 1.0)
    with pytest.raises(InputError, match="no choice 'maybe'"):
        check_answer("why-the-stall", "no-vapour", "maybe")


def test_answers_in_fahrenheit() -> None:
    hill = load_lesson("why-the-stall").exercise("hill")
    truth = hill.find()
    assert asked_unit(hill, "F") == "°F"
    assert check_exercise(hill, 1.8 * truth + 32.0, "F").right
    assert check_exercise(hill, 1.8 * (truth + 0.9) + 32.0, "F").right
    assert not check_exercise(hill, 1.8 * (truth + 1.1) + 32.0, "F").right
    assert not check_exercise(hill, truth, "F").right
    z = load_lesson("is-this-hold-enough").exercise("z")
    assert check_exercise(z, 1.8 * z.find(), "F").right


@pytest.mark.parametrize(
    ("text", "unit", "value"),
    [
        ("7.5", "h", 7.5),
        ("7,5", "h", 7.5),
        ("7 h 30 min", "h", 7.5),
        ("7:30", "h", 7.5),
        ("90 min", "h", 1.5),
        ("1 h 30", "min", math.nan),
        ("90", "min", 90.0),
        ("1h", "min", 60.0),
        ("1 min 43 s", "s", 103.0),
        ("94.5 °C", "°C", 94.5),
        ("94,5°c", "°C", 94.5),
        ("52 %", "%", 52.0),
        ("-3", "K", -3.0),
        ("", "h", math.nan),
        ("soon", "h", math.nan),
        ("inf", "h", math.nan),
    ],
)
def test_reading_an_answer(text: str, unit: str, value: float) -> None:
    if math.isnan(value):
        with pytest.raises(InputError, match=f"type a number in {unit}"):
            number_of(text, unit)
    else:
        assert number_of(text, unit) == pytest.approx(value)


@pytest.mark.parametrize("text", ["7" * 400, "\N{CUT OF MEAT}", "<b>" * 200, "nan", "1e999"])
def test_nonsense_is_answered_in_a_short_sentence(text: str) -> None:
    with pytest.raises(InputError, match="type a number in h") as caught:
        number_of(text, "h")
    assert len(str(caught.value)) < 80


def test_something_computed_before_is_used() -> None:
    question = Question(
        "q", "?", {"a": "A", "b": "B"}, lambda given="a": Finding(given, "seen")
    )
    assert check_prediction(question, "b", given="b").right
    assert check_prediction(question, "a").right
    exercise = Exercise("e", "?", "h", lambda given=1.0: given, within=0.1)
    assert check_exercise(exercise, 5.0, given=5.0).right
    with pytest.raises(InputError, match="none of the choices"):
        check_prediction(question, "a", given="c")


def _words(document: Any) -> str:
    return re.sub(r"<[^>]+>", " ", html_page(document))


@pytest.fixture(params=["C", "F"])
def sheets(request: pytest.FixtureRequest, lesson: Lesson) -> tuple[str, str, Lesson]:
    return _words(handout(lesson, request.param)), request.param, lesson


def test_the_handout_has_all_questions_and_no_answer(sheets: tuple[str, str, Lesson]) -> None:
    text, units, lesson = sheets
    assert text.count("We found:") == len(lesson.exercises)
    for question in lesson.questions:
        assert str(question.find().evidence) not in text
        if question.because:
            assert str(question.because) not in text
    for exercise in lesson.exercises:
        assert str(exercise.too_low) not in text
        assert str(exercise.because) not in text
    assert ("°C" if units == "F" else "°F") not in text
    if "°C" in "".join(str(question.prompt) for question in lesson.questions):
        assert f"°{units}" in text


def test_the_answer_sheet_has_what_the_model_says(lesson: Lesson) -> None:
    text = " ".join(_words(answer_sheet(lesson)).split())
    assert text.count("← the model") == len(lesson.questions)
    for exercise in lesson.exercises:
        assert f"{exercise.find():.{exercise.digits}f} {exercise.unit}" in text


def test_paper_is_paper() -> None:
    lesson = load_lesson("why-the-stall")
    pages = PdfReader(io.BytesIO(pdf_pages(handout(lesson)))).pages
    text = " ".join(" ".join(page.extract_text() for page in pages).split())
    assert "☐" in text
    assert "does not say that any food is safe" in text
    assert len(pages) <= 4


def test_the_class_takes_fifty_minutes() -> None:
    lesson = load_lesson("why-the-stall")
    assert minutes(lesson) == 50
    rows = plan_table(lesson).rows
    assert rows[0][0] == "0 to 5"
    assert rows[-1][0].endswith("to 50")
    assert "<table" in plan_html(lesson)._repr_html_()
    assert "Predict" in repr(plan_html(lesson))


def test_the_trust_lesson_on_small_studies() -> None:
    from coreward.evidence import trust
    from coreward.evidence.sensitivity import sensitivity
    from coreward.lessons.trust import COOKS, LESSON

    study = sensitivity(8)
    rows = trust.trust_table(("conduction", "yield", "carryover", "smoking"))
    compared = trust.compare_closures(COOKS[:2], ("expulsion", "swelling_pressure"))
    for name, given in (("right", rows), ("one-place", compared), ("learn", study)):
        question = LESSON.question(name)
        assert question.find(given).choice in question.choices
    cases = trust.carryover_cases()
    # The worst of the four turned over: another table, another answer.
    turned = [dataclasses.replace(row, topic=_other(row.topic)) for row in rows]
    assert LESSON.question("right").find(turned).choice != "conduction"
    for name, value in (("excess", cases), ("dry", cases), ("spread", study)):
        exercise = LESSON.exercise(name)
        assert check_exercise(exercise, exercise.find(value), given=value).right


def _other(topic: str) -> str:
    return {"conduction": "yield", "yield": "conduction"}.get(topic, topic)


def test_the_trials_decide_about_the_forecasts() -> None:
    from coreward.evidence.backtest import read_trials
    from coreward.lessons.forecasts import LESSON
    from coreward.logs.demo import demo_folder

    found = read_trials(demo_folder() / "backtest-trials.csv")
    for name in ("percent", "times", "width"):
        exercise = LESSON.exercise(name)
        assert check_exercise(exercise, exercise.find(found), given=found).right
    # Forecasts that are all exact, with bands that hold nothing: other answers.
    exact = [
        dataclasses.replace(t, p50_h=1.01 * t.truth_h, p5_h=t.truth_h + 1, p95_h=t.truth_h + 2)
        for t in found
    ]
    assert LESSON.question("miss").find(exact).choice == "small"
    assert LESSON.question("honest").find(exact).choice == "boast"
    sure = [dataclasses.replace(t, p5_h=0.0, p95_h=1e3) for t in found]
    assert LESSON.question("honest").find(sure).choice == "wide"


def test_the_plan_decides_about_the_day() -> None:
    from coreward.lessons import day
    from coreward.questions.plan.file import read_plan_file

    supper = read_plan_file(day.demo_folder() / "village-hall-supper.toml")
    plans = (supper.plan(members=40), supper.plan(members=40, chance=0.5))
    for name in ("price", "earlier"):
        question = day.LESSON.question(name)
        assert question.find(plans).choice in question.choices
    exercise = day.LESSON.exercise("earlier-on")
    hours = exercise.find(plans)
    assert hours > 0.0
    assert check_exercise(exercise, hours, given=plans).right
    # The same plan twice: nothing is paid for nothing.
    assert day.LESSON.question("price").find((plans[1], plans[1])).choice == "little"


def test_the_equations_decide_about_themselves() -> None:
    from coreward.evidence import verification
    from coreward.lessons.equations import LESSON

    rough = verification.series_errors(("slab", "cylinder", "sphere"), (10.0,), cells=12)
    fine = verification.series_errors(("slab", "cylinder", "sphere"), (10.0,))
    exercise = LESSON.exercise("sphere")
    assert exercise.find(rough) > 2.0 * exercise.find(fine)
    orders = [verification.order_in_space("slab"), verification.order_in_time("slab")]
    assert LESSON.question("halved").find(orders).choice == "4 and 8"
    assert LESSON.question("halved").find(orders[::-1]).choice == "4 and 8"
    (books,) = verification.balances(
        {
            "thin": (
                cw.Piece(cw.Slab(0.02), cw.meat("beef brisket flat"), 4.0),
                cw.Stage(cw.Surroundings(110.0), duration_s=1800.0),
            )
        }
    )
    assert LESSON.question("missing").find([books]).choice == "digits"
    leaking = dataclasses.replace(books, energy=1e-3)
    assert LESSON.question("missing").find([leaking]).choice == "thousandth"


def test_the_thicker_piece_can_be_read_off_the_start_page() -> None:
    """The small panel of the start page cooks for 14 h and cannot be told to go on."""
    from coreward.questions.stall.panel import StallState

    thick = stall.cook(thickness_m=0.06)
    assert thick.time_at_core(75.0) < StallState().duration_s
    # Nearer to what water alone (4/3) than to what heat alone (16/9) would ask for.
    assert 120.0 < load_lesson("why-the-stall").exercise("thick").find() < 155.0
