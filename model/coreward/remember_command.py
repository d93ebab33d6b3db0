"""``coreward remember``: keep a finished log for the next forecast, on this machine only."""

from __future__ import annotations

import argparse
import datetime as dt
from pathlib import Path
from typing import Any

from coreward.errors import InputError
from coreward.log_options import (
    add_log_options,
    moment,
    number,
    print_json,
    read,
    said,
    tell,
    temperature_c,
)


def add_options(parser: argparse.ArgumentParser) -> None:
    """Add the log, what it cannot tell, and what else can be done."""
    add_log_options(parser, needed=False)
    told = parser.add_argument_group("what the log cannot tell")
    told.add_argument("--cut", help="such as 'pork shoulder'; see `coreward tables piece`")
    told.add_argument("--mass", type=number, metavar="KG", help="raw; this or the thickness")
    told.add_argument(
        "--thickness", type=number, metavar="MM", help="where it is thickest, or its diameter"
    )
    told.add_argument("--pit", metavar="NAME", help="your name of the pit, always the same")
    told.add_argument(
        "--set", type=temperature_c, metavar="TEMPERATURE", help="what the pit was set to"
    )
    told.add_argument(
        "--target",
        type=temperature_c,
        metavar="TEMPERATURE",
        help="the reading it was pulled at",
    )
    told.add_argument(
        "--wrap",
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
    from coreward.questions.keep.answer import remember
    from coreward.units import millimetres_to_metres

    missing = [
        name
        for name, given in (
            ("--cut NAME", options.cut),
            ("--mass KG or --thickness MM", options.mass or options.thickness),
            ("--pit NAME", options.pit),
            ("--set TEMPERATURE (of the pit)", options.set),
            ("--target TEMPERATURE (that it was pulled at)", options.target),
        )
        if given is None
    ]
    if missing:
        raise InputError(f"The log cannot tell everything: say also {', '.join(missing)}.")
    thick = options.thickness
    given: dict[str, Any] = {
        "mass_kg": options.mass,
        "thickness_m": None if thick is None else float(millimetres_to_metres(thick)),
        "wrapping": options.wrap,
    }
    kept = remember(
        read(options),
        cut=options.cut,
        target_c=options.target,
        pit=options.pit,
        pit_set_c=options.set,
        meat=options.meat,
        now=dt.datetime.now().replace(microsecond=0),
        **said(given),
    )
    tell(kept, options)


def _say(data: dict[str, Any], words: str, options: argparse.Namespace) -> None:
    if options.json:
        print_json(data)
    else:
        print(words)
