"""``coreward pit``: fire and meat of a day, or a pit of one's own from its log."""

from __future__ import annotations

import argparse
import math
from dataclasses import replace
from typing import Any, Final

from coreward.errors import InputError
from coreward.inputs import number, temperature_c
from coreward.log_options import add_log_options, moment, read, tell

_HOUR: Final = 3600.0
_FOR: Final = ("lid", "gust", "rain", "vent", "outlet", "set")


def add_options(parser: argparse.ArgumentParser) -> None:
    """Add what the fire and the meat are, and the log of a pit of one's own."""
    add_log_options(parser, needed=False, answers=False)
    parser.add_argument("--json", action="store_true", help="print JSON for a program")
    fire = parser.add_argument_group("the fire")
    fire.add_argument("--pit", default="upright steel", help="a set of `coreward tables pit`")
    fire.add_argument(
        "--vent", type=number, default=0.5, help="open share of the inlet, 0 to 1"
    )
    fire.add_argument("--outlet", type=number, default=1.0, help="open share of the outlet")
    fire.add_argument("--set", type=temperature_c, help="the thermostat, where there is one")
    fire.add_argument("--for-air", type=temperature_c, metavar="T", help="find the vent for it")
    fire.add_argument("--pan", type=number, default=0.0, help="water in the pan, kg")
    fire.add_argument("--outside", type=temperature_c, help="the air outside (default 15C)")
    fire.add_argument("--wind", type=number, default=0.5, help="m/s")
    fire.add_argument(
        "--event", action="append", default=[], metavar="H:MM,WHAT,VALUE[,SECONDS]",
        help="what happens: '4:00,lid,1,30' (the lid for 30 s), '2:30,vent,0.6', "
        "'5:00,fuel,0.5' (kg), '3:00,gust,10,1800', '1:00,rain,5,3600', '0:30,pan,2', "
        "'6:00,set,120' (°C); with a log these are the notes beside it, and 'outside', "
        "'wind', 'knob', 'meat' and 'aim' too",
    )  # fmt: skip
    meat = parser.add_argument_group("the meat")
    meat.add_argument(
        "--cut", default="pork shoulder", help="as `coreward tables piece` names it"
    )
    meat.add_argument("--mass", type=number, default=4.0, help="kg")
    meat.add_argument("--pieces", type=int, default=1, help="alike, in the one pit")
    meat.add_argument("--core", type=temperature_c, help="the core wanted (default 90C)")
    meat.add_argument("--now", type=moment, metavar="H:MM", help="when a hand is at the vent")


def run(options: argparse.Namespace) -> None:
    """Answer and print."""
    tell(_own(options) if options.log is not None else _day(options), options)


def _parts(text: str) -> tuple[float, str, float, float]:
    parts = [part.strip() for part in text.split(",")]
    try:
        at = moment(parts[0])
        value, for_s = float(parts[2]), float(parts[3]) if len(parts) > 3 else 0.0
    except (argparse.ArgumentTypeError, ValueError, IndexError):
        at = None
    if at is None or len(parts) > 4:
        raise InputError(
            f"{text!r} is no event: write H:MM,WHAT,VALUE or H:MM,WHAT,VALUE,SECONDS, such as "
            "4:00,lid,1,30."
        )
    return at, parts[1], value, for_s


def _day(options: argparse.Namespace) -> Any:
    import coreward as cw
    from coreward.cook.pit import FireEvent, FirePlan, vent_for

    events = []
    for text in options.event:
        at, what, value, for_s = _parts(text)
        events.append(FireEvent(at, what, value, for_s if what in _FOR else 0.0))  # type: ignore[arg-type]
    given: dict[str, Any] = {"set_c": options.set} if options.set is not None else {}
    outside = 15.0 if options.outside is None else options.outside
    plan = FirePlan(
        options.pit, vent=options.vent, outlet=options.outlet, pan_kg=options.pan,
        outside_c=outside, outside_dew_point_c=outside - 7.0, wind=options.wind,
        events=tuple(events), **given,
    )  # fmt: skip
    if options.for_air is not None:
        plan = replace(plan, vent=vent_for(plan, options.for_air))
    return cw.pit_day(
        cw.piece(options.cut, options.mass),
        plan,
        core_c=90.0 if options.core is None else options.core,
        pieces=options.pieces,
        now_s=3.0 * _HOUR if options.now is None else options.now,
    )


def _own(options: argparse.Namespace) -> Any:
    """Learn a pit from its log; `--for-air` asks what brings it there."""
    from coreward.questions.pit.own_pit import Note, learn_pit

    log = read(options)
    air = [channel for channel in log.channels if channel.role == "air"]
    if not air:
        raise InputError(
            "The log has no air of the pit: say which column it is with --column 'NAME=air'."
        )
    notes = []
    for text in options.event:
        at, what, value, for_s = _parts(text)
        notes.append(Note(at, what, value, for_s))  # type: ignore[arg-type]
    found = learn_pit(log.time_s, air[0].temperature_c, notes)
    if options.for_air is not None and math.isfinite(options.for_air):
        found = replace(found, advised=(found.advice(options.for_air),))
    return found
