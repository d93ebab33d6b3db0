"""A piece drawn to scale beside its numbers, so that a wrong entry is seen."""

from __future__ import annotations

import html
from typing import NamedTuple

from coreward.cook.stages import Piece
from coreward.physics.body import (
    BirdBreast,
    Block,
    FiniteCylinder,
    FiniteShape,
    Loaf,
    TaperedFlat,
)
from coreward.units import inches_to_metres, metres_to_inches, metres_to_millimetres
from coreward.words import Length, Mass, UnitChoice, as_units

# Of the drawing. [px]
_WIDTH, _HEIGHT = 262.0, 168.0
_MARGIN, _GAP, _LINE = 8.0, 22.0, 16.0


class _Side(NamedTuple):
    """One view: what it is called, its sizes [m], and its outline in units of them."""

    name: str
    across_m: float
    up_m: float
    path: str


_OVAL = "oval"
_RECTANGLE = "rectangle"
_DOME = "dome"
_WEDGE = "wedge"


def _sides(shape: FiniteShape) -> tuple[_Side, _Side]:
    if isinstance(shape, FiniteCylinder):
        d, length = shape.diameter_m, shape.length_m
        return _Side("end", d, d, _OVAL), _Side("side", length, d, _RECTANGLE)
    if isinstance(shape, TaperedFlat):
        t, w, length = shape.thick_m, shape.width_m, shape.length_m
        return _Side("end", w, t, _RECTANGLE), _Side("side", length, t, _WEDGE)
    if isinstance(shape, Loaf):
        t, w, length = shape.height_m, shape.width_m, shape.length_m
        return _Side("end", w, t, _DOME), _Side("side", length, t, _RECTANGLE)
    if isinstance(shape, BirdBreast):
        t, w, length = shape.height_m, shape.width_m, shape.length_m
        return _Side("end", w, t, _DOME), _Side("side", length, t, _DOME)
    assert isinstance(shape, Block)
    t, w, length = shape.thickness_m, shape.width_m, shape.length_m
    return _Side("end", w, t, _RECTANGLE), _Side("side", length, t, _RECTANGLE)


def _path(side: _Side, x: float, base: float, scale: float, thin: float) -> str:
    """Return the outline of a view that stands on a line. [px]."""
    w, h = side.across_m * scale, side.up_m * scale
    top = base - h
    if side.path == _OVAL:
        return (
            f"M{x:.1f},{base - h / 2:.1f} a{w / 2:.1f},{h / 2:.1f} 0 1,1 {w:.1f},0 "
            f"a{w / 2:.1f},{h / 2:.1f} 0 1,1 {-w:.1f},0 z"
        )
    if side.path == _DOME:
        return f"M{x:.1f},{base:.1f} a{w / 2:.1f},{h:.1f} 0 0,1 {w:.1f},0 z"
    if side.path == _WEDGE:
        low = h * thin
        return (
            f"M{x:.1f},{top:.1f} L{x + w:.1f},{base - (h + low) / 2:.1f} "
            f"L{x + w:.1f},{base - (h - low) / 2:.1f} L{x:.1f},{base:.1f} z"
        )
    return f"M{x:.1f},{top:.1f} h{w:.1f} v{h:.1f} h{-w:.1f} z"


def outline(piece: Piece, units: UnitChoice) -> str:
    """Return the drawing of a piece with ends; nothing for one that has none.

    Returns
    -------
    str
        A picture in SVG with a sentence for those who do not see it.
    """
    shape = piece.shape
    if not isinstance(shape, FiniteShape):
        return ""
    choice = as_units(units)
    end, side = _sides(shape)
    thin = shape.thin_m / shape.thick_m if isinstance(shape, TaperedFlat) else 1.0
    room = _WIDTH - 2.0 * _MARGIN - _GAP
    scale = min(
        room / (end.across_m + side.across_m),
        (_HEIGHT - 4.5 * _LINE) / max(end.up_m, side.up_m),
    )
    base = _LINE + max(end.up_m, side.up_m) * scale + 4.0
    parts = []
    x = _MARGIN
    for view in (end, side):
        wide = view.across_m * scale
        middle = x + wide / 2.0
        parts.append(
            f'<path d="{_path(view, x, base, scale, thin)}" fill="currentColor" '
            'fill-opacity="0.13" stroke="currentColor" stroke-width="1.5"/>'
        )
        parts.append(_text(middle, base + _LINE, Length(view.across_m).shown(choice)))
        parts.append(_text(middle, base + 2.0 * _LINE, view.name, 0.7))
        x += wide + _GAP
    parts.append(_text(x - _GAP, base - side.up_m * scale - 5.0,
                       f"{Length(side.up_m).shown(choice)} thick", anchor="end"))  # fmt: skip
    parts.append(_ruler(choice, scale, base + 3.0 * _LINE))
    words = (
        f"{shape.name}, to scale: {Length(end.across_m).shown(choice)} wide, "
        f"{Length(side.across_m).shown(choice)} long, {Length(side.up_m).shown(choice)} thick"
    )
    mass = piece.raw_mass_kg
    if mass is not None:
        words += f", {Mass(mass).shown(choice)}"
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" role="img" width="{_WIDTH:g}" '
        f'height="{base + 3.6 * _LINE:.0f}" viewBox="0 0 {_WIDTH:g} {base + 3.6 * _LINE:.0f}" '
        f'style="max-width:100%" aria-label="{html.escape(words, quote=True)}">'
        f"{''.join(parts)}</svg>"
    )


def _text(x: float, y: float, words: str, opacity: float = 1.0, anchor: str = "middle") -> str:
    return (
        f'<text x="{x:.1f}" y="{y:.1f}" font-size="12" text-anchor="{anchor}" '
        f'fill="currentColor" fill-opacity="{opacity:g}">{html.escape(words)}</text>'
    )


def _ruler(units: UnitChoice, scale: float, y: float) -> str:
    """Return a line of a length that everybody knows: a hand's breadth."""
    inches = units.length == "in"
    size = float(inches_to_metres(4.0)) if inches else 0.1
    told = (
        f"{metres_to_inches(size):.0f} in"
        if inches
        else f"{metres_to_millimetres(size):.0f} mm"
    )
    end = _MARGIN + size * scale
    line = (
        f'<path d="M{_MARGIN:.1f},{y - 4:.1f} v8 m0,-4 H{end:.1f} m0,-4 v8" fill="none" '
        'stroke="currentColor"/>'
    )
    return line + _text(end + 6.0, y + 4.0, f"{told}, a hand's breadth", 0.7, "start")


__all__ = ["outline"]
