"""``coreward plan``: when to light the fire, from a file of wishes or from one line."""

from __future__ import annotations

import argparse
import datetime as dt
from dataclasses import replace
from pathlib import Path
from typing import Any

from coreward.errors import InputError
from coreward.forecast_command import piece_of
from coreward.inputs import number, temperature_c
from coreward.log_options import tell


def add_options(parser: argparse.ArgumentParser) -> None:
    """Add the file, or one piece, its hour and its pit; and what is written."""
    parser.add_argument(
        "file", nargs="?", type=Path, metavar="FILE",
        help="a plan in TOML, such as data/demo/village-hall-supper.toml; else say one piece",
    )  # fmt: skip
    one = parser.add_argument_group("one piece, where there is no file")
    one.add_argument(
        "--piece", metavar="CUT,WEIGHT,START",
        help="such as 'pork shoulder, 5.2 kg, bone, 5 C', as for `coreward forecast`",
    )  # fmt: skip
    one.add_argument("--core", type=temperature_c, help="the core wanted, such as 93 or 200F")
    one.add_argument("--pit", type=temperature_c, help="the pit's air (default 110C)")
    one.add_argument(
        "--wrap", choices=("foil", "paper"), help="what it is wrapped in, if at all"
    )
    one.add_argument("--wrap-at", type=temperature_c, help="the core at the wrap (default 70C)")
    hour = parser.add_argument_group("the hour")
    hour.add_argument(
        "--serve", metavar="DATE TIME", help="such as '2026-12-05 18:30', in the zone below"
    )
    hour.add_argument(
        "--zone", metavar="AREA/PLACE", help="such as Europe/Berlin (default: yours)"
    )
    hour.add_argument("--chance", type=number, help="of being ready, 0.5 to 0.99 (default 0.9)")
    out = parser.add_argument_group("what comes of it")
    out.add_argument("--show-units", choices=("C", "F"), default="C", help="of the answer")
    out.add_argument("--json", action="store_true", help="print JSON for a program")
    out.add_argument(
        "-o",
        "--output",
        type=Path,
        metavar="FILE",
        help="the sheet too: .html, .pdf, .csv, .zip",
    )
    out.add_argument("--calendar", type=Path, metavar="FILE", help="the alarms too, as .ics")


def run(options: argparse.Namespace) -> None:
    """Plan, print, and write what was asked for."""
    answer = _of_file(options) if options.file is not None else _of_one(options)
    tell(answer, options)
    if options.output is not None:
        from coreward.reports.write import report

        print(f"Wrote {report(answer, options.output, units=options.show_units)}.")
    if options.calendar is not None:
        from coreward.files import write_atomically
        from coreward.questions.plan.calendar import calendar_bytes
        from coreward.words import as_units

        content = calendar_bytes(answer, units=as_units(options.show_units))
        write_atomically(options.calendar, content, what="calendar")
        print(f"Wrote {options.calendar}.")


def _of_file(options: argparse.Namespace) -> Any:
    from coreward.questions.plan.file import read_plan_file

    given = [
        name for name in ("piece", "core", "pit", "wrap") if getattr(options, name) is not None
    ]
    if given:
        raise InputError(
            f"The file says what is cooked: leave out --{' and --'.join(given)}, or the file."
        )
    asked = read_plan_file(options.file)
    changes: dict[str, Any] = {}
    if options.serve is not None:
        changes["serve_at"] = _moment(options)
    if options.chance is not None:
        changes["chance"] = options.chance
    return asked.plan(**changes)


def _of_one(options: argparse.Namespace) -> Any:
    import coreward as cw

    missing = [name for name in ("piece", "core", "serve") if getattr(options, name) is None]
    if missing:
        raise InputError(
            f"A plan needs a FILE, or --{' and --'.join(missing)}: coreward plan --piece "
            "'pork shoulder, 5 kg, 4 C' --core 93 --serve '2026-12-05 18:30'."
        )
    piece = piece_of(options.piece)
    wrapped: dict[str, Any] = {}
    if options.wrap is not None:
        wrap_at = 70.0 if options.wrap_at is None else options.wrap_at
        wrapped = {"wrap": options.wrap, "wrap_at_core_c": wrap_at}
    elif options.wrap_at is not None:
        raise InputError("--wrap-at says when: say with --wrap foil or --wrap paper in what.")
    name = piece.material.name
    item = cw.PlannedPiece(name, piece, cw.Wanted(options.core), **wrapped)
    pit = cw.PitPlan() if options.pit is None else replace(cw.PitPlan(), air_c=options.pit)
    chance = {} if options.chance is None else {"chance": options.chance}
    return cw.plan([item], _moment(options), pit=pit, **chance)


def _moment(options: argparse.Namespace) -> dt.datetime:
    from zoneinfo import ZoneInfo, ZoneInfoNotFoundError

    try:
        moment = dt.datetime.fromisoformat(options.serve.strip())
    except ValueError:
        moment = None
    if moment is None or len(options.serve.strip()) < len("2026-12-05 18:30"):
        raise InputError(
            f"--serve: {options.serve!r} is no date with an hour: write '2026-12-05 18:30'."
        )
    if moment.utcoffset() is not None:
        return moment
    if options.zone is None:
        return moment.astimezone()
    try:
        return moment.replace(tzinfo=ZoneInfo(options.zone))
    except (ZoneInfoNotFoundError, ValueError, OSError):
        raise InputError(
            f"--zone: {options.zone!r} is no zone: write Area/Place, such as Europe/London."
        ) from None
