"""From what a cook knows to a body: a cut, a weight, and perhaps a tape measurement or two."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping
from dataclasses import fields
from types import MappingProxyType
from typing import Final

from coreward import tables
from coreward.cook.stages import Piece, PieceGuess
from coreward.errors import InputError
from coreward.physics.body import (
    BirdBreast,
    Block,
    FiniteCylinder,
    FiniteShape,
    Loaf,
    TaperedFlat,
)
from coreward.physics.meat import meat, with_bone
from coreward.words import Length, Mass, Text, say, together

# A tape on meat, and what is left of the other sizes.
_MEASURED_SPREAD = 1.06
# How far a size may lie from that of the usual proportions; beyond, one of the numbers is
# taken for a slip.
_ODD_SIZE = 2.2
_BONE = "bone"

# Share of the volume of a box of thickness, width and length that each form fills.
_FILLS: Final[Mapping[str, float]] = MappingProxyType(
    {
        "block": 1.0,
        "finite cylinder": 0.25 * math.pi,
        "loaf": 0.25 * math.pi,
        "bird's breast": math.pi / 6.0,
    }
)
_MAKES: Final[Mapping[str, Callable[[float, float, float], FiniteShape]]] = MappingProxyType(
    {
        "block": Block,
        "finite cylinder": lambda t, w, length: FiniteCylinder(math.sqrt(t * w), length),
        "loaf": Loaf,
        "bird's breast": BirdBreast,
    }
)


def cut_names() -> tuple[str, ...]:
    """Return the cuts whose proportions are known."""
    return tuple(name for name in tables.names("piece") if name != _BONE)


def find_cut(name: str) -> str:
    """Return the cut that people mean by a name.

    Parameters
    ----------
    name : str
        A name of table ``piece``, or one that the trade uses for it.

    Raises
    ------
    InputError
        If no cut is called so.
    """
    asked = " ".join(str(name).replace("-", " ").casefold().split())
    for cut in cut_names():
        known = tables.load("piece", cut).text("aliases").split(", ")
        if asked in (cut, *known):
            return cut
    near = [cut for cut in cut_names() if set(asked.split()) & set(cut.split())]
    raise InputError(
        f"No cut is called {str(name)[:40]!r}; use {', '.join(near or cut_names())}."
    )


def _fills(usual: tables.ParameterSet) -> float:
    """Share of the box around a piece that it fills."""
    if usual.text("form") == "tapered flat":
        return 0.5 * (1.0 + usual["thin_end"])
    return _FILLS[usual.text("form")]


def _usual_thickness(usual: tables.ParameterSet, volume: float) -> float:
    return float((volume / (_fills(usual) * usual["width"] * usual["length"])) ** (1.0 / 3.0))


def _check_against_weight(
    name: str,
    usual: tables.ParameterSet,
    density: float,
    volume: float,
    thickness: float | None,
    length: float | None,
) -> None:
    """Refuse sizes that a piece of this weight cannot have, and say what it would weigh."""
    for size, what in ((thickness, "thick"), (length, "long")):
        if size is None:
            continue
        per_thickness = 1.0 if what == "thick" else usual["length"]
        odd = size / per_thickness / _usual_thickness(usual, volume)
        if not 1.0 / _ODD_SIZE <= odd <= _ODD_SIZE:
            raise InputError(
                say(
                    "A {0} that is {1} {2} would weigh about {3} by its usual proportions, not "
                    "{4}: check both numbers and their units.",
                    name,
                    Length(size),
                    what,
                    Mass(odd**3 * volume * density),
                    Mass(volume * density),
                )
            )
    if thickness is None or length is None:
        return
    width = usual["width"] * _usual_thickness(usual, volume)
    odd = volume / (_fills(usual) * thickness * length) / width
    if not 1.0 / _ODD_SIZE <= odd <= _ODD_SIZE:
        raise InputError(
            say(
                "A {0} that is {1} thick and {2} long would weigh about {3} at its usual "
                "width, not {4}: check the numbers and their units.",
                name,
                Length(thickness),
                Length(length),
                Mass(volume * density / odd),
                Mass(volume * density),
            )
        )


def _shape(
    usual: tables.ParameterSet, volume: float, thickness: float, length: float | None
) -> FiniteShape:
    """Return the shape of a volume and a thickness; its width follows."""
    form, thin = usual.text("form"), usual["thin_end"]
    section = volume / (_fills(usual) * thickness)
    if form == "finite cylinder" and length is None:
        width = thickness
        length = section / width
    elif length is None:
        length = math.sqrt(section * usual["length"] / usual["width"])
        width = section / length
    else:
        width = section / length
    if form == "tapered flat":
        return TaperedFlat(thickness, thin * thickness, width, length)
    return _MAKES[form](thickness, width, length)


def piece(
    cut: str,
    mass_kg: float,
    *,
    bone: bool = False,
    thickness_m: float | None = None,
    length_m: float | None = None,
    start_c: float = 4.0,
    transport: str | tables.ParameterSet | None = None,
) -> Piece:
    """Return a piece from its weight, with the usual proportions of its cut.

    Parameters
    ----------
    cut : str
        A name of table ``piece``, or one that the trade uses, such as "boston butt".
    mass_kg : float
        Raw, with its bone. [kg]
    bone : bool
        Whether the bone is in it.
    thickness_m, length_m : float, optional
        What a tape says: where it is thickest, and how long it is. [m]
    start_c : float
        [°C]
    transport : str or ParameterSet, optional
        As for :func:`coreward.meat`.

    Returns
    -------
    Piece
        Its `assumed` says what was taken for granted, and with what range.

    Raises
    ------
    InputError
        If the cut is not known, or weight and sizes are not of one piece.
    """
    name = find_cut(cut)
    usual = tables.load("piece", name)
    low, high = usual.record("mass").range
    number = isinstance(mass_kg, (int, float)) and not isinstance(mass_kg, bool)
    if not (number and math.isfinite(mass_kg) and 0.5 * low <= mass_kg <= 1.5 * high):
        given: Text = Mass(mass_kg) if number and math.isfinite(mass_kg) else repr(mass_kg)
        raise InputError(
            say(
                "A {0} of {1} is no weight that is sold: it weighs {2} to {3}. Check the "
                "number and its unit, or give each of several pieces by itself.",
                name,
                given,
                Mass(low),
                Mass(high),
            )
        )
    share = usual["bone"] if bone else 0.0
    material = with_bone(meat(name, transport=transport), share)
    volume = mass_kg / material.raw_density
    expected = _usual_thickness(usual, volume)
    for what, size in (("thickness", thickness_m), ("length", length_m)):
        if size is not None and not (math.isfinite(size) and 0.005 <= size <= 1.5):
            raise InputError(
                say(
                    "The {0} is {1}: give one between {2} and {3}.",
                    what,
                    Length(size),
                    Length(0.005),
                    Length(1.5),
                )
            )
    _check_against_weight(name, usual, material.raw_density, volume, thickness_m, length_m)
    thickness = thickness_m
    if thickness is None:
        # A longer piece of the same weight is thinner and narrower alike.
        long = 1.0 if length_m is None else length_m / (expected * usual["length"])
        thickness = expected / math.sqrt(long)
    if thickness_m is None:
        least, most = usual.record("thickness_factor").range
    else:
        least, most = 1.0 / _MEASURED_SPREAD, _MEASURED_SPREAD
    thin, middle, thick = (
        _shape(usual, volume, thickness * factor, length_m) for factor in (least, 1.0, most)
    )
    return Piece(
        middle,
        material,
        start_c,
        float(mass_kg),
        assumed=PieceGuess(name, thin, thick, thickness_m, length_m, share),
    )


def assumed_words(one: Piece) -> Text:
    """Say what was taken for granted of a piece; empty for one that was given by its shape."""
    guess = one.assumed
    if guess is None or one.mass_kg is None or not isinstance(one.shape, FiniteShape):
        return ""
    shape = one.shape
    sizes = [
        say("{0} {1}", item.name.removesuffix("_m"), Length(getattr(shape, item.name)))
        for item in fields(shape)  # type: ignore[arg-type]
    ]
    told: list[Text] = [
        say(
            "{0} of {1} is taken for a {2}: {3}.",
            guess.cut.capitalize(),
            Mass(one.mass_kg),
            shape.name,
            together(sizes, ", "),
        )
    ]
    across = fields(shape)[0].name  # type: ignore[arg-type]
    if guess.thick.size > 1.001 * guess.thin.size:
        what = "Measured" if guess.thickness_m is not None else "Not measured"
        told.append(
            say(
                "{0}, so {1} {2} to {3} is reckoned with for this weight.",
                what,
                across.removesuffix("_m"),
                Length(getattr(guess.thin, across)),
                Length(getattr(guess.thick, across)),
            )
        )
    if guess.bone_share:
        told.append(say("Bone is taken for {0} % of it.", str(round(100.0 * guess.bone_share))))
    return together(told)


def piece_code(one: Piece) -> str:
    """Return the call that makes such a piece again."""
    guess = one.assumed
    if guess is None:
        raise InputError("Only a piece that came from coreward.piece has such a call.")
    given = [repr(guess.cut), repr(float(one.mass_kg or 0.0))]
    if guess.bone_share:
        given.append("bone=True")
    for name, value in (("thickness_m", guess.thickness_m), ("length_m", guess.length_m)):
        if value is not None:
            given.append(f"{name}={float(value)!r}")
    given.append(f"start_c={float(one.start_c)!r}")
    return f"cw.piece({', '.join(given)})"


__all__ = ["assumed_words", "cut_names", "find_cut", "piece", "piece_code"]
