"""All that is said of a verdict: the three views and everything that was assumed."""

from __future__ import annotations

import datetime as dt
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
from coreward.questions.verdict.authorities import AUTHORITIES, limit_name
from coreward.questions.verdict.kill import amount
from coreward.reports.document import (
    Block,
    Data,
    Document,
    Facts,
    Finding,
    Form,
    Listing,
    PageBreak,
    Picture,
    Signatures,
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
    Opening,
    Published,
    Required,
    Say,
    Sentence,
    Text,
    UnitChoice,
    say,
    shown,
    together,
)

STATE_WORDS = {MET: "meets it", NOT_MET: "does not meet it", CANNOT_TELL: "cannot tell"}
_SAID_ELSEWHERE = ("meat", "condition", "probe_error_c", "placement_error_c")


@document_of.register
def document(answer: Verdict) -> Document:
    """Return all that is said of a verdict: a page to sign, then each view in full."""
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
    first, folded = in_folds(answer)
    listed = Listing(answer.assumptions, "Assumed", small=True)
    blocks: tuple[Block, ...] = (
        form(answer),
        finding(answer),
        *_pieces(answer),
        Picture(
            lambda units: _drawn(answer, units, "figure_record"),
            say("The judged temperature, and the hold asked for. {0}", answer.headline),
        ),
        short_table(answer),
        listed,
        Signatures(
            (
                "Cooked by: name, date, time",
                "Checked by: name, date, time",
                "Seen by: name, office, date, time",
            )
        ),
        PageBreak(),
        *_doubts(answer),
        *(block for block in first if isinstance(block, Listing)),
        *pictures,
        *(block for part in folded.values() for block in part if block != listed),
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


def in_folds(answer: Verdict) -> tuple[tuple[Block, ...], dict[str, tuple[Block, ...]]]:
    """Return what a panel says at once, and what it folds away."""
    first: tuple[Block, ...] = (
        *_listed((answer.faults, "The record")),
        *_pieces(answer),
        short_table(answer),
    )
    return first, {
        "limits": (standard_table(answer), limit_table(answer)),
        "rests": (
            Listing(answer.assumptions, "Assumed", small=True),
            what_was_judged(answer),
            *_listed(
                (answer.cautions, "Beware"),
                (answer.blind_spots, "Not covered by any table"),
            ),
        ),
        "kill": (integral_table(answer),),
    }


def finding(answer: Verdict) -> Finding:
    """Return the answer in a word, with why, and the one thing that would change it."""
    if answer.state == CANNOT_TELL and (open_doubts := [d for d in answer.doubts if d.blocks]):
        those = f"{len(open_doubts)} questions" if len(open_doubts) > 1 else "that question"
        return Finding(answer.state, answer.headline, change=f"An answer to {those}.")
    held = [item for item in answer.standards if item.counts and item.state == answer.state]
    if answer.state == MET and held:
        least = min(held, key=lambda item: item.margin_s or 0.0)
        return Finding(MET, answer.headline, Sentence(asked_and_held(least)))
    # The one that asks for most: what makes that one enough does so for most of the others.
    held.sort(key=lambda item: item.margin_s or 0.0)
    whys: list[tuple[Text, Text]] = [
        (Sentence(say("{0}: {1}", item.title, item.governing)), item.enough) for item in held
    ]
    whys += [
        (say("{0}: {1}", Opening(limit_name(item)), item.text), item.enough)
        for item in answer.limits
        if item.counts and item.state == answer.state
    ]
    if not whys:
        return Finding(answer.state, answer.headline)
    why, change = whys[0]
    more = len(whys) - 1
    also = f" {more} more {'asks' if more == 1 else 'ask'} for something too: see the table."
    return Finding(
        answer.state, answer.headline, why, say("{0}{1}", Sentence(change), also * bool(more))
    )


def form(answer: Verdict) -> Form:
    """Return who, where and what; what the record does not know is filled in by hand."""
    log = answer.judged if isinstance(answer.judged, ProbeLog) else None
    record = answer.record
    when = ""
    if log is not None and log.start is not None:
        ends = log.start + dt.timedelta(seconds=float(log.time_s[-1]))
        when = f"{log.start:%d %B %Y, %H:%M} to {ends:%H:%M}"
    kinds = {"cook": "computed, not measured", "log": "log", "history": "numbers given"}
    name = f" {log.source}" if log is not None and log.source else ""
    wrong = len(answer.faults)
    deciding = {key for item in answer.standards if item.counts for key in item.sources}
    asked = [words for words, keys in AUTHORITIES.values() if deciding & set(keys)]
    return Form(
        (
            ("Kitchen", ""),
            ("Batch", ""),
            ("Date and time", when),
            ("Cooked by", ""),
            ("Piece", ", ".join((*answer.meats, answer.condition))),
            ("Probe, its check", ""),
            (
                "Record",
                say(
                    "{0}{1}, {2} readings in {3}{4}",
                    kinds.get(record.kind, record.kind),
                    name,
                    len(record.time_s),
                    Lasting(float(record.time_s[-1])),
                    f"; {wrong} remark{'s' * (wrong > 1)}, see The record" if wrong else "",
                ),
            ),
            (
                "Set aside",
                say("{0} for the probe", Difference(answer.probe_error_c))
                if not answer.placement_error_c
                else say(
                    "{0} for the probe, {1} for its place",
                    Difference(answer.probe_error_c),
                    Difference(answer.placement_error_c),
                ),
            ),
            ("Judged at", record.point),
            ("Judged for", "; ".join(asked)),
        )
    )


def short_table(answer: Verdict) -> Table:
    """Return every limit that decides: its source, what it asks and what was found."""
    rows: list[tuple[Text, ...]] = []
    tied = letters(answer)
    for item in answer.standards:
        if not item.counts:
            continue
        asked: Text = item.governing
        found: Text = ""
        if item.required_s is not None and item.limit_c is not None:
            asked = say("{0} at {1}", Needed(item.required_s), Published(item.limit_c))
            found = "" if item.held_s is None else Held(item.held_s)
        name = say("{0}  {1}. {2}", tied.get(item.name, ""), item.title, Opening(item.revision))
        rows.append((name, asked, found, STATE_WORDS[item.state]))
    for limit in answer.limits:
        if not limit.counts:
            continue
        if limit.kind == "hot holding":
            asked = say("{0} or above", Published(limit.reading_c or limit.from_c))
            found = ""
        else:
            # A limit of time is no need: it is not lengthened.
            asked = say("at most {0}", Held(limit.limit_s))
            found = "" if limit.elapsed_s is None else Needed(limit.elapsed_s)
        rows.append((Opening(limit_name(limit)), asked, found, STATE_WORDS[limit.state]))
    return table_of(
        "Each limit, with its source",
        ("limit and source", "asked", "found", "says"),
        rows,
        (56, 19, 12, 13),
    )


def _drawn(answer: Verdict, units: UnitChoice, name: str = "figure_verdict") -> Any:
    # Late: text and data need no drawing library.
    from coreward.questions.verdict import figure

    return getattr(figure, name)(answer, units)


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
            titles = {item.name: item.title for item in answer.standards}
            words: Text = "a record" if name == "humidity" else _value_words(value)
            if name == "standards":
                words = together((titles.get(one, one) for one in value), "; ")
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
        Table(
            ("question", "in code", "on the command line"),
            tuple((doubt.text, doubt.code, doubt.command) for doubt in answer.doubts),
            "Only you can say",
            (50.0, 25.0, 25.0),
            on_paper=1,
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
                Opening(item.revision),
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
        name = say("{0}{1}" + _beside(limit.counts), Opening(limit_name(limit)), band)
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


def in_short(answer: Verdict) -> Say:
    """Say which standards are met and which not, by the letters of the picture."""
    tied = letters(answer)
    by_state: dict[str, list[Text]] = {}
    for item in answer.standards:
        if item.counts:
            named = say("{0} {1}", tied[item.name], item.title)
            by_state.setdefault(item.state, []).append(named)
    for limit in answer.limits:
        if limit.counts and limit.state != MET:
            by_state.setdefault(limit.state, []).append(limit_name(limit))
    verbs = {NOT_MET: "does not meet", CANNOT_TELL: "cannot tell under", MET: "meets"}
    parts = [
        say("{0} {1}", verb, together(by_state[state], "; "))
        for state, verb in verbs.items()
        if state in by_state
    ]
    return say("{0}, with what is assumed below.", Opening(together(parts, ". It ")))


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
            parts.append(
                f"{Opening(limit_name(limit)).shown(units)}: {shown(limit.text, units)}"
            )
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
