"""``coreward verdict``: its options, shared with the report, and the answer they ask for."""

from __future__ import annotations

import argparse
from typing import Any

from coreward.errors import InputError
from coreward.log_options import column, moment, number, read, said, temperature_c

_SECONDS_PER_MINUTE = 60.0


def add_options(parser: argparse.ArgumentParser) -> None:
    """Add what a verdict asks beyond the log itself."""
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
        type=column,
        metavar="NAME=WHAT",
        help="what a doubtful probe was: 'T3=in the air', 'T3=not used' or 'T3=in the meat'",
    )
    whose.add_argument(
        "--new-piece",
        action="append",
        type=moment,
        metavar="H:MM",
        help="when a new piece was put on, on the record's clock, such as 5:20; more than once "
        "for several; none for the same piece throughout",
    )
    probe = parser.add_argument_group("the probe")
    probe.add_argument(
        "--probe-error", type=number, metavar="K", help="added to every target, in kelvin"
    )
    probe.add_argument(
        "--thickness",
        type=number,
        metavar="MM",
        help="thickness or diameter of the piece; with --probe-depth and --shape the centre "
        "is estimated and judged in place of the probe",
    )
    probe.add_argument(
        "--probe-depth", type=number, metavar="MM", help="depth of the tip below the surface"
    )
    probe.add_argument(
        "--depth-error",
        type=number,
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
        "--humid", type=number, metavar="MIN", help="how long it was humid, in minutes"
    )
    cooker.add_argument(
        "--oven",
        type=temperature_c,
        metavar="TEMPERATURE",
        help="the lowest through the cook, such as 121C or 250F; plain numbers are °C",
    )
    cooker.add_argument("--oven-kind", help="still or convection")
    cooker.add_argument("--mass", type=number, metavar="KG", help="mass of the piece")


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


def judge(options: argparse.Namespace) -> Any:
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
        read(options),
        meat=options.meat,
        condition=conditions[0] if len(conditions) == 1 else conditions,
        organism=options.organism,
        **said(given),
    )


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
