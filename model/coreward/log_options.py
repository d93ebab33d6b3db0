"""What every command on a log asks about it, and how commands read and print."""

from __future__ import annotations

import argparse
import json
from pathlib import Path
from typing import Any

from coreward.errors import LogError

# The reader speaks of its own arguments; a person at a terminal has options.
_OPTION_FOR = {
    "columns=": "--column 'HEADING=ROLE'",
    "units=": "--units C or --units F",
    "start_date": "--start-date YYYY-MM-DD",
    "accept_jumps=": "--accept-jumps",
    "zone=": "--zone Europe/Berlin",
    "sheet=": "--sheet NAME",
}


def add_log_options(
    parser: argparse.ArgumentParser, *, needed: bool = True, answers: bool = True
) -> None:
    """Add the log and what may be said about it.

    Parameters
    ----------
    needed : bool
        False where a command works without a log.
    answers : bool
        False where it has an organism to answer for and a JSON of its own.
    """
    parser.add_argument(
        "log",
        metavar="LOG",
        type=Path,
        nargs=None if needed else "?",
        help="the probe log: CSV, .xlsx or JSON lines",
    )
    parser.add_argument(
        "--units",
        choices=("C", "F"),
        type=str.upper,
        help="the unit of the log's temperatures, where the file does not say",
    )
    parser.add_argument(
        "--column",
        action="append",
        type=column,
        metavar="NAME=ROLE",
        help="what a column holds, where its heading does not say: time, date, meat, air, "
        "ambient or ignore; more than once for several",
    )
    parser.add_argument(
        "--start-date",
        metavar="YYYY-MM-DD",
        help="the date of the first sample, where the file has times of day only",
    )
    parser.add_argument(
        "--zone",
        metavar="AREA/PLACE",
        help="the time zone of local clock times, such as Europe/Berlin: tells an hour that "
        "summer time skips or repeats",
    )
    parser.add_argument("--sheet", metavar="NAME", help="which sheet of a workbook")
    parser.add_argument(
        "--accept-jumps",
        action="store_true",
        help="take a jump that looks like a change between °C and °F as real",
    )
    parser.add_argument(
        "--show-units",
        choices=("C", "F"),
        type=str.upper,
        default="C",
        help="the unit of the answer's temperatures (default C)",
    )
    if answers:
        parser.add_argument(
            "--organism", help="the organism to answer for, as named by `coreward tables`"
        )
        parser.add_argument("--json", action="store_true", help="print JSON for a program")


def column(text: str) -> tuple[str, str]:
    """Read NAME=ROLE; the name may itself hold an equals sign."""
    name, sign, role = text.rpartition("=")
    if not sign or not name.strip() or not role.strip():
        raise argparse.ArgumentTypeError(f"{text!r} is not NAME=ROLE, such as 'probe 1=meat'")
    return name.strip(), role.strip()


def moment(text: str) -> float | None:
    """Read H:MM or H:MM:SS on the record's clock; None for the word none. [s]."""
    if text == "none":
        return None
    parts = text.split(":")
    whole = all(part.isdecimal() and len(part) <= 4 for part in parts)
    if len(parts) not in (2, 3) or not whole or any(int(part) > 59 for part in parts[1:]):
        raise argparse.ArgumentTypeError(f"{text!r} is not a time such as 5:20, or none")
    hours, minutes, seconds = (int(part) for part in (*parts, "0")[:3])
    return 3600.0 * hours + 60.0 * minutes + seconds


def stated(options: argparse.Namespace) -> dict[str, Any]:
    """Return what was said about the log, as a reader takes it."""
    return said(
        {
            "units": options.units,
            "columns": dict(options.column) if options.column else None,
            "start_date": options.start_date,
            "accept_jumps": options.accept_jumps or None,
            "zone": options.zone,
        }
    )


def read(options: argparse.Namespace) -> Any:
    """Read the log; what a person may have to say is told as options."""
    from coreward.logs.read import read_log

    try:
        return read_log(options.log, **said({**stated(options), "sheet": options.sheet}))
    except LogError as error:
        raise with_options(error) from error


def with_options(error: LogError) -> LogError:
    """Return an error of the reader with the options that its arguments are here."""
    hints = _hints(str(error))
    if not hints:
        return error
    return LogError(f"{error} On the command line: {'; '.join(hints)}.")


def _hints(message: str) -> list[str]:
    """Return the options that a message about arguments means and does not name itself."""
    return [
        option
        for argument, option in _OPTION_FOR.items()
        if argument in message and option.split()[0] not in message
    ]


def said(given: dict[str, Any]) -> dict[str, Any]:
    """Leave out what was not said, so that the defaults live in one place."""
    return {name: value for name, value in given.items() if value is not None}


def print_json(answer: dict[str, Any], indent: int | None = 2) -> None:
    """Print plain data as JSON."""
    # allow_nan=False: NaN is not JSON, and a reader must never meet it.
    print(json.dumps(answer, indent=indent, ensure_ascii=False, allow_nan=False), flush=True)


def tell(answer: Any, options: argparse.Namespace) -> None:
    """Print all that is said of an answer: as text, or as JSON for a program."""
    from coreward.reports.things import document_of

    document = document_of(answer)
    if options.json:
        print_json(document.data(options.show_units))
    else:
        print(document.text(options.show_units))
