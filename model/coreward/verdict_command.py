"""``coreward verdict``: its options, shared with the report, and the answer they ask for."""

from __future__ import annotations

import argparse
from typing import Any

from coreward.errors import InputError
from coreward.inputs import number, option
from coreward.log_options import column, moment, read, said

# Options that are arguments of `verdict` as they are.
_PASSED_ON = (
    "meat",
    "organism",
    "standards",
    "pieces",
    "cooling",
    "reheating",
    "probe_error_c",
    "shape",
    "surface",
    "humid_s",
    "oven_c",
    "oven",
    "mass_kg",
)


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
        dest="standards",
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
        "--probe-error",
        dest="probe_error_c",
        type=number,
        metavar="K",
        help="added to every target, in kelvin",
    )
    probe.add_argument(
        "--thickness",
        help="thickness or diameter of the piece; with --probe-depth and --shape the centre "
        "is estimated and judged in place of the probe",
        **option("thickness_m"),
    )
    probe.add_argument(
        "--probe-depth", help="depth of the tip below the surface", **option("probe_depth_m")
    )
    probe.add_argument(
        "--depth-error",
        default=0.0,
        help="how well that depth is known (default 0)",
        **option("depth_error_m"),
    )
    probe.add_argument("--shape", choices=("slab", "cylinder", "sphere"), help="of the piece")
    cooker = parser.add_argument_group("the cooker (some standards ask)")
    cooker.add_argument(
        "--surface",
        help="what kept the surface moist: sealed bag, immersed, moisture-holding casing, "
        "direct heat, steam, sealed oven, humid air or dry",
    )
    cooker.add_argument(
        "--humid", help="how long it was humid, in minutes", **option("humid_s", "min")
    )
    cooker.add_argument(
        "--oven",
        help="the lowest through the cook, such as 121C or 250F; plain numbers are °C",
        **option("oven_c"),
    )
    cooker.add_argument("--oven-kind", dest="oven", help="still or convection")
    cooker.add_argument("--mass", help="mass of the piece", **option("mass_kg"))


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
        **{name: getattr(options, name) for name in _PASSED_ON},
        "probes": dict(options.probe) if options.probe else None,
        "new_piece_s": None if moments is None else [t for t in moments if t is not None],
        "probe_offset_m": _offset_m(options),
    }
    return verdict(
        read(options),
        condition=conditions[0] if len(conditions) == 1 else conditions,
        **said(given),
    )


def _offset_m(options: argparse.Namespace) -> float | None:
    """Distance of the probe from the centre, or None where it was not described. [m]."""
    described = (options.thickness_m, options.probe_depth_m, options.shape)
    if described == (None, None, None):
        return None
    if None in described:
        raise InputError(
            "to estimate the centre, say --thickness, --probe-depth and --shape together."
        )
    from coreward.questions.verdict.coldest import probe_offset

    return probe_offset(options.thickness_m, options.probe_depth_m, options.depth_error_m)
