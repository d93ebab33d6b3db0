"""All that is said of a verdict: the three views and everything that was assumed."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import numpy as np

from coreward import cautions, tables
from coreward.logs.log import ProbeLog
from coreward.questions.hold.spread import CONFIDENCE
from coreward.questions.review.answer import review
from coreward.questions.review.document import log_data, log_picture, read_code
from coreward.questions.verdict.answer import (
    CANNOT_TELL,
    MET,
    NOT_MET,
    IntegralView,
    StandardVerdict,
    Verdict,
    letters,
)
from coreward.questions.verdict.kill import amount
from coreward.reports.document import (
    Block,
    Data,
    Document,
    Facts,
    Listing,
    Picture,
    Table,
    data_of,
    table_of,
    versions,
)
from coreward.reports.things import document_of
from coreward.words import (
    Difference,
    Held,
    Lasting,
    Needed,
    Published,
    Required,
    Text,
    UnitChoice,
    say,
    shown,
)

STATE_WORDS = {MET: "meets it", NOT_MET: "does not meet it", CANNOT_TELL: "cannot tell"}
_SAID_ELSEWHERE = ("meat", "condition", "probe_error_c", "placement_error_c")


@document_of.register
def document(answer: Verdict) -> Document:
    """Return all that is said of a verdict: what is open first, then each view."""
    pictures = [
        Picture(
            lambda units: _drawn(answer, units),
            say(
                "The judged temperature against time with the holds asked for, and the kill "
                "added up below. {0}",
                answer.headline,
            ),
            "Solid marks: holds that are met; dotted: as long as they are asked for. Below, "
            "the kill as read and with 95 % confidence.",
        )
    ]
    if isinstance(answer.judged, ProbeLog):
        caption = "The whole log, as it was understood."
        log = answer.judged
        pictures.insert(0, log_picture(log, review(log), caption, caption))
    blocks: tuple[Block, ...] = (
        *_doubts(answer),
        *_listed((answer.faults, "The record")),
        what_was_judged(answer),
        *pictures,
        *_pieces(answer),
        standard_table(answer),
        limit_table(answer),
        integral_table(answer),
        *_listed(
            (answer.assumptions, "Assumed"),
            (answer.cautions, "Beware"),
            (answer.blind_spots, "Not covered by any table"),
        ),
    )
    return Document(
        title=f"Does it meet its target? {STATE_WORDS[answer.state].capitalize()}",
        lead=answer.headline,
        caution=(*((cautions.COMPUTED,) * (answer.record.kind == "cook")), *cautions.REPORT),
        blocks=blocks,
        files=lambda: verdict_data(answer),
        code=lambda: verdict_code(answer),
        sources=sources(answer),
        versions=versions(),
        answer=answer,
        numbers={"exit_code": answer.exit_code},
    )


def _drawn(answer: Verdict, units: UnitChoice) -> Any:
    # Late: text and data need no drawing library.
    from coreward.questions.verdict.figure import figure_verdict

    return figure_verdict(answer, units)


def _listed(*parts: tuple[tuple[Text, ...], str]) -> tuple[Listing, ...]:
    return tuple(Listing(entries, heading) for entries, heading in parts if entries)


def sources(answer: Verdict) -> tuple[str, ...]:
    """Return what the answer rests on, as citations."""
    groups = (answer.standards, answer.limits, answer.integrals)
    keys = dict.fromkeys(key for group in groups for item in group for key in item.sources)
    return tuple(tables.source(key).citation() for key in keys)


def what_was_judged(answer: Verdict) -> Facts:
    """Return what the verdict is about."""
    record = answer.record
    rows: list[tuple[str, Text]] = [
        ("answer", STATE_WORDS[answer.state]),
        ("meat", ", ".join(answer.meats) + f", {answer.condition}"),
        ("judged at", record.point),
        ("record", say("{0}, {1}", record.kind, Lasting(float(record.time_s[-1])))),
        ("probe error added to every target", Difference(answer.probe_error_c)),
    ]
    if answer.placement_error_c:
        rows.append(("placement error added", Difference(answer.placement_error_c)))
    for name, value in answer.asked:
        if name not in _SAID_ELSEWHERE and value != 0.0:
            words = "a record" if name == "humidity" else _value_words(value)
            rows.append((f"given: {name.replace('_', ' ')}", words))
    return Facts(tuple(rows), "What was judged")


def _value_words(value: Any) -> str:
    if value is True:
        return "yes"
    if isinstance(value, str):
        return value
    if isinstance(value, float | int):
        return f"{value:g}"
    if isinstance(value, Mapping):
        return "; ".join(f"{name}: {_value_words(each)}" for name, each in value.items())
    return ", ".join(_value_words(each) for each in value) or "none"


def _beside(counts: bool) -> str:
    return "" if counts else " (shown, does not decide)"


def _doubts(answer: Verdict) -> tuple[Table, ...]:
    """Return the questions that only a person can answer."""
    if not answer.doubts:
        return ()
    return (
        table_of(
            "Only you can say",
            ("question", "in code", "on the command line"),
            ((doubt.text, doubt.code, doubt.command) for doubt in answer.doubts),
            (50, 25, 25),
        ),
    )


def _pieces(answer: Verdict) -> tuple[Table, ...]:
    """Return what is said of each piece, where there are several."""
    if len(answer.pieces) < 2:
        return ()
    return (
        table_of(
            say(
                "By piece, each by its own history; {0} decides, see below",
                answer.worst.name,
            ),
            ("says", "piece", "in a sentence"),
            ((STATE_WORDS[one.state], one.name, one.headline) for one in answer.pieces),
            (15, 20, 65),
        ),
    )


def standard_table(answer: Verdict) -> Table:
    """Return each hold standard in its own way; those that decide have a letter."""
    tied = letters(answer)
    rows = (
        (
            STATE_WORDS[item.state],
            say(
                "{0}{1}" + _beside(item.counts) + ". {2}",
                f"{tied[item.name]}  " if item.name in tied else "",
                item.title,
                item.revision,
            ),
            asked_and_held(item),
            item.governing,
            say("{0}. {1}", item.enough, item.caution),
        )
        for item in sorted(answer.standards, key=lambda item: not item.counts)
    )
    return table_of(
        "Each standard in its own way: every part at a minimum, for a time",
        ("says", "standard", "asked and held", "because", "what would help; beware"),
        rows,
        (10, 24, 18, 22, 26),
    )


def limit_table(answer: Verdict) -> Table:
    """Return the limits on the whole history."""
    rows = []
    for limit in answer.limits:
        band: Text = ""
        if limit.from_c != limit.to_c:
            falls = limit.from_c > limit.to_c
            band = say(
                ", {0} to {1}", Published(limit.from_c), Published(limit.to_c, at_most=falls)
            )
        name = say("{0}, {1}{2}" + _beside(limit.counts), limit.kind, limit.name, band)
        rows.append((STATE_WORDS[limit.state], name, limit.text, limit.enough))
    return table_of(
        "Limits on the whole history",
        ("says", "limit", "because", "what would help"),
        rows,
        (11, 24, 35, 30),
    )


def integral_table(answer: Verdict) -> Table:
    """Return the kill added up over the record."""
    rows = (
        (
            STATE_WORDS[view.state],
            say("{0} in {1}", view.organism, view.food),
            amount(view.value, view.unit),
            amount(view.median, view.unit),
            amount(view.confident, view.unit),
            "" if view.surface is None else amount(view.surface, view.unit),
            required_words(view),
            view.enough,
        )
        for view in answer.integrals
    )
    return table_of(
        "Kill added up, beside the standards and never in them",
        (
            "says",
            "organism",
            "as read",
            "median",
            f"with {CONFIDENCE:.0%} confidence",
            "at the simulated surface, if it stayed moist",
            "required",
            "what would help",
        ),
        rows,
        (10, 19, 9, 9, 10, 10, 15, 18),
    )


def asked_and_held(item: StandardVerdict) -> Text:
    """Say what a standard asks for, what was held, and the margin."""
    if item.required_s is None or item.limit_c is None or item.held_s is None:
        return ""
    margin = item.held_s - item.required_s
    left = (
        say("{0} to spare", Held(margin))
        if margin >= 0.0
        else say("{0} short", Needed(-margin))
    )
    return say(
        "{0} at {1}; held {2}: {3}",
        Needed(item.required_s),
        Published(item.limit_c),
        Held(item.held_s),
        left,
    )


def required_words(view: IntegralView) -> str:
    """Say what is required of a view, and what it is made of."""
    return (
        f"{Required(view.required).shown('C')} ({view.target:g} + {view.slow_margin:g} for "
        f"slow heating + {view.growth_added:g} growth)"
    )


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


def verdict_data(answer: Verdict) -> tuple[Data, ...]:
    """Return the judged record, and the log or cook it came from."""
    record = answer.record
    columns = {
        "time_s": record.time_s,
        "coldest_c": record.coldest_c,
        "hottest_c": record.hottest_c,
    }
    if record.kind == "history" and len(answer.pieces) > 1:
        # The record that was given holds all of them, and repeats the answer.
        time_s, given_c = (np.asarray(part, dtype=float) for part in answer.judged)
        columns = {"time_s": time_s, "coldest_c": given_c, "hottest_c": given_c}
    judged = data_of(
        "judged-record.csv",
        columns,
        "The record that was judged: lowest and highest temperature in the meat.",
    )
    if isinstance(answer.judged, ProbeLog):
        return (judged, log_data(answer.judged))
    if answer.record.kind == "cook":
        return (judged, Data("cook.csv", answer.judged.to_csv_text(), "The computed cook."))
    return (judged,)


def verdict_code(answer: Verdict) -> str:
    """Return the lines that repeat the verdict."""
    # Late: only a report repeats, and this loads the engines.
    from coreward.reports.repeat import arguments_code, call, cook_code

    given = arguments_code(answer.asked)
    if isinstance(answer.judged, ProbeLog):
        lines, subject = read_code(answer.judged), "log"
    elif answer.record.kind == "cook":
        lines, subject = [cook_code(answer.judged).rstrip("\n")], "cook"
    else:
        lines = [
            "import coreward as cw",
            "import numpy as np",
            "",
            "# The columns of the data that goes with this report.",
            'columns = np.genfromtxt("judged-record.csv", delimiter=",", skip_header=2)',
            "record = (columns[:, 0], columns[:, 1])",
        ]
        subject = "record"
        if "probe_offset_m" in given:
            # The record holds the estimated centre; it must not be estimated twice.
            given = {k: v for k, v in given.items() if k not in ("probe_offset_m", "shape")}
            lines.append("# coldest_c is the centre that was estimated from the probe.")
    lines += call("answer = cw.verdict", given, (subject,))
    return "\n".join([*lines, "print(cw.document(answer).text())", ""])
