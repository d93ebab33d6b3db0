"""The ``coreward`` command: open the workbench, or answer a question about a log.

Every import that costs time waits until a command needs it.
"""

from __future__ import annotations

import argparse
import os
import sys
from collections.abc import Callable, Sequence
from functools import partial
from pathlib import Path
from typing import Any, NoReturn

from coreward import (
    __version__,
    cautions,
    forecast_command,
    launch,
    pit_command,
    plan_command,
    remember_command,
    verdict_command,
    watch_command,
)
from coreward.errors import CorewardError
from coreward.log_options import add_log_options, column, print_json, read, said, tell

EXIT_FINE = 0
EXIT_CHECK_FAILED = 1
EXIT_ERROR = 3
EXIT_USAGE = 64  # EX_USAGE of the BSD sysexits convention
EXIT_INTERRUPTED = 130  # 128 + SIGINT, as shells report it

_PROBE_CAUTION = cautions.ANSWER

Run = Callable[[argparse.Namespace], int | None]
"""Does what a subcommand is for; None means that all is well."""
Add = Callable[[argparse.ArgumentParser], object]


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
        "Without a subcommand: open the workbench in a browser.",
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

    def command(
        name: str, run: Run, words: str, description: str, *more: Add, epilog: str = ""
    ) -> None:
        """Add one subcommand, with the options that each of `more` adds."""
        ending = f"{epilog} {_PROBE_CAUTION}".strip()
        made = commands.add_parser(name, help=words, description=description, epilog=ending)
        for add in more:
            add(made)
        made.set_defaults(run=run)

    command(
        "lab",
        partial(_run_workbench, lab_first=True),
        "open the workbench in JupyterLab, where its pages are notebooks with their code",
        "Open the workbench in JupyterLab; its plain pages stay one click away.",
        _add_way_in,
    )
    command(
        "app",
        _run_workbench,
        "the plain pages, with --share for a class or a phone on the same network",
        "Serve the plain pages: pictures, words and controls, no code. Only this "
        "machine can reach them unless you say --share.",
        _add_way_in,
        _add_sharing,
    )
    command(
        "review",
        _run_review,
        "read a probe log: what was understood, repaired, and what it tells",
        "Read a probe log and say what was understood, what was repaired row by "
        "row, how long each probe spent where, and what that did to a stated organism.",
        add_log_options,
    )
    command(
        "verdict",
        _run_verdict,
        "does this log meet its target under its assumptions?",
        "Say whether the cook in a probe log meets its target, does not, or "
        "whether that cannot be told, and under which assumptions.",
        add_log_options,
        verdict_command.add_options,
        epilog=f"Exit code: 0 met, 1 not met, 2 cannot tell, {EXIT_ERROR} the log cannot be "
        f"used, {EXIT_USAGE} wrong usage.",
    )
    command(
        "forecast",
        forecast_command.run,
        "when will a running cook be ready? With bands, and what it assumed",
        "Fit piece, pit and probe to a running log and say when the probe will "
        "show its target: most likely, half of the chances, nine tenths.",
        add_log_options,
        forecast_command.add_options,
        epilog="Needs about 250 MB; on one core of a small board a few seconds with "
        "--members 100.",
    )
    command(
        "plan",
        plan_command.run,
        "when to light the fire, put on, wrap and pull, so that it is ready at the hour",
        "Plan a day backwards from the hour of serving, with odds: from a file that says "
        "pieces, pit and hour, or for one piece.",
        plan_command.add_options,
    )
    command(
        "remember",
        remember_command.run,
        "keep a finished log for the forecasts and plans of its pit, on this machine only",
        "Keep a finished log with its piece and its pit as a cook of your own: one "
        "open file each, in a folder of yours. What they teach of a pit narrows its forecasts. "
        "Nothing leaves this machine.",
        remember_command.add_options,
    )
    command(
        "watch",
        watch_command.run,
        "follow a running log while you are away, and say when it needs a person",
        "Follow a growing log and say when it needs a person, each thing once, and "
        "until when nobody is needed. Ctrl+C ends it.",
        watch_command.add_options,
    )
    command(
        "pit",
        pit_command.run,
        "what vent, fuel, lid and weather do to air, damp and meat; or a pit from its log",
        "Cook meat over a fire and say what a hand on the vent would change; with a log, "
        "learn the pit from its air and say how far to move. Advice only.",
        pit_command.add_options,
    )
    command(
        "report",
        _run_report,
        "write a log's review or verdict as a page to keep: HTML, PDF, CSV or ZIP",
        "Read a probe log and write its review, or its verdict, to one file that "
        "needs no network: the suffix says .html, .pdf, .csv (the cleaned log) or .zip.",
        add_log_options,
        _add_paper,
        verdict_command.add_options,
        epilog=f"Exit code: 0 written, {EXIT_ERROR} not written.",
    )
    command(
        "tables",
        _run_tables,
        "print the constants with unit, range and source",
        "Print every constant with its unit, range and source.",
        lambda made: made.add_argument("kind", nargs="?", help="only this kind of table"),
    )
    return parser


def _add_paper(report: argparse.ArgumentParser) -> None:
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
        type=column,
        metavar="NAME=WORDS",
        help="who and what, for the head of a verdict: 'Kitchen=Village hall', 'Batch=T1', "
        "'Cooked by=Osei'; what is not given is a line to fill in by hand",
    )
    report.add_argument(
        "--with-code", action="store_true", help="with the lines of Python that repeat it"
    )


def _add_way_in(way: argparse.ArgumentParser) -> None:
    # Said before or after the word, these mean the same.
    same: dict[str, Any] = {"default": argparse.SUPPRESS}
    way.add_argument("--port", type=int, help="the port to use; else a free one", **same)
    way.add_argument(
        "--no-browser", action="store_true", help="print the address, open no browser", **same
    )
    way.add_argument("--folder", type=Path, help="work in a copy here", **same)


def _add_sharing(app: argparse.ArgumentParser) -> None:
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


def main(arguments: Sequence[str] | None = None) -> int:
    """Run the command.

    Parameters
    ----------
    arguments : sequence of str, optional
        What follows the command's name; None takes the process's own.
    """
    _let_streams_print_anything()
    options = build_parser().parse_args(arguments)
    if options.version:
        print(f"coreward {__version__}")
        return EXIT_FINE
    # Before anything can import the compiler.
    launch.prepare_solver_cache()
    run: Run = options.run
    try:
        code = run(options) or EXIT_FINE
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


def _run_workbench(options: argparse.Namespace, *, lab_first: bool = False) -> int | None:
    if options.check:
        return _run_check(options)
    from coreward.app.command import open_app

    given = vars(options)
    open_app(
        folder=options.folder,
        port=options.port,
        open_browser=not options.no_browser,
        share=given.get("share", False),
        places=given.get("places"),
        lab_first=lab_first,
    )
    return None


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


def _run_review(options: argparse.Namespace) -> None:
    tell(_review(options), options)


def _review(options: argparse.Namespace, **more: Any) -> Any:
    from coreward.questions.review.answer import review

    return review(read(options), organism=options.organism, **more)


def _run_report(options: argparse.Namespace) -> None:
    from coreward.reports.write import report

    if options.verdict:
        answer = verdict_command.judge(options)
    else:
        answer = _review(options, **said({"probe_error_k": options.probe_error_c}))
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


def _run_verdict(options: argparse.Namespace) -> int:
    answer = verdict_command.judge(options)
    try:
        tell(answer, options)
        sys.stdout.flush()
    except BrokenPipeError:
        # The code is the answer: it must not turn into "met" because `head` was fast.
        _drop_output()
    return int(answer.exit_code)


def _run_tables(options: argparse.Namespace) -> None:
    from coreward import tables

    kinds = tables.kinds() if options.kind is None else (options.kind,)
    for kind in kinds:
        print(f"== {kind} (default: {tables.default_name(kind)})\n")
        for name in tables.names(kind):
            print(tables.describe(kind, name) + "\n")


if __name__ == "__main__":
    sys.exit(main())
