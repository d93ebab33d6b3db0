"""What goes into an insulated box, and the box as one lump of heat.

The pieces are solved by the engine in short sub-stages, the box between them; what puts the
two together is `coreward.cook.rest.share_box`.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from coreward.cook.march import ROW_SPACING_S, Part, march, surface_conditions
from coreward.cook.stages import Piece, Stage, Wrap
from coreward.errors import InputError
from coreward.physics.body import Mesh, make_mesh
from coreward.physics.history import stored
from coreward.physics.problem import LEDGER, Forcing, Problem, Raw
from coreward.physics.statement import MaterialConstants, water_enthalpy, water_heat_capacity
from coreward.words import Text

Floats = NDArray[np.float64]

_Q = {name: i for i, name in enumerate(LEDGER)}


@dataclass(frozen=True)
class Boxed:
    """One kind of piece that goes into a box, and how it got there.

    Attributes
    ----------
    piece : Piece
    stages : tuple of Stage
        What happened to it before; may be empty.
    mass_kg : float or None
        Raw mass of one piece [kg]; the piece's own if None.
    pieces : int
        How many alike.
    wrap : str, ParameterSet or None
        What it wears in the box.
    """

    piece: Piece
    stages: tuple[Stage, ...]
    mass_kg: float | None = None
    pieces: int = 1
    wrap: Wrap = "foil"

    def __post_init__(self) -> None:
        if self.pieces < 1 or int(self.pieces) != self.pieces:
            raise InputError(
                f"A box holds one piece or more of a kind; pieces is {self.pieces!r}."
            )
        if self.mass_kg is None and self.piece.raw_mass_kg is None:
            raise InputError(
                "Give the mass of the piece (mass_kg): a slab or a cylinder is as long as you "
                "like, and a box is warmed by all of it."
            )
        if self.mass_kg is not None and not (
            math.isfinite(self.mass_kg) and self.mass_kg > 0.0
        ):
            raise InputError(
                f"The mass of a piece must be greater than zero; it is {self.mass_kg} kg."
            )

    def mass(self) -> float:
        """Raw mass of one piece. [kg]."""
        mass = self.piece.raw_mass_kg if self.mass_kg is None else self.mass_kg
        assert mass is not None
        return mass


@dataclass
class Occupant:
    """A kind of piece on its way through the box; changes step by step."""

    boxed: Boxed
    mesh: Mesh
    parts: list[Part]
    stage: Stage
    scale: float
    t: Floats
    w: Floats
    film: float
    highest: Floats
    raws: list[Raw]

    @property
    def m(self) -> MaterialConstants:
        """Numbers of its material."""
        return self.boxed.piece.constants

    def holds(self) -> tuple[float, float]:
        """Energy and water of all pieces of this kind. [J], [kg]."""
        energy, water = stored(
            self.t,
            self.w,
            self.film,
            self.highest,
            self.mesh.volume,
            self.mesh.surface_area,
            self.m,
        )
        return self.scale * float(energy), self.scale * float(water)


def before_the_box(
    boxed: Boxed, engine: str, cells: int, tolerance: float, inside: Stage
) -> tuple[Occupant, list[Text]]:
    """Run what comes before the box, as `simulate` does, and keep the state."""
    piece = boxed.piece
    mesh = make_mesh(piece.shape, cells)
    parts, state, notes = march(piece, boxed.stages, mesh, engine, tolerance, ROW_SPACING_S)
    scale = boxed.pieces * boxed.mass() / (piece.material.raw_density * mesh.volume.sum())
    occupant = Occupant(
        boxed,
        mesh,
        parts,
        inside,
        scale,
        state.temperature_c,
        state.water,
        state.film,
        state.highest_c,
        [],
    )
    return occupant, notes


def through_substep(
    one: Occupant,
    solve: Any,
    seconds: float,
    box_c: tuple[float, float],
    vapour: tuple[float, float],
    gap: float,
    tolerance: float,
) -> Raw:
    """One piece through one sub-stage, the box on a straight line."""
    ends = np.array([0.0, seconds]) if seconds > 0.0 else np.zeros(1)
    air = np.array(box_c)[: len(ends)]
    raw: Raw = solve(
        Problem(
            shape=one.boxed.piece.shape,
            mesh=one.mesh,
            material=one.m,
            conditions=surface_conditions(one.boxed.piece, one.stage),
            forcing=Forcing(
                time_s=ends,
                air_c=air,
                wall_c=air,
                vapour_pressure=np.array(vapour)[: len(ends)],
                heat_transfer=np.full(len(ends), gap),
            ),
            temperature_c=one.t,
            water=one.w,
            film=one.film,
            highest_c=one.highest,
            duration_s=seconds,
            until_core_c=None,
            tolerance=tolerance,
        )
    )
    return raw


def given_off(one: Occupant, raw: Raw) -> tuple[float, float]:
    """Heat [J] and water [kg] that all pieces of a kind gave the box."""
    book = raw.ledger[-1]
    heat = (
        -book[_Q["heat_in"]]
        + book[_Q["evaporated_energy"]]
        + book[_Q["boiled_energy"]]
        + book[_Q["dripped_energy"]]
    )
    water = book[_Q["evaporated"]] + book[_Q["boiled"]] + book[_Q["dripped"]]
    return one.scale * float(heat), one.scale * float(water)


def joined_substeps(raws: list[Raw], starts: Floats) -> Raw:
    """The sub-stages of one piece as one run: times and accounts go on."""
    first = raws[0]
    base = np.zeros(first.ledger.shape[1])
    ledgers = []
    for raw in raws:
        ledgers.append(raw.ledger + base)
        base = base + raw.ledger[-1]

    def join(name: str) -> Floats:
        # The first row of a sub-stage is the last of the one before.
        rows = [getattr(first, name)] + [getattr(raw, name)[1:] for raw in raws[1:]]
        return np.concatenate(rows)

    return Raw(
        time_s=np.concatenate(
            [first.time_s]
            + [begin + raw.time_s[1:] for raw, begin in zip(raws[1:], starts[1:], strict=True)]
        ),
        temperature_c=join("temperature_c"),
        water=join("water"),
        film=join("film"),
        highest_c=join("highest_c"),
        temperature_slope=join("temperature_slope"),
        water_slope=join("water_slope"),
        film_slope=join("film_slope"),
        ledger=np.concatenate([ledgers[0]] + [book[1:] for book in ledgers[1:]]),
        reached=False,
        steps=sum(raw.steps for raw in raws),
        rejected=sum(raw.rejected for raw in raws),
    )


@dataclass
class Lump:
    """The box as one lump, with the water that has gathered in it."""

    capacity: float
    conductance: float
    room_c: float
    t: float
    water: float
    m: MaterialConstants

    def energy(self) -> float:
        """Of the liner and the water in it, above 0 °C. [J]."""
        wet = self.water * water_enthalpy(self.t, self.m) if self.m.moist else 0.0
        return self.capacity * self.t + wet

    def after(self, heat: float, water: float, seconds: float) -> tuple[float, float]:
        """Temperature after a sub-stage [°C], and the heat through the wall [J]."""
        target = self.energy() + heat
        total = self.water + water
        guess = self.t
        for _ in range(20):
            lost = self.conductance * seconds * (0.5 * (self.t + guess) - self.room_c)
            wet = total * water_enthalpy(guess, self.m) if self.m.moist else 0.0
            slope = self.capacity + 0.5 * self.conductance * seconds
            if self.m.moist:
                slope += total * water_heat_capacity(guess, self.m)
            step = (self.capacity * guess + wet + lost - target) / slope
            guess -= step
            if abs(step) < 1e-12:
                break
        return guess, self.conductance * seconds * (0.5 * (self.t + guess) - self.room_c)
