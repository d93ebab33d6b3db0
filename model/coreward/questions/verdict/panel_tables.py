"""What the panel of the hold says beside its picture: sentences and tables."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any, Final

from coreward.questions.review.panel import list_html, table_html
from coreward.questions.verdict import (
    CANNOT_TELL,
    MET,
    NOT_MET,
    Verdict,
    amount,
    asked_and_held,
    required_words,
    sources,
)
from coreward.questions.verdict.hold_figure import letters
from coreward.words import UnitChoice, say, shown

_STATE_WORDS: Final = {MET: "meets", NOT_MET: "does not meet", CANNOT_TELL: "cannot tell"}


def in_short(answer: Verdict) -> str:
    """Say which standards are met and which not, by the letters of the picture."""
    tied = letters(answer)
    by_state: dict[str, list[str]] = {}
    for item in answer.standards:
        if item.counts:
            by_state.setdefault(item.state, []).append(f"{tied[item.name]} {item.name}")
    for limit in answer.limits:
        if limit.counts and limit.state != MET:
            by_state.setdefault(limit.state, []).append(f"the {limit.kind} limit")
    verbs = {NOT_MET: "does not meet", CANNOT_TELL: "cannot tell under", MET: "meets"}
    parts = [
        f"{verb} {', '.join(by_state[state])}"
        for state, verb in verbs.items()
        if state in by_state
    ]
    text = "; ".join(parts)
    return f"{text[:1].upper()}{text[1:]}, with what is assumed below."


def explanation(answer: Verdict, units: UnitChoice) -> str:
    """Return what would make it enough, for what decides and is not met."""
    tied = letters(answer)
    # Standards that ask for the same share one sentence.
    asked: dict[tuple[str, str], list[str]] = {}
    for item in answer.standards:
        if item.counts and item.state != MET:
            verb = "enough" if item.state == NOT_MET else "apply"
            asked.setdefault((verb, shown(item.enough, units)), []).append(tied[item.name])
    parts = [
        f"{', '.join(names)}: to make it {verb}, {remedy}."
        for (verb, remedy), names in asked.items()
    ]
    for limit in answer.limits:
        if limit.counts and limit.state != MET:
            parts.append(f"{limit.kind.capitalize()}: {shown(limit.text, units)}")
    return " ".join(parts) or "Nothing more is asked under these assumptions."


def tables_html(answer: Verdict, units: UnitChoice) -> str:
    """Return all that the picture cannot say."""
    tied = letters(answer)

    def listed(heading: str, entries: Sequence[Any]) -> str:
        return list_html(heading, [shown(entry, units) for entry in entries])

    blocks = [
        listed("The record", answer.faults) if answer.faults else "",
        _pieces_table(answer, units) if len(answer.pieces) > 1 else "",
        table_html(
            "Each standard in its own way: every part at a minimum, for a time",
            ("", "standard", "says", "asked, held, margin", "because", "what would help"),
            [
                (
                    tied.get(item.name, ""),
                    say(
                        "{0}" + _beside(item.counts) + ". {1}", item.title, item.revision
                    ).shown(units),
                    _STATE_WORDS[item.state],
                    asked_and_held(item, units),
                    shown(item.governing, units),
                    say("{0}. {1}", item.enough, item.caution).shown(units),
                )
                for item in sorted(answer.standards, key=lambda item: not item.counts)
            ],
        ),
        table_html(
            "Limits on the whole history",
            ("limit", "says", "because", "what would help"),
            [
                (
                    f"{limit.kind}, {limit.name}" + _beside(limit.counts),
                    _STATE_WORDS[limit.state],
                    shown(limit.text, units),
                    shown(limit.enough, units),
                )
                for limit in answer.limits
            ],
        ),
        table_html(
            "Kill added up, beside the standards and never in them",
            (
                "organism",
                "as read",
                "95 % confidence",
                "at the surface",
                "required",
                "says",
                "what would help",
            ),
            [
                (
                    say("{0} in {1}", view.organism, view.food).shown(units),
                    shown(amount(view.value, view.unit), units),
                    shown(amount(view.confident, view.unit), units),
                    ""
                    if view.surface is None
                    else shown(amount(view.surface, view.unit), units),
                    required_words(view),
                    _STATE_WORDS[view.state],
                    shown(view.enough, units),
                )
                for view in answer.integrals
            ],
        ),
        listed("Assumed", answer.assumptions),
        listed("Beware", answer.cautions),
        listed("Not covered by any table", answer.blind_spots),
        f"<details><summary>Sources</summary>{list_html('Sources', sources(answer))}</details>",
    ]
    return "".join(blocks)


def _pieces_table(answer: Verdict, units: UnitChoice) -> str:
    return table_html(
        "By piece, each by its own history; below stands the one that decides",
        ("piece", "says", "in a sentence"),
        [
            (
                shown(piece.name, units),
                _STATE_WORDS[piece.state],
                shown(piece.headline, units),
            )
            for piece in answer.pieces
        ],
    )


def _beside(counts: bool) -> str:
    return "" if counts else " (shown, does not decide)"
