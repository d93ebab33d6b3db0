"""``coreward forecast``: when will it be ready, for a terminal or a headless logger."""

from __future__ import annotations

import argparse
import json
from collections.abc import Callable, Iterator
from typing import Any

from coreward.errors import InputError


def add_options(parser: argparse.ArgumentParser) -> None:
    """Add what `coreward forecast` asks beyond the log itself."""
    wanted = parser.add_argument_group("the question")
    wanted.add_argument(
        "--target",
        required=True,
        metavar="TEMPERATURE",
        help="what the probe shall show, such as 93, 93C or 200F",
    )
    wanted.add_argument(
        "--piece",
        required=True,
        metavar="CUT,SHAPE,SIZE,START",
        help="the piece as stated, such as 'beef brisket flat, slab, 60 mm, 5 C': cut as in "
        "`coreward tables cut`; slab, cylinder or sphere; thickness or diameter in mm or in; "
        "temperature at the start. Or by its weight, 'pork shoulder, 5.2 kg, 5 C': kg or lb, "
        "with the thickness after it if it was measured, and 'bone' if it has its bone",
    )
    wanted.add_argument("--meat", type=int, default=1, help="which meat probe, from 1")
    wanted.add_argument("--fire", help="what heats the pit, as in `coreward tables fire`")
    wanted.add_argument(
        "--until", type=float, metavar="HOURS", help="pretend that the log ends there"
    )
    ahead = parser.add_argument_group("what will be done (else: hold as now)")
    ahead.add_argument(
        "--change",
        action="append",
        default=[],
        metavar="WHAT@WHEN",
        help="such as foil@now, paper@66C, bare@2h, 120C@30min: wrap, unwrap or set the pit, "
        "at a time from now or at what the probe shows; more than once, in order",
    )
    ahead.add_argument(
        "--wrap",
        default="foil",
        choices=("foil", "paper"),
        help="what a wrap seen in the log was (default foil)",
    )
    how = parser.add_argument_group("how it is computed")
    how.add_argument("--members", type=int, help="draws (default 500; 100 on a small board)")
    how.add_argument("--cores", type=int, help="threads (default: all)")
    how.add_argument(
        "--follow",
        action="store_true",
        help="go on while the file grows: one answer each time there is news, JSON as one "
        "line each; Ctrl+C ends it",
    )
    how.add_argument(
        "--every",
        type=float,
        default=60.0,
        metavar="SECONDS",
        help="with --follow: the least time between two answers (default 60)",
    )
    how.add_argument(
        "--idle",
        type=float,
        metavar="SECONDS",
        help="with --follow: end after so long without a new row",
    )


def piece_of(text: str) -> Any:
    """Read ``CUT,SHAPE,SIZE,START``.

    Raises
    ------
    InputError
        Saying which part cannot be used.

    Notes
    -----
    Or ``CUT,WEIGHT[,THICKNESS][,bone],START``.
    """
    from coreward.cook.stages import Piece
    from coreward.physics.body import SHAPES
    from coreward.physics.meat import meat
    from coreward.units import read_temperature

    parts = [part.strip() for part in text.split(",")]
    if len(parts) > 2 and parts[1].lower().endswith(("kg", "lb")):
        return _weighed(parts)
    if len(parts) != 4:
        raise InputError(
            f"--piece needs four parts, such as 'beef brisket flat, slab, 60 mm, 5 C'; "
            f"{text!r} has {len(parts)}."
        )
    cut, shape, size, start = parts
    if shape not in SHAPES:
        raise InputError(f"--piece: {shape!r} is no shape; use {', '.join(SHAPES)}.")
    return Piece(SHAPES[shape](_metres(size)), meat(cut), read_temperature(start))


def _metres(size: str) -> float:
    from coreward.units import inches_to_metres, millimetres_to_metres

    number = size.lower().removesuffix("mm").removesuffix("in").strip()
    try:
        value = float(number)
    except ValueError:
        raise InputError(f"--piece: {size!r} is no size; write 60 mm or 2.4 in.") from None
    inches = size.lower().rstrip().endswith("in")
    return float(inches_to_metres(value) if inches else millimetres_to_metres(value))


def _weighed(parts: list[str]) -> Any:
    """Read a piece that was weighed."""
    from coreward.cook.usual_piece import piece
    from coreward.units import pounds_to_kilograms, read_temperature

    cut, weight, *between, start = parts
    pounds = weight.lower().endswith("lb")
    try:
        value = float(weight[:-2])
    except ValueError:
        raise InputError(
            f"--piece: {weight!r} is no weight; write 5.2 kg or 11.5 lb."
        ) from None
    sizes = [part for part in between if part.lower() != "bone"]
    if len(sizes) > 1:
        raise InputError(
            f"--piece: one thickness goes after the weight; there are {', '.join(sizes)}."
        )
    return piece(
        cut,
        float(pounds_to_kilograms(value)) if pounds else value,
        bone=len(sizes) < len(between),
        thickness_m=_metres(sizes[0]) if sizes else None,
        start_c=read_temperature(start),
    )


def change_of(text: str) -> Any:
    """Read ``WHAT@WHEN``.

    Raises
    ------
    InputError
        Saying which half cannot be used.
    """
    from coreward.questions.forecast.answer import KEEP, Change
    from coreward.units import read_temperature

    what, at, when = (part.strip().lower() for part in text.partition("@"))
    if not at:
        raise InputError(f"--change {text!r} needs WHAT@WHEN, such as foil@now or 120C@30min.")
    pit: float | None = None
    wrap: str | None = KEEP
    if what in ("foil", "paper"):
        wrap = what
    elif what == "bare":
        wrap = None
    else:
        pit = read_temperature(what)
    if when == "now":
        return Change(in_s=0.0, pit_c=pit, wrap=wrap)
    for ending, seconds in (("min", 60.0), ("h", 3600.0), ("s", 1.0)):
        if when.endswith(ending):
            try:
                ahead = float(when.removesuffix(ending))
            except ValueError:
                break
            return Change(in_s=ahead * seconds, pit_c=pit, wrap=wrap)
    return Change(at_core_c=read_temperature(when), pit_c=pit, wrap=wrap)


def run(options: argparse.Namespace, read: Callable[[], Any]) -> None:
    """Answer once, or again and again while the file grows.

    Parameters
    ----------
    options : argparse.Namespace
    read : callable
        Reads the whole log once.
    """
    from coreward.questions.forecast.answer import forecast
    from coreward.questions.forecast.words import explain_move
    from coreward.reports.things import document_of
    from coreward.units import read_temperature

    piece = piece_of(options.piece)
    target = read_temperature(options.target)
    changes = tuple(change_of(text) for text in options.change)
    earlier = None
    logs = _followed(options) if options.follow else iter([read()])
    for log in logs:
        try:
            answer = forecast(
                log,
                piece,
                target,
                changes=changes,
                meat=options.meat,
                until_s=None if options.until is None else options.until * 3600.0,
                wrap=options.wrap,
                fire=options.fire,
                members=options.members,
                cores=options.cores,
                earlier=earlier,
            )
        except InputError as error:
            # Early in a cook there is too little to say; a follower waits for more.
            if not options.follow:
                raise
            waiting = error.shown(options.show_units)
            _say_json({"waiting": waiting}, options) if options.json else print(waiting)
            continue
        said = document_of(answer)
        if options.json:
            _say_json(said.data(options.show_units), options)
        else:
            print(said.text(options.show_units))
            if earlier is not None:
                print(explain_move(earlier, answer).in_words())
            if options.follow:
                print(flush=True)
        earlier = answer


def _say_json(answer: dict[str, Any], options: argparse.Namespace) -> None:
    indent = None if options.follow else 2
    text = json.dumps(answer, indent=indent, ensure_ascii=False, allow_nan=False)
    print(text, flush=True)


def _followed(options: argparse.Namespace) -> Iterator[Any]:
    """Return logs of a growing file, at most one each `every` seconds."""
    from coreward.logs.follow import follow_log

    given = {
        "units": options.units,
        "columns": dict(options.column) if options.column else None,
        "start_date": options.start_date,
        "zone": options.zone,
        "accept_jumps": options.accept_jumps,
    }
    return follow_log(options.log, idle_s=options.idle, apart_s=options.every, **given)
