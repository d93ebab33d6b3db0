"""``coreward watch``: follow a running log while its cook is away, and call when needed."""

from __future__ import annotations

import argparse
import json
import math
import shutil
import subprocess
import sys
import time
from collections.abc import Callable
from dataclasses import dataclass, field
from functools import partial
from pathlib import Path
from typing import Any

from coreward import cautions
from coreward.errors import CorewardError, InputError, LogError
from coreward.inputs import key_of, number, option, temperature_c
from coreward.log_options import add_log_options, moment, stated, with_options
from coreward.questions.watch.wanted import TIMES, Watched

_MINUTE = 60.0
_LOOK_S = 2.0
# A person's command may hang; the next thing to say must not wait for it for ever.
_LONGEST_RUN_S = 60.0


def add_options(parser: argparse.ArgumentParser) -> None:
    """Add the log, what is watched for, and where it is said."""
    add_log_options(parser, answers=False)
    what = parser.add_argument_group("what is watched for (a silent probe or logger always is)")
    what.add_argument("--meat", type=int, default=1, help="which meat probe, from 1")
    what.add_argument(
        "--target", metavar="TEMPERATURE", help="the reading that is wanted, such as 93C"
    )
    what.add_argument(
        "--pit",
        type=_range,
        metavar="LOW..HIGH",
        help="its range: 95C..125C, 95C.. or ..260F",
    )
    what.add_argument(
        "--wrap-at", metavar="WHEN", help="66C (a reading) or 5:20 (hours of the log)"
    )
    what.add_argument("--hold", action="store_true", help="it is held hot: the limit is near")
    what.add_argument("--chill", action="store_true", help="it is chilled: a limit is near")
    for name, (usual_s, words) in TIMES.items():
        what.add_argument(
            f"--{key_of(name).replace('_', '-')}",
            default=usual_s,
            help=f"{words} (default {usual_s / _MINUTE:g})",
            **option(name, "min"),
        )
    ahead = parser.add_argument_group("with a forecast (else by its pace of half an hour)")
    ahead.add_argument(
        "--piece", metavar="PIECE", help="as for `coreward forecast`; needs --target"
    )
    ahead.add_argument(
        "--forecast-every",
        default=900.0,
        help="a new forecast so often (default 15)",
        **option("forecast_every_s", "min"),
    )
    ahead.add_argument("--members", type=int, default=100, help="its draws (default 100)")
    said = parser.add_argument_group("where it is said")
    said.add_argument(
        "--json",
        nargs="?",
        const="-",
        metavar="FILE",
        help="a line of JSON each time, added to a file; without one on standard output",
    )
    said.add_argument(
        "--every",
        type=number,
        default=60.0,
        metavar="SECONDS",
        help="least time between two looks at new rows (default 60)",
    )
    said.add_argument(
        "--idle", type=number, metavar="SECONDS", help="end after so long without a new row"
    )
    said.add_argument(
        "--run",
        dest="command",
        nargs=argparse.REMAINDER,
        metavar="COMMAND",
        help="last of all: a command with its arguments, run for each thing that is said, "
        "without a shell; the sentence is added as its last argument, the JSON is on its "
        "standard input",
    )


def _range(text: str) -> tuple[float | None, float | None]:
    low, dots, high = text.partition("..")
    ends = tuple(temperature_c(end) if end.strip() else None for end in (low, high))
    if not dots or ends == (None, None):
        raise argparse.ArgumentTypeError(f"{text!r} is no range such as 95C..125C or 95C..")
    return ends[0], ends[1]


def run(options: argparse.Namespace) -> None:
    """Follow until the log has been idle for so long, or for ever."""
    from coreward.logs.follow import LogFollower

    watcher = Watcher(options)
    follower = LogFollower(options.log, **stated(options))
    print(f"{cautions.ODDS} {cautions.ANSWER}", file=sys.stderr)
    while True:
        is_new = _polled(follower, watcher)
        watcher.look(follower.log, is_new, time.monotonic())
        if options.idle is not None and watcher.age_s(time.monotonic()) >= options.idle:
            is_new = follower.finish() is not None
            watcher.look(follower.log, is_new, time.monotonic(), last=True)
            return
        time.sleep(max(_LOOK_S, follower.rest_s))


def _polled(follower: Any, watcher: Watcher) -> bool:
    """Look at the file; a log that can no longer be understood does not end the watch."""
    try:
        return follower.poll() is not None
    except LogError as error:
        if follower.log is None:
            raise with_options(error) from error
        watcher.complain(str(error))
        return False


@dataclass
class Watcher:
    """What the loop keeps from one look to the next."""

    options: argparse.Namespace
    _wanted: Any = field(init=False)
    _piece: Any = field(init=False, default=None)
    _memory: Any = field(init=False, default=None)
    _outlook: Any = field(init=False, default=None)
    _forecast: Any = field(init=False, default=None)
    _began: float = field(init=False)
    _new_at: float = field(init=False)
    _looked: float = field(init=False, default=-math.inf)
    _asked: float = field(init=False, default=-math.inf)
    _waiting: bool = field(init=False, default=False)
    _complained: str = field(init=False, default="")
    _is_first: bool = field(init=False, default=True)

    def __post_init__(self) -> None:
        from coreward.units import read_temperature

        options = self.options
        if options.every <= 0.0 or options.forecast_every_s <= 0.0:
            raise InputError("--every and --forecast-every need a time above 0.")
        if options.command is not None:
            if not options.command:
                raise InputError("--run needs a command; it stands last of all options.")
            if shutil.which(options.command[0]) is None:
                raise InputError(
                    f"--run: there is no command {options.command[0]!r}; give its whole path."
                )
        if options.piece is not None:
            from coreward.forecast_command import piece_of

            if options.target is None:
                raise InputError("--piece asks for a forecast, which needs --target as well.")
            self._piece = piece_of(options.piece)
        at = options.wrap_at
        by_time = at is not None and ":" in at
        low, high = options.pit or (None, None)
        try:
            wrap_s = moment(at) if by_time else None
        except argparse.ArgumentTypeError as error:
            raise InputError(f"--wrap-at: {error}.") from None
        self._wanted = Watched(
            meat=options.meat,
            target_c=None if options.target is None else read_temperature(options.target),
            pit_low_c=low,
            pit_high_c=high,
            wrap_at_c=None if at is None or by_time else read_temperature(at),
            wrap_at_s=wrap_s,
            hold=options.hold,
            chill=options.chill,
            **{name: getattr(options, name) for name in TIMES},
        )
        self._began = self._new_at = time.monotonic()

    def age_s(self, now: float) -> float:
        """How long ago the last row came. [s]."""
        return now - self._new_at

    def look(self, log: Any, is_new: bool, now: float, *, last: bool = False) -> None:
        """Say what there is to say; a row that comes too soon is kept until its time.

        Parameters
        ----------
        log : ProbeLog or None
        now : float
            Of a clock that only goes forward. [s]
        last : bool
            Nothing more will come: what was kept is said now.
        """
        if is_new:
            self._new_at = now
            if self._is_first:
                # The file may have lain there: its age is that of its last row.
                self._new_at -= _age_of(self.options.log)
                self._is_first = False
            self._waiting = True
        if log is None or not (last or now - self._looked >= self.options.every):
            return
        if last and not self._waiting:
            return
        self._looked = now
        if self._waiting:
            self._foresee(log, now)
        self._waiting = False
        from coreward.questions.watch.answer import watch

        answer, self._memory = watch(
            log,
            self._wanted,
            self._memory,
            age_s=self.age_s(now),
            outlook=self._outlook,
        )
        self._say(answer)

    def complain(self, words: str) -> None:
        """Say on the side that something went wrong, once."""
        if words != self._complained:
            self._complained = words
            print(f"coreward: {' '.join(words.split())}", file=sys.stderr, flush=True)

    def _foresee(self, log: Any, now: float) -> None:
        """Make a new forecast, now and then."""
        wanted = self._wanted
        if self._piece is None or now - self._asked < self.options.forecast_every_s:
            return
        self._asked = now
        from coreward.questions.forecast.answer import forecast
        from coreward.questions.watch.answer import Outlook

        try:
            answer = forecast(
                log,
                self._piece,
                wanted.target_c,
                meat=wanted.meat,
                members=self.options.members,
                earlier=self._forecast,
            )
        except CorewardError as error:
            self._outlook = None
            self.complain(error.shown(self.options.show_units))
            return
        self._forecast = answer
        wrap = None
        if wanted.wrap_at_c is not None:
            above = answer.bands_c[-1] >= wanted.wrap_at_c
            wrap = float(answer.time_s[above.argmax()]) if above.any() else math.inf
        self._outlook = Outlook(answer.median_s, answer.quantile_s(5.0), wrap)

    def _say(self, answer: Any) -> None:
        from coreward.reports.things import document_of
        from coreward.words import At, shown

        units = self.options.show_units
        lines = [(one.time_s, shown(one.words, units)) for one in answer.news]
        if answer.quiet:
            lines.append((answer.now_s, shown(answer.quiet, units)))
        data = document_of(answer).data(units)
        text = json.dumps(data, ensure_ascii=False, allow_nan=False)
        if self.options.json == "-":
            print(text, flush=True)
        else:
            for seconds, words in lines:
                print(f"{At(seconds, answer.start).shown(units)}  {words}", flush=True)
            if self.options.json is not None:
                self._try(partial(_add_line, Path(self.options.json), text))
        if self.options.command:
            for one in answer.news:
                called = [*self.options.command, shown(one.words, units)]
                self._try(partial(_call, called, text))

    def _try(self, act: Callable[[], None]) -> None:
        """What goes wrong with saying is said on the side, and ends nothing."""
        try:
            act()
        except (OSError, ValueError, subprocess.SubprocessError) as error:
            self.complain(f"It could not be passed on: {error}")


def _add_line(file: Path, text: str) -> None:
    with file.open("a", encoding="utf-8") as stream:
        stream.write(text + "\n")


def _call(arguments: list[str], text: str) -> None:
    subprocess.run(
        arguments,
        input=text,
        text=True,
        encoding="utf-8",
        stdout=subprocess.DEVNULL,
        timeout=_LONGEST_RUN_S,
        check=True,
    )


def _age_of(path: Path) -> float:
    try:
        return max(time.time() - path.stat().st_mtime, 0.0)
    except OSError:
        return 0.0
