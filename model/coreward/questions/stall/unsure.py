"""What sets how long a core stands still, and how unsure that is: one number at a time."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Final

from coreward import tables
from coreward.cook.light import spread
from coreward.cook.simulate import simulate
from coreward.cook.stages import Chamber, Piece, Stage, fresh_air
from coreward.events.standstill import Stall
from coreward.physics.body import Slab
from coreward.questions.stall import usual
from coreward.questions.stall.explain import explain
from coreward.words import Degrees, Lasting, Length, Mass, Text, Units, say, shown

_HOUR: Final = 3600.0
_LONGEST_S: Final = 30 * _HOUR
_CELLS, _TOLERANCE_K = 40, 0.03
# Measured permeabilities spread over more than this either way; beyond it the losses of cubes
# and of roasts no longer come out (tests/validation/test_plateau.py).
_PERMEABILITY_FACTOR: Final = 2.0
_THICKNESSES_M: Final = (0.04, 0.05)
# Where briskets are injected; common practice, no source.
_INJECTED: Final = (0.1, 0.2)


@dataclass(frozen=True)
class Turned:
    """One number at one end of its range, and the longest stall with it."""

    name: str
    """What is turned."""
    value: Text
    """To what."""
    stall: Stall | None

    @property
    def sentence(self) -> Text:
        """What becomes of the standstill."""
        head = say("{0} {1}", self.name, self.value) if self.value else self.name
        if self.stall is None:
            return say("{0}: no stall.", head)
        return say(
            "{0}: {1} for {2}, {3} to {4}.",
            head,
            "stands still" if self.stall.level else "climbs slowly",
            Lasting(self.stall.duration_s),
            Degrees(self.stall.core_begin_c),
            Degrees(self.stall.core_end_c),
        )


def how_unsure() -> tuple[Turned, ...]:
    """Return the usual cook, and it again with each number at both ends of its range.

    Ranges are those of the tables ``transport``, ``surface`` and ``ventilation``; for the
    permeability twice and half, for the thickness what a ruler leaves open; what is injected
    into briskets is usual.

    Returns
    -------
    tuple of Turned
        The first is the usual cook.
    """
    flow, skin = tables.load("transport", usual.FLOW), tables.load("surface")
    fresh = fresh_air(tables.load("ventilation", usual.PIT)).range

    def made(**sets: tables.ParameterSet) -> Piece:
        whole = usual.material(**sets)  # type: ignore[arg-type]
        return Piece(Slab(usual.THICKNESS_M), whole, usual.START_C, usual.MASS_KG)

    plain, pit = usual.piece(), usual.pit()
    cooks: list[tuple[str, Text, Piece, Chamber]] = [("as it is", "", plain, pit)]
    low, high = flow.record("suction_width").range
    permeability = flow["permeability"]
    for factor in (1.0 / _PERMEABILITY_FACTOR, _PERMEABILITY_FACTOR):
        value = factor * permeability
        turned = made(transport=flow.replace(permeability=value))
        freely = "half as freely" if factor < 1.0 else "twice as freely"
        cooks.append(
            ("water flows through the meat", f"{freely} ({value:.1e} m²)", turned, pit)
        )
    for value, far in ((low, "hardly"), (high, "readily")):
        turned = made(transport=flow.replace(suction_width=value))
        cooks.append(
            ("the drying surface draws bound water", f"{far} ({value:g} kg/kg)", turned, pit)
        )
    for value in skin.record("film_capacity").range:
        turned = made(surface=skin.replace(film_capacity=value))
        cooks.append(
            (
                "water that stays on the surface",
                say("{0} on a square metre", Mass(value, 2)),
                turned,
                pit,
            )
        )
    for size in _THICKNESSES_M:
        cooks.append(("thickness", Length(size), usual.piece(Slab(size)), pit))
    for share in _INJECTED:
        brined = replace(plain, injected_fraction=share)
        cooks.append(("injected with water", f"{100 * share:.0f} % of its weight", brined, pit))
    for value in fresh:
        around = usual.pit(fresh_air_kg_h=value)
        cooks.append(("fresh air", say("{0} an hour", Mass(value)), plain, around))

    def cook(one: tuple[str, Text, Piece, Chamber]) -> Turned:
        name, words, piece, around = one
        result = simulate(
            piece,
            Stage(around, duration_s=_LONGEST_S),
            cells=_CELLS,
            tolerance=_TOLERANCE_K,
        )
        return Turned(name, words, explain(result).account.stall)

    return tuple(spread(cook, cooks))


def unsure_text(rows: tuple[Turned, ...], units: Units = "C") -> str:
    """Return one line for each."""
    return "\n".join(shown(row.sentence, units) for row in rows)


__all__ = ["Turned", "how_unsure", "unsure_text"]
