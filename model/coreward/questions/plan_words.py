"""A plan in words and numbers."""

from __future__ import annotations

import datetime as dt
import math
from typing import Any

from coreward import tables
from coreward.questions.plan_answer import PieceOutlook, Plan, Step
from coreward.questions.plan_inputs import BOX, PitPlan, PlannedPiece

_HOUR = 3600.0


def chances(chance: float) -> str:
    """Return a chance in words, such as "89 in 100"; never surer than it is.

    Tenths would do for one chance, but of two that differ little they make one or two tenths.
    """
    hundredths = math.floor(100.0 * chance + 1e-9)
    return f"{min(hundredths, 99)} in 100" if hundredths >= 10 else "less than 10 in 100"


def span(seconds: float) -> str:
    """Return a time as hours and minutes."""
    minutes = round(seconds / 60.0)
    return f"{minutes // 60} h {minutes % 60:02d} min"


def clock_text(moment: dt.datetime, near: dt.datetime) -> str:
    """Clock time, with the day and the clock's name where they are not those of `near`."""
    day = "" if moment.date() == near.date() else f"{moment:%a} "
    name = "" if moment.utcoffset() == near.utcoffset() else f" {moment.tzname()}"
    return f"{day}{moment:%H:%M}{name}"


def sentences(p: Plan) -> tuple[str, ...]:
    """Say the plan."""
    serve = p.serve_at
    text = [
        f"Light the fire at {clock_text(p.light.planned, serve)} to serve at {serve:%H:%M}: "
        f"ready by then in {chances(p.chance_ready)}, and in {chances(p.chance_in_hold)} also "
        "without any piece waiting longer than its hold."
    ]
    if p.light.latest > p.light.earliest:
        text.append(
            f"Lit between {clock_text(p.light.earliest, serve)} and "
            f"{clock_text(p.light.latest, serve)} the odds stay at {chances(p.chance_wanted)} "
            "or better."
        )
    for shift, words in ((-_HOUR, "an hour earlier"), (_HOUR, "an hour later")):
        moved = p.light.planned.timestamp() + shift
        if p.not_before is not None and moved < p.not_before.timestamp():
            continue
        ready, _, early = p.curve.at(shift)
        text.append(
            f"Lit {words}: ready in {chances(ready)}, too early for a hold in {chances(early)}."
        )
    for one in p.pieces:
        if not one.possible:
            text.append(one.nearest)
        elif one.chance_ready < p.chance_wanted and one.item.not_before is not None:
            text.append(
                f"{one.item.name} comes late: with it the hour is kept in "
                f"{chances(one.chance_ready)} only."
            )
        if one.possible and one.chance_as_wanted < p.chance_wanted:
            text.append(_not_as_wanted(one))
    if p.nearest_serve_at is not None:
        text.append(
            f"{serve:%H:%M} cannot be kept with the chance wanted. Nearest possible: serve "
            f"at {clock_text(p.nearest_serve_at, serve)}."
        )
    short = [one for one in p.pieces if one.wait_s > one.most_hold_s]
    if not p.keeps_chance and short:
        waits = "; ".join(
            f"{one.item.name} may have to wait {span(one.wait_s)} and its hold allows "
            f"{span(one.most_hold_s)}"
            for one in short
        )
        if p.chance_ready >= p.chance_wanted:
            text.append(
                f"To be ready with the chance wanted, {waits}. A log narrows that: plan again "
                "when the cook is under way, or measure the pieces and the pit."
            )
        else:
            text.append(f"Lit then, {waits}.")
    return tuple(text)


def _not_as_wanted(one: PieceOutlook) -> str:
    wanted, parts = one.item.wanted, []
    if wanted.most_loss is not None:
        parts.append(
            f"loss {one.loss[0]:.0%} to {one.loss[2]:.0%}, wanted {wanted.most_loss:.0%}"
        )
    if wanted.crust_activity is not None:
        low, _, high = one.crust_activity
        parts.append(
            f"water activity of the crust {low:.2f} to {high:.2f}, wanted "
            f"{wanted.crust_activity:.2f}"
        )
    if wanted.lethality and one.chance_come_up < 1.0:
        parts.append(f"come-up within the published limit in {chances(one.chance_come_up)}")
    return (
        f"{one.item.name} is as wanted in {chances(one.chance_as_wanted)} only: "
        f"{'; '.join(parts)}."
    )


def assumptions(pit: PitPlan, items: tuple[PlannedPiece, ...], members: int) -> tuple[str, ...]:
    """Say what a plan takes for granted."""
    level = pit.doubt.get("pit_level", tables.load("plan")["pit_level"])
    text = [
        f"{members} draws of piece, meat, pit and weather (tables forecast and plan); pieces "
        "of a draw share the pit's level, air and dampness.",
        f"The pit is held within {level:.0f} K of {pit.air_c:.0f} °C in the mean (two draws in "
        f"three). {span(pit.warm_up_s)} are left for it to warm up.",
        "A piece is pulled when its coldest point is there. Pieces do not shade each other.",
        "Loss, crust and tenderness are those at the pull; softening in the hold comes on top.",
        "How long a hold keeps hot is computed for a thinner piece, alone in it.",
    ]
    if pit.turn_up_c is not None:
        text.append(
            "The pit is turned up so long after the first piece went on; the odds of lighting "
            "earlier or later keep that."
        )
    if any(i.wrap is None and i.hold.place == BOX for i in items):
        text.append("A bare piece is wrapped in foil for the box.")
    return tuple(text)


def plan_text(answer: Plan) -> str:
    """Return a plan as lines of text."""
    lines = [*answer.sentences, ""]
    for step in answer.steps:
        what = f"{step.kind} {step.piece}".strip()
        window = (
            ""
            if step.earliest == step.latest
            else f"  ({clock_text(step.earliest, step.planned)} to "
            f"{clock_text(step.latest, step.planned)})"
        )
        when = clock_text(step.planned, answer.serve_at)
        lines.append(f"{when}  {what}{window}  {step.note}".rstrip())
    lines += ["", "It assumes:", *(f"- {line}" for line in answer.assumptions)]
    lines += [f"- {one.item.name}: {one.verdict_headline}" for one in answer.pieces]
    return "\n".join([*lines, *answer.cautions])


def plan_dict(answer: Plan) -> dict[str, Any]:
    """Return a plan as plain numbers and words, for JSON; moments in ISO 8601."""

    def step(one: Step) -> dict[str, Any]:
        return {
            "kind": one.kind,
            "piece": one.piece,
            "planned": one.planned.isoformat(),
            "earliest": one.earliest.isoformat(),
            "latest": one.latest.isoformat(),
            "chance": one.chance,
            "note": one.note,
        }

    nearest = answer.nearest_serve_at
    return {
        "serve_at": answer.serve_at.isoformat(),
        "light_at": answer.light.planned.isoformat(),
        "chance": {
            "wanted": answer.chance_wanted,
            "ready": answer.chance_ready,
            "in_hold": answer.chance_in_hold,
            "too_early": answer.chance_too_early,
            "error": answer.chance_error,
        },
        "keeps_chance": answer.keeps_chance,
        "nearest_serve_at": None if nearest is None else nearest.isoformat(),
        "fuel_hours": answer.fuel_hours,
        "steps": [step(one) for one in answer.steps],
        "pieces": [
            {
                "name": one.item.name,
                "possible": one.possible,
                "nearest": one.nearest,
                "chance_ready": one.chance_ready,
                "chance_as_wanted": one.chance_as_wanted,
                "most_hold_s": one.most_hold_s,
                "wait_s": one.wait_s,
                "verdict": one.verdict_state,
                "verdict_headline": one.verdict_headline,
            }
            for one in answer.pieces
        ],
        "curve": {
            "shift_s": answer.curve.shift_s.tolist(),
            "ready": answer.curve.ready.tolist(),
            "in_hold": answer.curve.in_hold.tolist(),
            "too_early": answer.curve.too_early.tolist(),
        },
        "sentences": list(answer.sentences),
        "assumptions": list(answer.assumptions),
        "cautions": list(answer.cautions),
        "members": answer.members,
        "seed": answer.seed,
    }


__all__ = [
    "assumptions",
    "chances",
    "clock_text",
    "plan_dict",
    "plan_text",
    "sentences",
    "span",
]
