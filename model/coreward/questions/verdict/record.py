"""Which pieces a record holds, and the whole history of each.

A log may be read in several ways: all probes in one piece or each in its own, one piece
throughout or a new one put on. Which it was is asked; unanswered, all of them are judged
and the worst holds.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from coreward import tables
from coreward.errors import InputError
from coreward.questions.verdict import doubts as ask
from coreward.questions.verdict.answer import Doubt
from coreward.questions.verdict.history import (
    ChannelLike,
    CookRecord,
    LogLike,
    cook_record,
    piece_record,
)
from coreward.words import At, Needed, Text, say

Floats = NDArray[np.float64]
Pieces = str | Mapping[str, Sequence[str]] | None
_SETTLING_S = 900.0  # a probe that was moved reads its new place within minutes
_AROUND_S = 1200.0
_FALL_K = 15.0
_MOST_TOLD = 12


@dataclass(frozen=True, eq=False)
class Piece:
    """One piece of meat and its history."""

    name: Text
    channels: tuple[str, ...]
    record: CookRecord


@dataclass(frozen=True, eq=False)
class Read:
    """How a record may be understood."""

    ways: tuple[tuple[Text, tuple[Piece, ...]], ...]
    """Every way to read it, and the pieces that are then in it."""
    doubts: tuple[Doubt, ...]
    """What is not known."""
    faults: tuple[Text, ...]
    said: tuple[Text, ...]
    """What was wrong with the record; what a person has said about it."""


@dataclass(frozen=True, eq=False)
class _Probe:
    """A column that a person has said to be a probe in the meat."""

    name: str
    temperature_c: Floats
    role: str = field(default="meat")


def read_pieces(
    source: Any,
    *,
    pieces: Pieces,
    probes: Mapping[str, str] | None,
    new_piece_s: Sequence[float] | None,
    rules: tables.ParameterSet,
    longest_gap_s: float,
    cooling: bool,
) -> Read:
    """Return the pieces of a cook, a log or a pair, and what is not known about them.

    Raises
    ------
    InputError
        An answer that does not fit the record, or no meat probe with a reading.
    """
    given = _times(new_piece_s)
    ceiling = rules["hottest_meat"]
    if isinstance(source, LogLike):
        return _read_log(source, pieces, probes or {}, given, rules, longest_gap_s, cooling)
    if probes or pieces is not None:
        raise InputError("pieces and probes are for a log; this record has no named probes.")
    record = cook_record(source, longest_gap_s=longest_gap_s, ceiling_c=ceiling)
    whole = (Piece("the piece", (), record),)
    ways: tuple[tuple[Text, tuple[Piece, ...]], ...] = (("", whole),)
    found: tuple[Doubt, ...] = ()
    if record.kind == "history":
        ways, found = _with_new_pieces(ways, given, rules, longest_gap_s, cooling)
    elif given:
        raise InputError(
            "new_piece_s is for a measured record; a simulated cook has one piece."
        )
    return Read(ways, found, _gaps(record), ())


def _times(new_piece_s: Sequence[float] | None) -> tuple[float, ...] | None:
    if new_piece_s is None:
        return None
    times = tuple(float(t) for t in new_piece_s)
    if not all(np.isfinite(t) and t >= 0.0 for t in times):
        raise InputError(
            f"new_piece_s is {new_piece_s!r}: give seconds from the start of the record, or () "
            "if it is the same piece throughout."
        )
    return tuple(sorted(times))


def _read_log(
    log: LogLike,
    pieces: Pieces,
    probes: Mapping[str, str],
    given: tuple[float, ...] | None,
    rules: tables.ParameterSet,
    longest_gap_s: float,
    cooling: bool,
) -> Read:
    meats, found, said = _meats(log, probes, rules, longest_gap_s)
    doubtful = {doubt.channel for doubt in found}
    judged = [meat for meat in meats if meat.name not in doubtful]
    if not judged:  # nothing is sure: show what the doubtful ones would be worth
        judged = [meat for meat in meats if np.isfinite(meat.temperature_c).any()]
    groups = _groups(judged, pieces, meats)
    asked: tuple[Doubt, ...] = ()
    if pieces is None and len(judged) > 1:
        asked = (ask.about_pieces([meat.name for meat in judged]),)
    ways = tuple(
        (
            how,
            tuple(
                Piece(
                    name,
                    tuple(meat.name for meat in members),
                    piece_record(
                        log,
                        members,
                        longest_gap_s=longest_gap_s,
                        ceiling_c=rules["hottest_meat"],
                    ),
                )
                for name, members in group
            ),
        )
        for how, group in groups
    )
    ways, fallen = _with_new_pieces(ways, given, rules, longest_gap_s, cooling)
    faults = [doubt.text for doubt in found]
    faults += _told(log, meats)
    for piece in {id(p): p for _, way in ways for p in way}.values():
        faults += _gaps(piece.record)
    return Read(ways, (*found, *asked, *fallen), tuple(dict.fromkeys(faults)), tuple(said))


def _meats(
    log: LogLike, probes: Mapping[str, str], rules: tables.ParameterSet, longest_gap_s: float
) -> tuple[list[ChannelLike], list[Doubt], list[Text]]:
    """Return the probes in the meat, the questions about them, and what was said of them."""
    left_out = tuple(getattr(log, "left_out", ()))
    known = [channel.name for channel in (*log.channels, *left_out)]
    answers: dict[str, str] = {}
    for name, answer in probes.items():
        if name not in known:
            raise InputError(f"no probe called '{name}'; the log has: {', '.join(known)}.")
        answers[name] = ask.spoken(str(answer))
        if answers[name] not in ask.ANSWERS:
            raise InputError(
                f"probe '{name}' is said to be '{answer}'; say {', '.join(ask.ANSWERS)}."
            )
    said: list[Text] = [
        f"{name} was said to be {answer}"
        + ("." if answer == ask.IN_MEAT else ": it is left out.")
        for name, answer in answers.items()
    ]
    meats: list[ChannelLike] = [
        channel
        for channel in log.channels
        if answers.get(channel.name, ask.IN_MEAT if channel.role == "meat" else "")
        == ask.IN_MEAT
    ]
    found: list[Doubt] = []
    size = np.size(log.time_s)
    for column in left_out:
        values = np.asarray(column.temperature_c, dtype=float)
        if answers.get(column.name) == ask.IN_MEAT:
            if values.shape != (size,):
                raise InputError(
                    f"column '{column.name}' has no readings on the log's times; read the log "
                    "again and name it as a meat column."
                )
            meats.append(_Probe(column.name, values))
        elif column.meat_like and column.name not in answers:
            if not values.size:
                text = say("{0}: {1}. Was it in the meat?", column.name, column.reason)
                probe = _Probe(column.name, values)
                found.append(ask.about_probe(probe, "never plugged in", text))
                continue
            text = say(
                "Column {0} was left out ({1}), but its numbers could be those of a probe in "
                "meat: what was it?",
                column.name,
                column.reason,
            )
            found.append(ask.about_probe(_Probe(column.name, values), "left out", text))
    for meat in meats:
        if answers.get(meat.name) is None:
            others = [other for other in meats if other is not meat]
            doubt = ask.probe_doubt(log, meat, others, rules, longest_gap_s)
            if doubt is not None:
                found.append(doubt)
    return meats, found, said


def _groups(
    judged: Sequence[ChannelLike], pieces: Pieces, meats: Sequence[ChannelLike]
) -> list[tuple[Text, list[tuple[Text, list[ChannelLike]]]]]:
    """Return the ways to sort probes into pieces."""
    if not judged:
        raise InputError(
            "no probe in the meat gave a reading, and air temperature never stands for the "
            "core. Name the meat channel when reading the log, or measure the core."
        )
    names = [meat.name for meat in judged]
    together: list[tuple[Text, list[ChannelLike]]] = [
        ("the piece" if len(judged) > 1 else names[0], list(judged))
    ]
    apart: list[tuple[Text, list[ChannelLike]]] = [(meat.name, [meat]) for meat in judged]
    if isinstance(pieces, Mapping):
        return [("", _named(judged, pieces, meats))]
    if pieces not in (None, "one", "each"):
        raise InputError(
            f"pieces is {pieces!r}: give 'one', 'each', or a mapping of a name for each piece "
            "to its probes."
        )
    if len(judged) == 1 or pieces == "one":
        return [("", together)]
    if pieces == "each":
        return [("", apart)]
    return [("all probes in one piece", together), ("each probe in a piece of its own", apart)]


def _named(
    judged: Sequence[ChannelLike],
    pieces: Mapping[str, Sequence[str]],
    meats: Sequence[ChannelLike],
) -> list[tuple[Text, list[ChannelLike]]]:
    members = {
        str(name): ((probes,) if isinstance(probes, str) else tuple(probes))
        for name, probes in pieces.items()
    }
    listed = [probe for probes in members.values() for probe in probes]
    known = [meat.name for meat in meats]
    for probe in listed:
        if probe not in known:
            raise InputError(
                f"no meat probe called '{probe}' for a piece; there are: {', '.join(known)}."
            )
        if listed.count(probe) > 1:
            raise InputError(f"probe '{probe}' is named in two pieces; name it in one.")
    lost = [meat.name for meat in judged if meat.name not in listed]
    if lost:
        raise InputError(
            f"{', '.join(lost)}: in which piece? Name every meat probe in pieces, or say in "
            "probes that it was not used."
        )
    found: list[tuple[Text, list[ChannelLike]]] = [
        (name, [meat for meat in judged if meat.name in probes])
        for name, probes in members.items()
    ]
    return [(name, inside) for name, inside in found if inside]


# A new piece put on.


def _with_new_pieces(
    ways: tuple[tuple[Text, tuple[Piece, ...]], ...],
    given: tuple[float, ...] | None,
    rules: tables.ParameterSet,
    longest_gap_s: float,
    cooling: bool,
) -> tuple[tuple[tuple[Text, tuple[Piece, ...]], ...], tuple[Doubt, ...]]:
    """Cut the pieces where a new one was put on; unanswered, judge both ways."""
    if given is not None:
        if not given:
            return ways, ()
        return tuple((how, _cut(pieces, given)) for how, pieces in ways), ()
    found = [_fallen(piece, rules, longest_gap_s) for piece in _all(ways)]
    again = _merged(t for times in found for t, rises, _ in times if rises)
    # Laid on a table it has nothing more to tell; as cold as raw meat it may be in other meat.
    once = _merged(
        t for times in found for t, rises, raw in times if not rises and (raw or cooling)
    )
    asked: list[Doubt] = []
    if again:
        asked.append(ask.about_new_piece(again, rises=True))
        ways = (
            *ways,
            *(
                (
                    say("{0}a new piece put on", say("{0}, ", how) if how else ""),
                    _cut(pieces, again),
                )
                for how, pieces in ways
            ),
        )
    if once:
        asked.append(ask.about_new_piece(once, rises=False))
    return ways, tuple(asked)


def _all(ways: tuple[tuple[Text, tuple[Piece, ...]], ...]) -> list[Piece]:
    return [piece for _, pieces in ways for piece in pieces]


def _fallen(
    piece: Piece, rules: tables.ParameterSet, longest_gap_s: float
) -> list[tuple[float, bool, bool]]:
    record = piece.record
    series = [values for _, values in record.probes] or [record.coldest_c]
    return [
        found
        for values in series
        for found in ask.falls(
            record.time_s, values, rules, longest_gap_s, record.unknown_spans
        )
    ]


def _merged(times: Any) -> tuple[float, ...]:
    """Return times, those of the same moment once."""
    kept: list[float] = []
    for time in sorted(times):
        if not kept or time - kept[-1] > _SETTLING_S:
            kept.append(time)
    return tuple(kept)


def _cut(pieces: Sequence[Piece], times: Sequence[float]) -> tuple[Piece, ...]:
    found: list[Piece] = list(pieces)
    for time in times:
        covering = [p for p in found if p.record.time_s[0] < time <= p.record.time_s[-1]]
        falling = [p for p in covering if _falls_around(p.record, time)]
        for piece in falling or covering:
            place = found.index(piece)
            found[place : place + 1] = _parts(piece, time)
    return tuple(found)


def _falls_around(record: CookRecord, time_s: float) -> bool:
    near = np.abs(record.time_s - time_s) <= _AROUND_S
    before = record.hottest_c[near & (record.time_s <= time_s)]
    after = record.coldest_c[near & (record.time_s >= time_s)]
    before, after = before[np.isfinite(before)], after[np.isfinite(after)]
    last = record.hottest_c[(record.time_s < time_s) & np.isfinite(record.hottest_c)][-1:]
    before = np.concatenate((before, last))
    return bool(before.size and after.size and np.max(before) - np.min(after) >= _FALL_K)


def _parts(piece: Piece, time_s: float) -> list[Piece]:
    """Cut a piece in two: what was in it before, and the one that was put on."""
    record = piece.record
    settling = (record.time_s >= time_s) & (record.time_s <= time_s + _SETTLING_S)
    settled = settling & np.isfinite(record.coldest_c)
    begin = time_s
    if settled.any():
        which = np.flatnonzero(settled)
        begin = float(record.time_s[which[int(np.argmin(record.coldest_c[which]))]])
    parts = []
    for number, kept in enumerate((record.time_s < time_s, record.time_s >= begin)):
        name = piece.name if number == 0 else say("{0} from {1} on", piece.name, At(begin))
        if kept.any():
            parts.append(replace(piece, name=name, record=_kept(record, kept)))
    return parts


def _kept(record: CookRecord, kept: NDArray[np.bool_]) -> CookRecord:
    some = np.flatnonzero(kept & np.isfinite(record.hottest_c))
    if some.size:
        kept = kept & (np.arange(kept.size) >= some[0]) & (np.arange(kept.size) <= some[-1])
    return replace(
        record,
        time_s=record.time_s[kept],
        coldest_c=record.coldest_c[kept],
        hottest_c=record.hottest_c[kept],
        air_c=None if record.air_c is None else record.air_c[kept],
        probes=tuple((name, values[kept]) for name, values in record.probes),
        refused=record.refused or not bool(np.isfinite(record.coldest_c[kept]).any()),
    )


# What was wrong with it.


def _told(log: LogLike, meats: Sequence[ChannelLike]) -> list[Text]:
    """Return what the reader of the log repaired, left out and warned of."""
    found: list[Text] = []
    for column in getattr(log, "left_out", ()):
        if not column.meat_like and not any(meat.name == column.name for meat in meats):
            found.append(f"Column {column.name} was left out: {column.reason}.")
    found += [warning for warning in getattr(log, "warnings", ())]
    repairs = getattr(log, "repairs", ())
    if len(repairs) <= _MOST_TOLD:
        found += [repair.sentence() for repair in repairs]
    else:
        found += [layer.sentence() for layer in getattr(log, "layers", ())]
    return found


def _gaps(record: CookRecord) -> tuple[Text, ...]:
    """Say where nothing was read, or an unknown time passed."""
    found: list[Text] = []
    for start, end, _, _ in record.gaps():
        if any(start < last and end > first for first, last in record.unknown_spans):
            found.append(say("Between {0} and {1} an unknown time passed.", At(start), At(end)))
        else:
            found.append(
                say("No reading from {0} to {1}, {2}.", At(start), At(end), Needed(end - start))
            )
    if len(found) > _MOST_TOLD:
        rest = len(found) - _MOST_TOLD
        found = [*found[:_MOST_TOLD], f"{rest} more gaps."]
    return tuple(found)
