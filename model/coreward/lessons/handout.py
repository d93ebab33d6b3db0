"""A lesson on paper: a hand-out to write on, the sheet of answers, the plan of a class."""

from __future__ import annotations

from coreward import cautions
from coreward.lessons.lesson import Lesson, Question, asked_unit, shown_number
from coreward.reports.document import (
    Block,
    Document,
    Facts,
    Heading,
    Lines,
    Listing,
    PageBreak,
    Paragraph,
    Picture,
    Table,
    table_of,
    versions,
)
from coreward.reports.html_page import block_html
from coreward.words import Text, UnitChoice, as_units, shown

_PLAN_STYLE = ".coreward-plan td:first-child { white-space: nowrap; }"


def handout(
    lesson: Lesson, units: str | UnitChoice = "C", picture: Picture | None = None
) -> Document:
    """Return the sheet for the class: questions without answers and room to write.

    Parameters
    ----------
    units : str or UnitChoice
        "C" or "F", or a choice of units.
    """
    choice = as_units(units)

    def say(text: Text) -> str:
        return shown(text, choice)

    blocks: list[Block] = [
        Facts((("name", ""), ("class and date", ""))),
        Heading("The case"),
        Paragraph(say(lesson.case)),
    ]
    if picture is not None:
        blocks.append(picture)
    blocks.append(Heading("1. Predict, before anything is run"))
    blocks.append(Paragraph("Tick one box each. Do not rub out afterwards.", "small"))
    for number, question in enumerate(lesson.questions, 1):
        blocks.append(Paragraph(f"1.{number}  {say(question.prompt)}", "strong"))
        blocks.append(
            Listing(tuple(say(words) for words in question.choices.values()), boxes=True)
        )
    blocks.append(Heading("2. Experiment"))
    blocks.append(
        Paragraph(
            f"Open the notebook '{lesson.name}'. Move one slider at a time. Write down what "
            f"you "
            "moved, and what it did."
        )
    )
    blocks.append(Lines(5))
    if lesson.equation:
        blocks.append(Heading("3. The equation"))
        blocks.append(Paragraph(lesson.equation))
        blocks.append(Paragraph("Say in words what each part stands for:", "small"))
        blocks.append(Lines(3))
    blocks.append(Heading("4. Compute"))
    for number, exercise in enumerate(lesson.exercises, 1):
        unit = asked_unit(exercise, choice)
        blocks.append(Paragraph(f"4.{number}  {say(exercise.prompt)}", "strong"))
        blocks.append(Paragraph(f"We found: ______________ {unit}.   How:"))
        blocks.append(Lines(2))
    blocks.append(Heading("5. In one sentence"))
    blocks.append(Paragraph(f"{lesson.title} Answer in one sentence of your own."))
    blocks.append(Lines(3))
    return Document(
        title=lesson.title,
        lead="Predict first, then try it, then explain it, then check by computing.",
        blocks=tuple(blocks),
        footer=cautions.LESSON,
    )


def answer_sheet(lesson: Lesson, units: str | UnitChoice = "C") -> Document:
    """Return the teacher's sheet: the plan, and every answer computed now."""
    choice = as_units(units)
    blocks: list[Block] = []
    if lesson.steps:
        blocks.append(plan_table(lesson, choice))
        blocks.append(PageBreak())
    blocks.append(Heading("What the model says to the predictions"))
    for number, question in enumerate(lesson.questions, 1):
        blocks += _answered(number, question, choice)
    rows = []
    for number, exercise in enumerate(lesson.exercises, 1):
        unit = asked_unit(exercise, choice)
        truth = exercise.find()
        low, high = (
            shown_number(exercise, truth + sign * exercise.allowed(truth), choice)
            for sign in (-1.0, 1.0)
        )
        digits = exercise.digits
        rows.append(
            (
                f"4.{number}",
                shown(exercise.prompt, choice),
                f"{shown_number(exercise, truth, choice):.{digits}f} {unit}",
                f"{low:.{digits}f} to {high:.{digits}f} {unit}",
                shown(exercise.because, choice),
            )
        )
    blocks.append(
        table_of(
            "What the model says to the exercises",
            ("", "exercise", "model", "counts as right", "because"),
            rows,
            (7, 34, 13, 16, 30),
        )
    )
    if lesson.takeaways:
        blocks.append(
            Listing(tuple(shown(each, choice) for each in lesson.takeaways), "To take away")
        )
    return Document(
        title=f"{lesson.title} For the teacher",
        lead="Every answer below was computed when this sheet was made, by the version named "
        "at its end. The model has limits; the notebook 'how-far-to-trust-it' lists them.",
        blocks=tuple(blocks),
        versions=versions(),
        footer=cautions.LESSON,
    )


def _answered(number: int, question: Question, units: UnitChoice) -> list[Block]:
    found = question.find()
    marked = tuple(
        shown(words, units) + ("   ← the model" if key == found.choice else "")
        for key, words in question.choices.items()
    )
    told = f"{shown(found.evidence, units)} {shown(question.because, units)}".strip()
    return [
        Paragraph(f"1.{number}  {shown(question.prompt, units)}", "strong"),
        Listing(marked),
        Paragraph(told),
    ]


def plan_table(lesson: Lesson, units: str | UnitChoice = "C") -> Table:
    """Return the plan of the class, minute by minute."""
    rows = []
    start = 0
    for step in lesson.steps:
        end = start + step.minutes
        does = (shown(text, units) for text in (step.class_does, step.teacher_does))
        rows.append((f"{start} to {end}", step.title, *does))
        start = end
    return table_of(
        f"The class in {start} minutes",
        ("minute", "", "the class", "the teacher"),
        rows,
        (12, 20, 34, 34),
    )


class PlanHtml:
    """The plan of a class, shown where it is named at the end of a cell."""

    def __init__(self, lesson: Lesson, units: str | UnitChoice = "C") -> None:
        self._table = plan_table(lesson, units)

    def _repr_html_(self) -> str:
        # A narrow column would break "11 to 19".
        return f'<style>{_PLAN_STYLE}</style><div class="coreward-plan">' + (
            f"{block_html(self._table)}</div>"
        )

    def __repr__(self) -> str:
        return "\n".join(f"{row[0]} min: {row[1]}" for row in self._table.rows)


def plan_html(lesson: Lesson, units: str | UnitChoice = "C") -> PlanHtml:
    """Return the plan of a class for a notebook."""
    return PlanHtml(lesson, units)


def minutes(lesson: Lesson) -> int:
    """Return how long the class takes. [min]."""
    return sum(step.minutes for step in lesson.steps)


__all__ = ["answer_sheet", "handout", "minutes", "plan_html", "plan_table"]
