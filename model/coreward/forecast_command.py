"""``coreward forecast``: when will it be ready, for a terminal or a headless logger."""

from __future__ import annotations

import argparse
from collections.abc import Callable, Iterator
from typing import Any

from coreward.errors import InputError
from coreward.log_options import print_json, read, stated


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
    wanted.add_argument(
        "--pit",
        metavar="NAME",
        help="your name of the pit, as given to `coreward remember`: says what its cooks "
        "taught",
    )
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
    from coreward.units import read_length, read_temperature

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
    return Piece(
        SHAPES[shape](_of_piece(read_length, size)), meat(cut), read_temperature(start)
    )


def _of_piece(read: Callable[[str], float], text: str) -> float:
    try:
        return read(text)
    except InputError as error:
        raise InputError(f"--piece: {error}") from None


def _weighed(parts: list[str]) -> Any:
    """Read a piece that was weighed."""
    from coreward.cook.usual_piece import piece
    from coreward.units import read_length, read_mass, read_temperature

    cut, weight, *between, start = parts
    sizes = [part for part in between if part.lower() != "bone"]
    if len(sizes) > 1:
        raise InputError(
            f"--piece: one thickness goes after the weight; there are {', '.join(sizes)}."
        )
    return piece(
        cut,
        _of_piece(read_mass, weight),
        bone=len(sizes) < len(between),
        thickness_m=_of_piece(read_length, sizes[0]) if sizes else None,
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


def run(options: argparse.Namespace) -> None:
    """Answer once, or again and again while the file grows."""
    from coreward.experience.learned import learned
    from coreward.experience.own_cooks import own_cooks
    from coreward.plain import as_data
    from coreward.questions.forecast.answer import forecast
    from coreward.questions.forecast.words import explain_move
    from coreward.reports.things import document_of
    from coreward.units import read_temperature
    from coreward.words import shown

    piece = piece_of(options.piece)
    target = read_temperature(options.target)
    changes = tuple(change_of(text) for text in options.change)
    earlier, own = None, own_cooks()
    indent = None if options.follow else 2
    taught = None if options.pit is None else learned(own, options.pit)
    logs = _followed(options) if options.follow else iter([read(options)])
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
                own=own,
                pit_name=options.pit or "",
            )
        except InputError as error:
            # Early in a cook there is too little to say; a follower waits for more.
            if not options.follow:
                raise
            waiting = error.shown(options.show_units)
            print_json({"waiting": waiting}, indent) if options.json else print(waiting)
            continue
        said = document_of(answer)
        if options.json:
            told = said.data(options.show_units)
            if taught is not None:
                told["learned"] = as_data(taught, options.show_units)
                told["learned"]["said"] = as_data(taught.said, options.show_units)
            print_json(told, indent)
        else:
            print(said.text(options.show_units))
            for sentence in () if taught is None else taught.said:
                print(shown(sentence, options.show_units))
            if earlier is not None:
                print(explain_move(earlier, answer).in_words())
            if options.follow:
                print(flush=True)
        earlier = answer


def _followed(options: argparse.Namespace) -> Iterator[Any]:
    """Return logs of a growing file, at most one each `every` seconds."""
    from coreward.logs.follow import follow_log

    return follow_log(
        options.log, idle_s=options.idle, apart_s=options.every, **stated(options)
    )
