"""``coreward remember``: keep a finished log for the next forecast, on this machine only."""

from __future__ import annotations

import argparse
import dataclasses
import datetime as dt
from pathlib import Path
from typing import Any

from coreward.errors import InputError
from coreward.inputs import Asked, option, temperature_c
from coreward.log_options import add_log_options, moment, print_json, read, tell
from coreward.questions.keep.asked import ASKED, missing


def add_options(parser: argparse.ArgumentParser) -> None:
    """Add the log, what it cannot tell, and what else can be done."""
    add_log_options(parser, needed=False)
    told = parser.add_argument_group("what the log cannot tell")
    for one in ASKED:
        told.add_argument(f"--{one.option}", help=one.help, **option(one.field))
    told.add_argument(
        "--wrap",
        dest="wrapping",
        type=wrapping,
        metavar="WRAP[@WHEN]",
        help="foil or paper, at a time of the log or a reading: foil@5:20, paper@66C; or none",
    )
    told.add_argument("--meat", type=int, default=1, help="which meat probe, from 1")
    kept = parser.add_argument_group("the cooks that are kept")
    kept.add_argument("--list", action="store_true", help="list them, and what they taught")
    kept.add_argument("--forget", metavar="NAME", help="delete one")
    kept.add_argument("--export", metavar="FOLDER", type=Path, help="copy all into a folder")


def wrapping(text: str) -> Any:
    """Read WRAP[@WHEN]; argparse turns the error into one about the option."""
    from coreward.questions.keep.answer import UNWRAPPED, Wrapping

    what, at, when = (part.strip().lower() for part in text.partition("@"))
    if what not in ("foil", "paper", UNWRAPPED) or (bool(at) != bool(when)):
        raise argparse.ArgumentTypeError(
            f"{text!r} is not foil, paper or none, such as foil, foil@5:20 or paper@66C"
        )
    if not when:
        return Wrapping(what)
    if ":" in when:
        return Wrapping(what, at_s=moment(when))
    return Wrapping(what, at_core_c=temperature_c(when))


def run(options: argparse.Namespace) -> None:
    """Keep, list, forget or export."""
    from coreward.experience import own_cooks

    others = [options.list, options.forget is not None, options.export is not None]
    if sum((*others, options.log is not None)) != 1:
        raise InputError("Give either a LOG to keep, or one of --list, --forget and --export.")
    if options.list:
        tell(own_cooks.shelf(), options)
    elif options.forget is not None:
        file = own_cooks.forget(options.forget)
        _say({"kind": "forgotten", "file": str(file)}, f"Deleted: {file}", options)
    elif options.export is not None:
        files = [str(file) for file in own_cooks.export(options.export)]
        what = f"Copied {len(files)} file{'' if len(files) == 1 else 's'} to {options.export}"
        _say({"kind": "exported", "files": files}, what, options)
    else:
        _keep(options)


def _keep(options: argparse.Namespace) -> None:
    from coreward.questions.keep.answer import Finished, remember

    asked = missing({one.option: getattr(options, one.field) for one in ASKED})
    if asked:
        names = [" or ".join(map(_option_name, each)) for each in asked]
        raise InputError(f"The log cannot tell everything: say also {', '.join(names)}.")
    names = [field.name for field in dataclasses.fields(Finished)]
    finished = Finished(**{name: getattr(options, name) for name in names})
    now = dt.datetime.now().replace(microsecond=0)
    tell(remember(read(options), finished, meat=options.meat, now=now), options)


def _option_name(one: Asked) -> str:
    return f"--{one.option} {option(one.field)['metavar']}"


def _say(data: dict[str, Any], words: str, options: argparse.Namespace) -> None:
    if options.json:
        print_json(data)
    else:
        print(words)
