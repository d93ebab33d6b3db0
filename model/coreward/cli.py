"""The ``coreward`` command: open the workbench, or answer a question about a log.

Every import that costs time waits until a command needs it.
"""

from __future__ import annotations

import argparse
import json
import math
import os
import sys
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import Any, NoReturn

from coreward import __version__, cautions, forecast_command, launch
from coreward.errors import CorewardError, InputError, LogError

_SECONDS_PER_MINUTE = 60.0
EXIT_FINE = 0
EXIT_CHECK_FAILED = 1
EXIT_ERROR = 3
EXIT_USAGE = 64  # EX_USAGE of the BSD sysexits convention
EXIT_INTERRUPTED = 130  # 128 + SIGINT, as shells report it

_PROBE_CAUTION = cautions.ANSWER


# The reader speaks of its own arguments; a person at a terminal has options.
_OPTION_FOR = {
    "columns=": "--column 'HEADING=ROLE'",
    "units=": "--units C or --units F",
    "start_date": "--start-date YYYY-MM-DD",
    "accept_jumps=": "--accept-jumps",
    "zone=": "--zone Europe/Berlin",
    "sheet=": "--sheet NAME",
}


class _Parser(argparse.ArgumentParser):
    """A parser whose usage errors cannot be mistaken for a verdict's exit code."""

    def error(self, message: str) -> NoReturn:
        """Print the usage and leave with the usage code."""
        self.print_usage(sys.stderr)
        self.exit(EXIT_USAGE, f"{self.prog}: {message}\n")


def build_parser() -> argparse.ArgumentParser:
    """Return the parser of the whole command."""
    parser = _Parser(
        prog="coreward",
        description="Explain and foresee the slow cooking of large pieces of meat. "
        "Without a subcommand: open the workbench in JupyterLab.",
        epilog=_PROBE_CAUTION,
    )
    parser.add_argument("--version", action="store_true", help="print the version")
    parser.add_argument("--port", type=int, help="the port to use; else a free one is chosen")
    parser.add_argument(
        "--no-browser", action="store_true", help="print the address, open no browser"
    )
    parser.add_argument(
        "--folder",
        type=Path,
        help="work in a copy of the notebooks here (default where a copy is needed: "
        f"{launch.COPY_FOLDER_NAME} in your home); files you changed are never overwritten",
    )
    parser.add_argument(
        "--check", action="store_true", help="check this installation and say what was found"
    )
    parser.set_defaults(run=_run_workbench)
    commands = parser.add_subparsers(title="subcommands", metavar="", parser_class=_Parser)

    _add_app(commands)

    review = commands.add_parser(
        "review",
        help="read a probe log: what was understood, repaired, and what it tells",
        description="Read a probe log and say what was understood, what was repaired row by "
        "row, how long each probe spent where, and what that did to a stated organism.",
        epilog=_PROBE_CAUTION,
    )
    _add_log_options(review)
    review.set_defaults(run=_run_review)

    verdict = commands.add_parser(
        "verdict",
        help="does this log meet its target under its assumptions?",
        description="Say whether the cook in a probe log meets its target, does not, or "
        "whether that cannot be told, and under which assumptions.",
        epilog=f"Exit code: 0 met, 1 not met, 2 cannot tell, {EXIT_ERROR} the log cannot be "
        f"used, {EXIT_USAGE} wrong usage. {_PROBE_CAUTION}",
    )
    _add_log_options(verdict)
    _add_verdict_options(verdict)
    verdict.set_defaults(run=_run_verdict)

    forecast = commands.add_parser(
        "forecast",
        help="when will a running cook be ready? With bands, and what it assumed",
        description="Fit piece, pit and probe to a running log and say when the probe will "
        "show its target: most likely, half of the chances, nine tenths.",
        epilog=f"Needs about 250 MB; on one core of a small board a few seconds with "
        f"--members 100. {_PROBE_CAUTION}",
    )
    _add_log_options(forecast)
    forecast_command.add_options(forecast)
    forecast.set_defaults(run=_run_forecast)

    report = commands.add_parser(
        "report",
        help="write a log's review or verdict as a page to keep: HTML, PDF, CSV or ZIP",
        description="Read a probe log and write its review, or its verdict, to one file that "
        "needs no network: the suffix says .html, .pdf, .csv (the cleaned log) or .zip.",
        epilog=f"Exit code: 0 written, {EXIT_ERROR} not written. {_PROBE_CAUTION}",
    )
    _add_log_options(report)
    report.add_argument(
        "-o", "--output", metavar="FILE", type=Path, required=True, help="the file to write"
    )
    report.add_argument(
        "--verdict",
        action="store_true",
        help="the verdict, by the options below, not the review",
    )
    report.add_argument(
        "--entry",
        action="append",
        type=_column,
        metavar="NAME=WORDS",
        help="who and what, for the head of a verdict: 'Kitchen=Village hall', 'Batch=T1', "
        "'Cooked by=Osei'; what is not given is a line to fill in by hand",
    )
    report.add_argument(
        "--with-code", action="store_true", help="with the lines of Python that repeat it"
    )
    _add_verdict_options(report)
    report.set_defaults(run=_run_report)

    tables = commands.add_parser(
        "tables",
        help="print the constants with unit, range and source",
        description="Print every constant with its unit, range and source.",
    )
    tables.add_argument("kind", nargs="?", help="only this kind of table")
    tables.set_defaults(run=_run_tables)
    return parser


def _add_app(commands: Any) -> None:
    app = commands.add_parser(
        "app",
        help="the notebooks as plain pages without code, for a projector, a phone or a class",
        description="Serve the notebooks as plain pages: pictures, words and controls, no "
        "code. Only this machine can reach them unless you say --share.",
        epilog=_PROBE_CAUTION,
    )
    # Said before or after the word `app`, these mean the same.
    same: dict[str, Any] = {"default": argparse.SUPPRESS}
    app.add_argument("--port", type=int, help="the port to use; else a free one", **same)
    app.add_argument(
        "--no-browser", action="store_true", help="print the address, open no browser", **same
    )
    app.add_argument("--folder", type=Path, help="show the copy of the notebooks here", **same)
    app.add_argument(
        "--share",
        action="store_true",
        help="let others on the local network in; prints the address for them",
    )
    app.add_argument(
        "--places",
        type=int,
        metavar="N",
        help="how many pages may be live at once (default: as many as fit, up to 30)",
    )
    app.set_defaults(run=_run_app)


def _add_verdict_options(parser: argparse.ArgumentParser) -> None:
    judged = parser.add_argument_group("what is judged")
    judged.add_argument(
        "--meat",
        action="append",
        help="beef, pork, lamb, veal, chicken, turkey, poultry or other meat; more than once "
        "for a mixture. Not said: beef and poultry must both hold",
    )
    judged.add_argument(
        "--condition",
        action="append",
        metavar="STATE",
        help="intact (default), tenderised, injected, rolled, stuffed or ground; several, more "
        "than once or with commas, add all their limits",
    )
    judged.add_argument(
        "--standard",
        action="append",
        metavar="NAME",
        help="a standard that is to decide; more than once for several. Not said: those made "
        "for the meat, and the come-up",
    )
    judged.add_argument(
        "--cooling",
        nargs="?",
        const=True,
        metavar="RULE",
        help="let the cooling decide too, by the usual rule or the one named",
    )
    judged.add_argument(
        "--reheating",
        nargs="?",
        const=True,
        metavar="RULE",
        help="judge the last rise from the cold as a reheating of cooked meat too, by the "
        "usual rule or the one named",
    )
    whose = parser.add_argument_group("whose history it is (the answer asks where it matters)")
    whose.add_argument(
        "--pieces",
        type=_pieces,
        metavar="PIECES",
        help="one: all meat probes are in one piece; each: each is in its own; or by names, "
        "such as 'brisket=T1,T2;pork=T3'. Not said: both are judged and the worse holds",
    )
    whose.add_argument(
        "--probe",
        action="append",
        type=_column,
        metavar="NAME=WHAT",
        help="what a doubtful probe was: 'T3=in the air', 'T3=not used' or 'T3=in the meat'",
    )
    whose.add_argument(
        "--new-piece",
        action="append",
        type=_moment,
        metavar="H:MM",
        help="when a new piece was put on, on the record's clock, such as 5:20; more than once "
        "for several; none for the same piece throughout",
    )
    probe = parser.add_argument_group("the probe")
    probe.add_argument(
        "--probe-error", type=_number, metavar="K", help="added to every target, in kelvin"
    )
    probe.add_argument(
        "--thickness",
        type=_number,
        metavar="MM",
        help="thickness or diameter of the piece; with --probe-depth and --shape the centre "
        "is estimated and judged in place of the probe",
    )
    probe.add_argument(
        "--probe-depth", type=_number, metavar="MM", help="depth of the tip below the surface"
    )
    probe.add_argument(
        "--depth-error",
        type=_number,
        metavar="MM",
        default=0.0,
        help="how well that depth is known (default 0)",
    )
    probe.add_argument("--shape", choices=("slab", "cylinder", "sphere"), help="of the piece")
    cooker = parser.add_argument_group("the cooker (some standards ask)")
    cooker.add_argument(
        "--surface",
        help="what kept the surface moist: sealed bag, immersed, moisture-holding casing, "
        "direct heat, steam, sealed oven, humid air or dry",
    )
    cooker.add_argument(
        "--humid", type=_number, metavar="MIN", help="how long it was humid, in minutes"
    )
    cooker.add_argument(
        "--oven",
        type=_temperature_c,
        metavar="TEMPERATURE",
        help="the lowest through the cook, such as 121C or 250F; plain numbers are °C",
    )
    cooker.add_argument("--oven-kind", help="still or convection")
    cooker.add_argument("--mass", type=_number, metavar="KG", help="mass of the piece")


def _number(text: str) -> float:
    """Read a finite number; argparse turns the error into one about the option."""
    try:
        value = float(text)
    except ValueError:
        value = math.nan
    if not math.isfinite(value):
        raise argparse.ArgumentTypeError(f"{text!r} is not a finite number")
    return value


def _temperature_c(text: str) -> float:
    """Read a temperature; argparse turns the error into one about the option."""
    from coreward.units import read_temperature

    try:
        return read_temperature(text)
    except InputError as error:
        raise argparse.ArgumentTypeError(str(error)) from error


def _column(text: str) -> tuple[str, str]:
    """Read NAME=ROLE; the name may itself hold an equals sign."""
    name, sign, role = text.rpartition("=")
    if not sign or not name.strip() or not role.strip():
        raise argparse.ArgumentTypeError(f"{text!r} is not NAME=ROLE, such as 'probe 1=meat'")
    return name.strip(), role.strip()


def _pieces(text: str) -> str | dict[str, tuple[str, ...]]:
    """Read one, each, or NAME=PROBE,PROBE;NAME=PROBE."""
    if text in ("one", "each"):
        return text
    found: dict[str, tuple[str, ...]] = {}
    for part in text.split(";"):
        name, sign, probes = part.partition("=")
        named = tuple(probe.strip() for probe in probes.split(",") if probe.strip())
        if not sign or not name.strip() or not named or name.strip() in found:
            raise argparse.ArgumentTypeError(
                f"{text!r} is not one, each or NAME=PROBE,PROBE;NAME=PROBE, such as "
                "'brisket=T1,T2;pork=T3'"
            )
        found[name.strip()] = named
    return found


def _moment(text: str) -> float | None:
    """Read H:MM or H:MM:SS on the record's clock; None for the word none. [s]."""
    if text == "none":
        return None
    parts = text.split(":")
    whole = all(part.isdecimal() and len(part) <= 4 for part in parts)
    if len(parts) not in (2, 3) or not whole or any(int(part) > 59 for part in parts[1:]):
        raise argparse.ArgumentTypeError(f"{text!r} is not a time such as 5:20, or none")
    hours, minutes, seconds = (int(part) for part in (*parts, "0")[:3])
    return 3600.0 * hours + _SECONDS_PER_MINUTE * minutes + seconds


def _add_log_options(parser: argparse.ArgumentParser) -> None:
    parser.add_argument(
        "log", metavar="LOG", type=Path, help="the probe log: CSV, .xlsx or JSON lines"
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
        type=_column,
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
        "--organism", help="the organism to answer for, as named by `coreward tables`"
    )
    parser.add_argument(
        "--show-units",
        choices=("C", "F"),
        type=str.upper,
        default="C",
        help="the unit of the answer's temperatures (default C)",
    )
    parser.add_argument("--json", action="store_true", help="print JSON for a program")


def main(arguments: Sequence[str] | None = None) -> int:
    """Run the command.

    Parameters
    ----------
    arguments : sequence of str, optional
        What follows the command's name; None takes the process's own.

    Returns
    -------
    int
        The exit code.
    """
    _let_streams_print_anything()
    options = build_parser().parse_args(arguments)
    if options.version:
        print(f"coreward {__version__}")
        return EXIT_FINE
    # Before anything can import the compiler.
    launch.prepare_solver_cache()
    run: Callable[[argparse.Namespace], int] = options.run
    try:
        code = run(options)
        sys.stdout.flush()
        return code
    except CorewardError as error:
        print(f"coreward: {_one_line(error, options)}", file=sys.stderr)
        return EXIT_ERROR
    except KeyboardInterrupt:
        print("Stopped.", file=sys.stderr)
        return EXIT_INTERRUPTED
    except BrokenPipeError:
        _drop_output()
        return EXIT_FINE


def _drop_output() -> None:
    """Let the reader of our output (a pager, `head`) leave when it has seen enough.

    Python would complain once more when it flushes at exit.
    """
    os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())


def _let_streams_print_anything() -> None:
    """Keep a terminal without Unicode from turning an answer into a traceback."""
    for stream in (sys.stdout, sys.stderr):
        reconfigure = getattr(stream, "reconfigure", None)
        if reconfigure is not None:
            reconfigure(errors="replace")


def _one_line(error: CorewardError, options: argparse.Namespace) -> str:
    # Not every subcommand shows temperatures.
    return " ".join(error.shown(getattr(options, "show_units", "C")).split())


def _run_workbench(options: argparse.Namespace) -> int:
    if options.check:
        return _run_check(options)
    launch.open_workbench(
        folder=options.folder, port=options.port, open_browser=not options.no_browser
    )
    return EXIT_FINE


def _run_app(options: argparse.Namespace) -> int:
    from coreward.app.command import open_app

    open_app(
        folder=options.folder,
        port=options.port,
        open_browser=not options.no_browser,
        share=options.share,
        places=options.places,
    )
    return EXIT_FINE


def _run_check(options: argparse.Namespace) -> int:
    print(f"Coreward {__version__}")
    checks = launch.check_environment(options.folder)
    width = max(len(check.what) for check in checks)
    for check in checks:
        print(
            f"  {'fine ' if check.is_fine else 'WRONG'} {check.what:<{width}} {check.finding}"
        )
    wrong = [check.what for check in checks if not check.is_fine]
    if wrong:
        print(f"Something is wrong with: {', '.join(wrong)}. Install Coreward again.")
        return EXIT_CHECK_FAILED
    print("Everything the workbench needs is here.")
    return EXIT_FINE


def print_json(answer: dict[str, Any], indent: int | None = 2) -> None:
    """Print plain data as JSON."""
    # allow_nan=False: NaN is not JSON, and a reader must never meet it.
    print(json.dumps(answer, indent=indent, ensure_ascii=False, allow_nan=False), flush=True)


def _read_log(options: argparse.Namespace) -> Any:
    from coreward.logs.read import read_log

    given: dict[str, Any] = {
        "units": options.units,
        "columns": dict(options.column) if options.column else None,
        "start_date": options.start_date,
        "accept_jumps": options.accept_jumps or None,
        "zone": options.zone,
        "sheet": options.sheet,
    }
    try:
        return read_log(options.log, **_said(given))
    except LogError as error:
        hints = _hints(str(error))
        if not hints:
            raise
        raise LogError(f"{error} On the command line: {'; '.join(hints)}.") from error


def _hints(message: str) -> list[str]:
    """Return the options that a message about arguments means and does not name itself."""
    return [
        option
        for argument, option in _OPTION_FOR.items()
        if argument in message and option.split()[0] not in message
    ]


def _said(given: dict[str, Any]) -> dict[str, Any]:
    """Leave out what was not said, so that the defaults live in one place."""
    return {name: value for name, value in given.items() if value is not None}


def _run_review(options: argparse.Namespace) -> int:
    _tell(_review(options), options)
    return EXIT_FINE


def _review(options: argparse.Namespace, **more: Any) -> Any:
    from coreward.questions.review.answer import review

    return review(_read_log(options), organism=options.organism, **more)


def _tell(answer: Any, options: argparse.Namespace) -> None:
    """Print all that is said of an answer: as text, or as JSON for a program."""
    from coreward.reports.things import document_of

    document = document_of(answer)
    if options.json:
        print_json(document.data(options.show_units))
    else:
        print(document.text(options.show_units))


def _run_forecast(options: argparse.Namespace) -> int:
    forecast_command.run(options, lambda: _read_log(options))
    return EXIT_FINE


def _run_report(options: argparse.Namespace) -> int:
    from coreward.reports.write import report

    if options.verdict:
        answer = _judge(options)
    else:
        answer = _review(options, **_said({"probe_error_k": options.probe_error}))
    path = report(
        answer,
        options.output,
        units=options.show_units,
        entries=dict(options.entry or ()),
        with_code=options.with_code,
    )
    if options.json:
        print_json({"kind": "report", "file": str(path)})
    else:
        print(f"Written: {path}")
    return EXIT_FINE


def _judge(options: argparse.Namespace) -> Any:
    """Give the verdict that the options ask for."""
    from coreward.questions.verdict import verdict

    moments = options.new_piece
    if moments is not None and None in moments and len(moments) > 1:
        raise InputError("--new-piece none means the same piece throughout; give no times.")
    conditions = [
        state.strip()
        for given_states in options.condition or ["intact"]
        for state in given_states.split(",")
        if state.strip()
    ]
    given: dict[str, Any] = {
        "standards": options.standard,
        "pieces": options.pieces,
        "probes": dict(options.probe) if options.probe else None,
        "new_piece_s": None if moments is None else [t for t in moments if t is not None],
        "cooling": options.cooling,
        "reheating": options.reheating,
        "probe_error_c": options.probe_error,
        "probe_offset_m": _offset_m(options),
        "shape": options.shape,
        "surface": options.surface,
        "humid_s": None if options.humid is None else options.humid * _SECONDS_PER_MINUTE,
        "oven_c": options.oven,
        "oven": options.oven_kind,
        "mass_kg": options.mass,
    }
    return verdict(
        _read_log(options),
        meat=options.meat,
        condition=conditions[0] if len(conditions) == 1 else conditions,
        organism=options.organism,
        **_said(given),
    )


def _run_verdict(options: argparse.Namespace) -> int:
    answer = _judge(options)
    try:
        _tell(answer, options)
        sys.stdout.flush()
    except BrokenPipeError:
        # The code is the answer: it must not turn into "met" because `head` was fast.
        _drop_output()
    return int(answer.exit_code)


def _offset_m(options: argparse.Namespace) -> float | None:
    """Distance of the probe from the centre, or None where it was not described. [m]."""
    described = (options.thickness, options.probe_depth, options.shape)
    if described == (None, None, None):
        return None
    if None in described:
        raise InputError(
            "to estimate the centre, say --thickness, --probe-depth and --shape together."
        )
    from coreward.questions.verdict.coldest import probe_offset
    from coreward.units import millimetres_to_metres

    lengths = (options.thickness, options.probe_depth, options.depth_error)
    return probe_offset(*(millimetres_to_metres(length) for length in lengths))


def _run_tables(options: argparse.Namespace) -> int:
    from coreward import tables

    kinds = tables.kinds() if options.kind is None else (options.kind,)
    for kind in kinds:
        print(f"== {kind} (default: {tables.default_name(kind)})\n")
        for name in tables.names(kind):
            print(tables.describe(kind, name) + "\n")
    return EXIT_FINE


if __name__ == "__main__":
    sys.exit(main())
