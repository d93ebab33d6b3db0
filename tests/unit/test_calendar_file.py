"""The calendar file, read back by a reader of our own and by the library."""

from __future__ import annotations

import dataclasses
import datetime as dt
import re
from types import SimpleNamespace
from zoneinfo import ZoneInfo

import pytest

import coreward as cw
from coreward.questions.plan.answer import (
    Hold,
    Plan,
    PlannedPiece,
    Wanted,
    chances,
    clock_text,
    plan,
)
from coreward.questions.plan.calendar import _summary, calendar_bytes
from coreward.words import shown

pytestmark = pytest.mark.quick

LONDON = ZoneInfo("Europe/London")
MADE = dt.datetime(2026, 10, 20, 9, 0, tzinfo=dt.UTC)


@pytest.fixture(scope="module", params=["clock goes back", "clock goes forward", "new year"])
def night(request) -> Plan:
    """Plan a supper whose fire is lit before a change of the clock, and served after it."""
    serve = {
        "clock goes back": dt.datetime(2026, 10, 25, 7, 0, tzinfo=LONDON),
        "clock goes forward": dt.datetime(2027, 3, 28, 7, 0, tzinfo=LONDON),
        "new year": dt.datetime(2027, 1, 1, 2, 0, tzinfo=LONDON),
    }[request.param]
    piece = PlannedPiece(
        "pork; loin, small",
        cw.Piece(cw.Slab(0.04), cw.meat("pork loin"), 4.0),
        Wanted(80.0, lethality=False),
        wrap="foil",
        wrap_at_core_c=60.0,
        hold=Hold("kitchen", 600.0, 600.0),
    )
    return plan(piece, serve, members=20)


def read_back(data: bytes) -> list[dict[str, str]]:
    """Read the events as RFC 5545 says: folded lines joined, names apart from values."""
    text = data.decode("utf-8")
    assert "\r\n" in text
    assert not re.search(r"(?<!\r)\n", text)
    for line in text.split("\r\n"):
        assert len(line.encode("utf-8")) <= 75  # section 3.1
    lines = re.sub(r"\r\n[ \t]", "", text).split("\r\n")
    events, inside = [], []
    for line in lines:
        if not line:
            continue
        name, value = re.split(r"(?:;[^:]*)?:", line, maxsplit=1)
        if name == "BEGIN":
            inside.append(value)
            if value == "VEVENT":
                events.append({})
        elif name == "END":
            assert inside.pop() == value
        elif inside == ["VCALENDAR", "VEVENT"]:
            # Section 3.3.11: backslash, semicolon, comma and newline are escaped.
            plain = re.sub(r"\\([\\;,])", r"\1", value.replace("\\n", "\n"))
            events[-1][name] = plain
    assert not inside
    return events


def moment(text: str) -> dt.datetime:
    """Form 2 of section 3.3.5: universal time."""
    return dt.datetime.strptime(text, "%Y%m%dT%H%M%SZ").replace(tzinfo=dt.UTC)


def test_every_step_is_there_at_its_time(night: Plan) -> None:
    events = read_back(calendar_bytes(night, title="Supper", made_at=MADE))
    steps = [step for step in night.steps if step.kind != "hold"]
    assert len(events) == len(steps)
    for event, step in zip(events, steps, strict=True):
        decided = step.kind in ("light", "on", "slice", "serve")
        begin = step.planned if decided or step.latest <= step.earliest else step.earliest
        assert moment(event["DTSTART"]).timestamp() == begin.timestamp()
        assert moment(event["DTEND"]) > moment(event["DTSTART"])
        assert step.kind in event["SUMMARY"].lower()
        assert step.piece in event["SUMMARY"]


def test_the_hours_between_are_true_hours(night: Plan) -> None:
    """From lighting to serving, through whatever the clock does."""
    events = read_back(calendar_bytes(night, made_at=MADE))
    first = next(e for e in events if e["SUMMARY"].startswith("Light"))
    last = next(e for e in events if e["SUMMARY"].startswith("Serve"))
    apart = moment(last["DTSTART"]) - moment(first["DTSTART"])
    lead = night.serve_at.timestamp() - night.light.planned.timestamp()
    assert apart.total_seconds() == lead
    # And on the wall of the hall it reads what the plan says.
    shown = moment(first["DTSTART"]).astimezone(LONDON)
    assert (shown.hour, shown.minute) == (
        night.light.planned.hour,
        night.light.planned.minute,
    )


def test_the_library_reads_it_too(night: Plan) -> None:
    icalendar = pytest.importorskip("icalendar")
    data = calendar_bytes(night, title="Supper", made_at=MADE)
    read = icalendar.Calendar.from_ical(data)
    found = [e for e in read.walk("VEVENT")]
    mine = read_back(data)
    assert [str(e["SUMMARY"]) for e in found] == [e["SUMMARY"] for e in mine]
    assert [e["DTSTART"].dt for e in found] == [moment(e["DTSTART"]) for e in mine]
    assert str(read["VERSION"]) == "2.0"


def test_names_of_entries_stay_so_that_a_new_file_replaces_the_old(night: Plan) -> None:
    one = read_back(calendar_bytes(night, title="Supper", made_at=MADE))
    two = read_back(calendar_bytes(night, title="Supper", made_at=MADE + dt.timedelta(hours=1)))
    assert [e["UID"] for e in one] == [e["UID"] for e in two]
    assert len({e["UID"] for e in one}) == len(one)
    assert one[0]["DTSTAMP"] != two[0]["DTSTAMP"]


def test_what_the_person_does_is_reminded_of(night: Plan) -> None:
    text = calendar_bytes(night, made_at=MADE).decode()
    reminded = [s for s in night.steps if s.kind != "hold"]
    assert text.count("BEGIN:VALARM") == len(reminded) == 6
    assert "calibrated thermometer" in read_back(text.encode())[0]["DESCRIPTION"]


def test_a_stamp_without_a_zone_is_refused(night: Plan) -> None:
    with pytest.raises(cw.InputError, match="needs a time zone"):
        calendar_bytes(night, made_at=dt.datetime(2026, 1, 1))


def test_each_entry_word_for_word(night: Plan) -> None:
    """Times, texts and reminders of every entry, as a person finds them."""
    icalendar = pytest.importorskip("icalendar")
    read = icalendar.Calendar.from_ical(calendar_bytes(night, title="Supper", made_at=MADE))
    assert str(read["PRODID"]) == "-//Coreward//plan of a day//EN"
    found = {str(e["SUMMARY"]): e for e in read.walk("VEVENT")}
    name, unsure = "pork; loin, small", " (the hold tables cannot tell)"
    steps = {step.kind: step for step in night.steps}
    assert set(found) == {
        "Supper: Light",
        f"Supper: On {name}",
        f"Supper: Wrap {name}",
        f"Supper: Pull {name}{unsure}",
        f"Supper: Slice {name}{unsure}",
        f"Supper: Serve{unsure}",
    }
    caution = night.cautions[0]
    near = night.serve_at
    for kind in ("light", "on", "wrap", "pull", "slice", "serve"):
        step = steps[kind]
        summary = f"Supper: {kind.capitalize()} {step.piece}".strip()
        entry = found[f"{summary}{unsure * (kind in ('pull', 'slice', 'serve'))}"]
        begin, end = entry["DTSTART"].dt, entry["DTEND"].dt
        alarms = entry.walk("VALARM")
        window = (
            f"As likely before as after {clock_text(step.planned, near)}; between "
            f"{clock_text(step.earliest, near)} and {clock_text(step.latest, near)} in "
            f"{chances(step.chance)}."
        )
        lines = str(entry["DESCRIPTION"]).split("\n")
        assert lines[-1] == caution
        assert entry["DTSTAMP"].dt == MADE
        assert str(entry["TRANSP"]) == "TRANSPARENT"
        if kind in ("wrap", "pull"):
            assert (begin.timestamp(), end.timestamp()) == (
                step.earliest.timestamp(),
                step.latest.timestamp(),
            )
            assert window in lines
        else:
            assert begin.timestamp() == step.planned.timestamp()
            assert end - begin == dt.timedelta(minutes=15)
            assert window not in lines
        # The meat's own hours too: before the first at which it may be there.
        assert [alarm["TRIGGER"].dt for alarm in alarms] == [dt.timedelta(minutes=-10)]
        assert str(alarms[0]["DESCRIPTION"]) == str(entry["SUMMARY"])
        assert str(alarms[0]["ACTION"]) == "DISPLAY"
    told = {kind: str(found[k]["DESCRIPTION"]).split("\n")[:-1] for k in found
            for kind in [k.split()[1].lower()]}  # fmt: skip
    assert (
        told["light"]
        == [
            "the odds hold between the two" * bool(steps["light"].note),
            *(shown(words, "C") for words in (night.sentences[0], *night.slips)),
        ][not steps["light"].note :]
    )
    assert any(line.startswith("Light the fire at ") for line in told["light"][:2])
    doubt = shown(night.piece(name).unsure, "C")
    assert doubt.startswith("Pork; loin, small, pulled at core 80 °C: Cannot tell under ")
    assert told["on"] == told["slice"] == [doubt]
    assert told["wrap"][:2] == [doubt, "in foil, core 60 °C"]
    assert told["pull"][:2] == [doubt, "core 80 °C"]
    assert told["pull"][3:] == ["Then kitchen, at least 10 min."]
    assert told["serve"] == []


def test_entries_are_in_the_units_of_the_reader(night: Plan) -> None:
    text = calendar_bytes(night, made_at=MADE, units="F").decode().replace("\r\n ", "")
    assert "core 176 °F" in text
    assert "in foil\\, core 140 °F" in text
    assert "°C" not in text


def test_a_supper_of_another_day_or_title_has_other_names(night: Plan) -> None:
    def uids(plan: Plan, title: str = "Supper") -> set[str]:
        return {e["UID"] for e in read_back(calendar_bytes(plan, title=title, made_at=MADE))}

    later = dataclasses.replace(night, serve_at=night.serve_at + dt.timedelta(days=1))
    assert not uids(night) & uids(later)
    assert not uids(night) & uids(night, "Lunch")
    # Another hour of the same day is the same supper.
    hour = dataclasses.replace(night, serve_at=night.serve_at + dt.timedelta(hours=1))
    assert uids(night) == uids(hour)
    assert all(re.fullmatch(r"[0-9a-f]{24}@coreward", uid) for uid in uids(night))


def test_an_entry_has_its_window_only_where_the_meat_decides(night: Plan) -> None:
    """Also where what a person decides may slip, and where the meat leaves no window."""
    slip, none = dt.timedelta(minutes=25), dt.timedelta(0)

    def changed(step):
        return dataclasses.replace(
            step,
            earliest=step.planned - (none if step.kind in ("wrap", "pull") else slip),
            latest=step.planned + (none if step.kind in ("wrap", "pull") else slip),
        )

    moved = dataclasses.replace(night, steps=tuple(changed(step) for step in night.steps))
    steps = [step for step in moved.steps if step.kind != "hold"]
    events = read_back(calendar_bytes(moved, made_at=MADE))
    for event, step in zip(events, steps, strict=True):
        assert moment(event["DTSTART"]).timestamp() == step.planned.timestamp()
        assert moment(event["DTEND"]) - moment(event["DTSTART"]) == dt.timedelta(minutes=15)


@pytest.mark.parametrize(
    ("kind", "piece", "words"),
    [
        ("pull", "loin", "Pull loin (too raw)"),
        ("slice", "loin", "Slice loin (too raw)"),
        ("slice", "ham", "Slice ham"),
        ("on", "loin", "On loin"),
        # What is served is all of it: each doubt once.
        ("serve", "", "Serve (too raw; no hold table covers it)"),
        ("light", "", "Light"),
    ],
)
def test_a_doubt_stands_in_the_heading_of_what_is_eaten(kind: str, piece: str, words: str):
    pieces = [
        SimpleNamespace(item=SimpleNamespace(name=name), doubt=doubt, warnings=())
        for name, doubt in (
            ("loin", "too raw"), ("ham", ""), ("leg", "too raw"),
            ("salmon", "no hold table covers it"),
        )
    ]  # fmt: skip
    step = SimpleNamespace(kind=kind, piece=piece)
    for title, before in (("", ""), ("Supper", "Supper: ")):
        assert _summary(SimpleNamespace(pieces=pieces), step, title) == before + words
