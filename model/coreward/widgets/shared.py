"""The controls that several panels have, declared once: words, ranges and reasons.

Each function returns a new trait for the state of one panel. What a panel must say itself
is where it starts, and an end of a range with the reason where its own question asks for
another one. A test holds the panels to the same words for the same thing.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from types import MappingProxyType
from typing import Any, Final

from coreward import tables
from coreward.cook.rest import BOX
from coreward.cook.stages import Piece
from coreward.cook.usual_piece import piece as usual_piece
from coreward.physics.body import SHAPES as BODIES
from coreward.physics.meat import meat
from coreward.widgets.controls import HOURS, LENGTH, MASS, TEMPERATURE, Choice, Number

SHAPES: Final = MappingProxyType(
    {
        "slab": "flat, both faces open",
        "cylinder": "long and round",
        "sphere": "ball",
    }
)
"""Words for the shapes of a piece."""

ROUND_FIRST: Final = ("cylinder", "slab", "sphere")
"""Order of the shapes where the question is mostly asked of a roast."""

WEIGHED: Final = "weighed"
TAPED: Final = "taped"
FROM_WEIGHT: Final = MappingProxyType(
    {WEIGHED: "usual for its weight", TAPED: "by weight and thickness"}
)
"""Words for the ways to tell a real piece, one with ends, from its weight."""

WRAPS: Final = MappingProxyType({"foil": "foil", "paper": "paper"})
"""Words for what a piece is wrapped in."""

BARE: Final = "none"
"""Stands for no wrap."""

_FREEZING: Final = "below it the meat freezes, which this model does not follow"


def titles(kind: str, names: Sequence[str] | None = None) -> dict[str, str]:
    """Return the title of each set of constants of a kind.

    Parameters
    ----------
    names : sequence of str, optional
        Which of its sets; all when not given.
    """
    chosen = tables.names(kind) if names is None else names
    return {name: tables.load(kind, name).title for name in chosen}


def cut(default: str, *, names: Sequence[str] | None = None) -> Choice:
    """Return the choice of a cut.

    Parameters
    ----------
    names : sequence of str, optional
        The cuts that its question can be asked of; all when not given.
    """
    return Choice(default, label="cut", options=titles("cut", names))


def shape(default: str = "slab", *, names: Sequence[str] = tuple(SHAPES)) -> Choice:
    """Return the choice of a shape.

    Parameters
    ----------
    names : sequence of str
        The shapes, in the order of the list.
    """
    options = {name: SHAPES[name] for name in names}
    return Choice(default, label="shape", options=options)


def piece_shape() -> Choice:
    """Return the choice of how a piece is told: from its weight, or as a plain shape."""
    plain = {name: SHAPES[name] for name in ROUND_FIRST}
    return Choice(WEIGHED, label="shape", options={**FROM_WEIGHT, **plain})


def told_piece(inputs: Mapping[str, Any], *, bone: bool = False) -> Piece:
    """Return the piece that a cut, a weight, a thickness and `piece_shape` tell of."""
    kind = inputs["shape"]
    if kind not in FROM_WEIGHT:
        made = BODIES[kind](inputs["thickness_m"])
        return Piece(made, meat(inputs["cut"]), start_c=4.0)
    measured = inputs["thickness_m"] if kind == TAPED else None
    return usual_piece(inputs["cut"], inputs["mass_kg"], bone=bone, thickness_m=measured)


def weigh_with_cut(state: Any) -> None:
    """Let a cut that never weighs so much, or so little, come at its usual weight."""

    def weigh(change: Any) -> None:
        if state.in_one_go:
            return
        usual = tables.load("piece", change["new"])
        low, high = usual.record("mass").range
        if not low <= state.mass_kg <= high:
            state.mass_kg = usual["mass"]

    state.observe(weigh, names="cut")


def thickness(default: float, *, low: float, thinner: str, high: float = 0.2) -> Number:
    """Return the thickness of a piece, in m.

    Parameters
    ----------
    thinner : str
        What a thinner piece does, as in "hardly carries over".
    """
    return Number(
        default,
        label="thickness",
        quantity=LENGTH,
        low=low,
        high=high,
        reason=f"a thinner piece {thinner} and a thicker one takes days",
    )


def start(default: float = 4.0) -> Number:
    """Return the temperature of the raw piece, in °C."""
    return Number(
        default,
        label="start at",
        quantity=TEMPERATURE,
        low=0.0,
        high=30.0,
        reason=f"{_FREEZING}, and above it the meat is no longer raw and cold",
    )


def mass(
    default: float,
    *,
    low: float = 0.1,
    high: float = 10.0,
    reason: str = "a lighter piece hardly warms a box and a heavier one does not fit it",
) -> Number:
    """Return the mass of a piece, in kg.

    Parameters
    ----------
    default, low, high : float
        Start and ends; those of a piece that rests in a box when not given. [kg]
    """
    return Number(default, label="weighs", quantity=MASS, low=low, high=high, reason=reason)


def pit(
    default: float, *, low: float = 80.0, high: float = 180.0, label: str = "pit"
) -> Number:
    """Return the temperature of the air of the pit or oven, in °C.

    Parameters
    ----------
    label : str
        What it is called where it may be an oven.
    """
    return Number(
        default,
        label=label,
        quantity=TEMPERATURE,
        low=low,
        high=high,
        reason="the model is made for slow cooking, without browning or burning",
    )


def dew_point(default: float | None = None, *, high: float = 75.0) -> Number:
    """Return the dew point of the air of the pit, in °C.

    Parameters
    ----------
    default : float, optional
        Where the panel starts; at the usual fire's when not given. [°C]
    """
    return Number(
        tables.load("fire")["dew_point_c"] if default is None else default,
        label="dew point",
        quantity=TEMPERATURE,
        low=0.0,
        high=high,
        reason="damper air is close to steam and drier air makes no difference any more",
    )


def wrap(
    default: str = BARE, *, label: str = "wrap", bare: str = "none", into: str = ""
) -> Choice:
    """Return the choice of a wrap, or none.

    Parameters
    ----------
    into : str
        Put before the name of a wrap, as in "in foil".
    """
    worn = {name: f"{into}{words}" for name, words in WRAPS.items()}
    return Choice(default, label=label, options={BARE: bare} | worn)


def wrap_kind(*, label: str) -> Choice:
    """Return the choice of what a piece is wrapped in where it is sure to be wrapped."""
    return Choice("foil", label=label, options=WRAPS)


def wrap_core(default: float, *, label: str = "core reaches") -> Number:
    """Return the temperature of the core at which the wrap goes on, in °C."""
    return Number(
        default,
        label=label,
        quantity=TEMPERATURE,
        low=30.0,
        high=90.0,
        reason="earlier there is nothing to keep in and later it is nearly done",
        named="wrap-core",
    )


def wrap_after(default: float, *, low: float = 0.0, high: float) -> Number:
    """Return the time after which the wrap goes on, in s."""
    return Number(
        default,
        label="after",
        quantity=HOURS,
        low=low,
        high=high,
        reason="the wrap goes on during the cook",
    )


def place(default: str, *, label: str, names: Sequence[str]) -> Choice:
    """Return the choice of where a piece rests or is held.

    Parameters
    ----------
    names : sequence of str
        Sets of the table ``rest``, and `BOX`.
    """
    options = {
        each: tables.load("box").title if each == BOX else tables.load("rest", each).title
        for each in names
    }
    return Choice(default, label=label, options=options)
