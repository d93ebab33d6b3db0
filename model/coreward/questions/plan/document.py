"""All that is said of a plan, on one page to pin beside the pit, and of what if it slips."""

from __future__ import annotations

import datetime as dt
import math
from typing import Any

from coreward import cautions
from coreward.cook.usual_piece import piece_code
from coreward.questions.plan.answer import PieceOutlook, Plan, Step, chances, clock_text
from coreward.questions.plan.figure import alt_text, figure_timeline
from coreward.questions.plan.inputs import PitPlan, PlannedPiece, Wanted
from coreward.questions.plan.replan import Lever, Replan
from coreward.questions.plan.words import serving_text, shifted, waits
from coreward.reports.document import (
    Block,
    Document,
    Listing,
    Paragraph,
    Picture,
    Table,
    table_of,
)
from coreward.reports.repeat import call, expression, material_code
from coreward.reports.things import document_of
from coreward.words import (
    Held,
    Needed,
    Opening,
    Published,
    Text,
    UnitChoice,
    as_units,
    say,
    shown,
    together,
)

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
def document(answer: Plan) -> Document:
    """Return all that is said of a plan: boxes to tick, the picture, what it assumes."""
    serve = answer.serve_at
    # What a table does not meet, or cannot tell, stands in the lead.
    judged = (
        say("{0}: {1}", Opening(one.item.name), one.verdict_headline)
        for one in answer.pieces
        if not one.warnings and one.unsure not in answer.slips
    )
    # On paper there is one page: how long a hold lasts that is longer than the rest stands in
    # its table, and what earliness there is and lighting later does in its lead.
    aside = [one.hold_note for one in answer.pieces if one.most_hold_s > one.item.hold.least_s]
    aside += [*shifted(answer), *waits(answer)]
    said = answer.sentences[1 + bool(answer.warnings) :]
    told = [sentence for sentence in said if sentence not in aside]
    blocks: tuple[Block, ...] = (
        Listing(
            tuple(_line(s, answer) for s in answer.steps if s.kind in _WORDS),
            "By the clock",
            True,
        ),
        Picture(
            lambda units: figure_timeline(answer, units), lambda units: alt_text(answer, units)
        ),
        _pieces(answer),
        Paragraph(together((*told, *answer.assumptions)), "small"),
        Paragraph(together((*(s for s in said if s in aside), *judged)), "aside"),
    )
    return Document(
        title=f"Serve at {serving_text(serve)} on {serve:%A %d %B %Y}",
        lead=answer.lead,
        blocks=blocks,
        caution=cautions.REPORT,
        answer=answer,
        numbers={
            "kind": "plan",
            "light_at": answer.light.planned,
            "chance": {
                "wanted": answer.chance_wanted,
                "ready": answer.chance_ready,
                "in_hold": answer.chance_in_hold,
                "too_early": answer.chance_too_early,
                "error": answer.chance_error,
            },
        },
    )


def _line(step: Step, answer: Plan) -> Text:
    what = _WORDS[step.kind]
    if step.piece:
        what = f"{step.piece} {what}" if step.kind == "on" else f"{what} {step.piece}"
    near = answer.serve_at
    text = f"{clock_text(step.planned, near)}  {what}"
    if step.latest > step.earliest:
        first, last = clock_text(step.earliest, near), clock_text(step.latest, near)
        text += f" ({first} to {last})"
    doubt = answer.piece(step.piece).doubt if step.kind == "pull" else ""
    return say(
        f"{{0}}{', ' * bool(step.note)}{{1}}{': ' * bool(doubt)}{{2}}", text, step.note, doubt
    )


def _pieces(answer: Plan) -> Table:
    rows = []
    for one in answer.pieces:
        low, _, high = one.loss
        rows.append(
            (
                one.item.name,
                Published(one.pull_core_c),
                chances(one.chance_ready),
                f"{100 * low:.0f} to {100 * high:.0f} %" if low == low else "unknown",
                _held(one),
                one.verdict_state if one.unsure else one.doubt or one.verdict_state,
            )
        )
    heads = ("piece", "pulled at core", "ready by the hour", "loss", "hold", "lethality")
    # A row that takes two lines costs the sheet its one page.
    return table_of("", heads, rows, _WIDTHS)


_WIDTHS = (15, 14, 17, 11, 25, 20)


def _held(one: PieceOutlook) -> Text:
    hold, most = one.item.hold, Held(one.most_hold_s)
    if 0.0 < hold.least_s < one.most_hold_s:
        return say("{0}, {1} to {2}", hold.place, Needed(hold.least_s), most)
    return say("{0}, at most {1}", hold.place, most)


@document_of.register
def of_replan(answer: Replan) -> Document:
    """Return what is said of a day that slips: what is lost, and what still makes the hour."""
    lost = answer.lost.in_words()
    beware = tuple(words for words in answer.cautions if words != cautions.ANSWER)
    levers = table_of(
        "What could be done now",
        ("what", "ready", "in time", "loss", "against going on as planned"),
        (_lever(lever, answer) for lever in answer.levers),
    )
    return Document(
        title=f"What can still be done about {answer.piece.item.name}",
        lead=say("At {0}: {1} {2}", f"{answer.now:%H:%M}", lost, answer.advice),
        blocks=(levers, *([Listing(beware, "Beware")] if beware else [])),
        caution=cautions.REPORT,
        answer=answer,
        numbers={"kind": "replan", "lost": lost, "pull_core_c": answer.piece.pull_core_c},
    )


def _lever(lever: Lever, answer: Replan) -> tuple[Text, ...]:
    at = lever.ready_at
    return (
        lever.words,
        "never" if at is None else f"about {clock_text(at, answer.now)}",
        f"in {chances(lever.chance)}",
        f"{100 * lever.loss:.0f} %" if math.isfinite(lever.loss) else "unknown",
        lever.cost,
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
    told = f'print(cw.document(answer).text("{as_units(units).temperature}"))'
    return "\n".join([*lines, *pulled, told]) + "\n"


def _piece_code(item: PlannedPiece) -> list[str]:
    made, missing = material_code(item.piece.material)
    piece = (
        piece_code(item.piece)
        if item.piece.assumed
        else (
            f"cw.Piece({item.piece.shape.code}, {made}, start_c={float(item.piece.start_c)!r})"
        )
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
