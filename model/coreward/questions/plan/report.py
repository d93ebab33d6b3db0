"""The sheet of a plan: one page to pin beside the pit."""

from __future__ import annotations

import datetime as dt
from typing import Any

from coreward.questions.plan.answer import Plan, Step, chances, clock_text
from coreward.questions.plan.figure import alt_text, figure_timeline
from coreward.questions.plan.inputs import PitPlan, PlannedPiece, Wanted
from coreward.questions.plan.words import serving_text
from coreward.reports.document import (
    CAUTION,
    Block,
    Document,
    Listing,
    Paragraph,
    Picture,
    Table,
)
from coreward.reports.repeat import call, expression, material_code
from coreward.reports.things import document_of
from coreward.words import Held, Published, UnitChoice, as_units, shown

_WORDS = {
    "light": "light the fire",
    "turn up": "turn the pit up",
    "on": "on",
    "wrap": "wrap",
    "pull": "pull",
    "slice": "slice",
    "serve": "serve",
}


@document_of.register
def plan_report(
    answer: Plan, *, units: str | UnitChoice = "C", title: str = "", code: str = ""
) -> Document:
    """Return the sheet of a plan: boxes to tick, the picture, room for notes."""
    choice = as_units(units)
    blocks: list[Block] = [
        Listing(
            tuple(_line(step, answer, choice) for step in _done(answer)), "By the clock", True
        ),
        Picture(figure_timeline(answer, choice), alt_text(answer, choice)),
        _pieces(answer, choice),
        Paragraph(_more(answer, choice), "small"),
    ]
    serve = answer.serve_at
    return Document(
        title=title or f"Serve at {serving_text(serve)} on {serve:%A %d %B %Y}",
        lead=shown(answer.lead, choice),
        blocks=tuple(blocks),
        caution=CAUTION,
        code=code,
    )


def _more(answer: Plan, units: UnitChoice) -> str:
    """Say what else there is to know."""
    # How long a hold lasts that is longer than the rest stands in the table.
    in_table = [
        one.hold_note for one in answer.pieces if one.most_hold_s > one.item.hold.least_s
    ]
    said = [s for s in answer.sentences[1 + bool(answer.warnings) :] if s not in in_table]
    return " ".join(shown(words, units) for words in (*said, *answer.assumptions))


def _done(answer: Plan) -> tuple[Step, ...]:
    return tuple(step for step in answer.steps if step.kind in _WORDS)


def _line(step: Step, answer: Plan, units: UnitChoice) -> str:
    what = _WORDS[step.kind]
    if step.piece:
        what = f"{step.piece} {what}" if step.kind == "on" else f"{what} {step.piece}"
    near = answer.serve_at
    text = f"{clock_text(step.planned, near)}  {what}"
    if step.latest > step.earliest:
        first, last = clock_text(step.earliest, near), clock_text(step.latest, near)
        text += f" ({first} to {last})"
    if step.kind in ("wrap", "pull", "turn up"):
        text += f", {shown(step.note, units)}"
    doubt = answer.piece(step.piece).doubt if step.kind == "pull" else ""
    return f"{text}: {doubt}" if doubt else text


def _pieces(answer: Plan, units: UnitChoice) -> Table:
    rows = []
    for one in answer.pieces:
        low, _, high = one.loss
        rows.append(
            (
                one.item.name,
                Published(one.pull_core_c).shown(units),
                chances(one.chance_ready),
                f"{100 * low:.0f} to {100 * high:.0f} %" if low == low else "unknown",
                f"{one.item.hold.place}, at most {Held(one.most_hold_s).shown(units)}",
                one.doubt or one.verdict_state,
            )
        )
    return Table(
        ("piece", "pulled at core", "ready by the hour", "loss", "hold", "lethality"),
        tuple(rows),
    )


def plan_code(answer: Plan, units: str | UnitChoice = "C") -> str:
    """Return the lines that plan the same day again, and say it in the reader's units."""
    lines = [
        "import datetime as dt",
        "from zoneinfo import ZoneInfo",
        "",
        "import coreward as cw",
        "from coreward.questions.plan.inputs import Hold, PitPlan, PlannedPiece, Wanted",
        "",
        "pieces = [",
    ]
    for one in answer.pieces:
        lines += [f"    {line}" for line in _piece_code(one.item)]
        lines[-1] += ","
    lines += ["]", *call("pit = PitPlan", _changed(answer.pit, PitPlan()))]
    given = {
        "pit": "pit",
        "chance": repr(answer.chance_wanted),
        "members": repr(answer.members),
        "seed": repr(answer.seed),
    }
    if answer.not_before is not None:
        given["not_before"] = _moment(answer.not_before)
    lines += call("answer = cw.plan", given, ("pieces", _moment(answer.serve_at)))
    pulled = [f"# {one.item.name}: {shown(one.pulled, units)}" for one in answer.pieces]
    told = f'print(cw.plan_text(answer, "{as_units(units).temperature}"))'
    return "\n".join([*lines, *pulled, told]) + "\n"


def _piece_code(item: PlannedPiece) -> list[str]:
    shape = item.piece.shape
    made, missing = material_code(item.piece.material)
    piece = (
        f"cw.Piece(cw.{type(shape).__name__}({float(shape.size)!r}), {made}, "
        f"start_c={float(item.piece.start_c)!r})"
    )
    given = {
        "wanted": _dataclass("Wanted", _changed(item.wanted, Wanted(item.wanted.core_c)), item),
        "hold": _dataclass("Hold", _all(item.hold)),
        "slicing_s": repr(float(item.slicing_s)),
    }
    for name in ("wrap", "wrap_at_core_c", "mass_kg"):
        if getattr(item, name) is not None:
            given[name] = repr(getattr(item, name))
    if item.not_before is not None:
        given["not_before"] = _moment(item.not_before)
    if item.doubt:
        given["doubt"] = repr(dict(item.doubt))
    code = call("PlannedPiece", given, (repr(item.name), piece))
    return [missing, *code] if missing else code


def _dataclass(name: str, given: dict[str, str], item: PlannedPiece | None = None) -> str:
    inside = [f"{key}={value}" for key, value in given.items()]
    if item is not None:
        inside.insert(0, repr(float(item.wanted.core_c)))
    return f"{name}({', '.join(inside)})"


def _all(value: Any) -> dict[str, str]:
    return {name: expression(held) for name, held in vars(value).items() if held is not None}


def _changed(value: Any, plain: Any) -> dict[str, str]:
    return {
        name: expression(dict(held) if name == "doubt" else held)
        for name, held in vars(value).items()
        if held != getattr(plain, name)
    }


def _moment(moment: dt.datetime) -> str:
    key = getattr(moment.tzinfo, "key", None)
    numbers = f"{moment.year}, {moment.month}, {moment.day}, {moment.hour}, {moment.minute}"
    if key is None:
        return f"dt.datetime.fromisoformat({moment.isoformat()!r})"
    fold = ", fold=1" if moment.fold else ""
    return f"dt.datetime({numbers}, tzinfo=ZoneInfo({key!r}){fold})"
