"""What a core that stands still says about the pit: the dew point, read off the plateau.

A wet surface settles where the heat that arrives is what its vapour takes away, and where
that is depends on the damp of the air. A core that stands still has nearly the temperature
of that surface. So the balance can be turned round: from the plateau to the dew point.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import product

from scipy.optimize import brentq

from coreward import tables
from coreward.errors import InputError
from coreward.physics.air import STANDARD_PRESSURE_PA
from coreward.physics.exchange import wet_surface_balance
from coreward.physics.water import saturation_pressure
from coreward.words import Degrees, DegreesBetween, Text, Units, say, shown

_DRIEST_C = -30.0
_NEAREST_K = 0.05
"""How near to the temperature of the surface the dew point may come. [K]"""


@dataclass(frozen=True)
class PitDamp:
    """The dew point that a standstill tells of."""

    plateau_c: float
    air_c: float
    """What it was read from. [°C]"""
    dew_point_c: float
    """[°C]"""
    low_c: float
    high_c: float
    """Within what is assumed of draught and surface. Air so dry that no dew point fits counts
    as the driest. [°C]"""
    heat_transfer: tuple[float, float, float]
    """Least, usual and largest convective coefficient assumed. [W/(m² K)]"""
    lead_k: tuple[float, float, float]
    """How much hotter than the core the surface is assumed to be. [K]"""

    @property
    def sentence(self) -> Text:
        """What it says, with its range."""
        return say(
            "A core that stands still at {0} in air of {1} tells of a dew point of about {2} "
            "in the pit ({3}, for a draught from still to a slow fan).",
            Degrees(self.plateau_c),
            Degrees(self.air_c),
            Degrees(self.dew_point_c),
            DegreesBetween(self.low_c, self.high_c),
        )

    def in_words(self, units: Units = "C") -> str:
        """Return the sentence in the reader's units."""
        return shown(self.sentence, units)


def pit_dew_point(
    plateau_c: float,
    air_c: float,
    *,
    heat_transfer: float | None = None,
    wall_c: float | None = None,
    emissivity: float | None = None,
    pressure_pa: float = STANDARD_PRESSURE_PA,
) -> PitDamp:
    """Return the dew point of a pit in which a bare core stands still.

    Parameters
    ----------
    plateau_c : float
        At which the core stands still while the surface is wet. [°C]
    air_c : float
        Air of the pit. [°C]
    heat_transfer : float, optional
        Convective coefficient where it is known; it then is left out of the range.
        [W/(m² K)]
    wall_c : float, optional
        Temperature of the walls; the air's if None. [°C]
    emissivity : float, optional
        Of the meat; table ``surface`` if None. [-]
    pressure_pa : float
        [Pa]

    Raises
    ------
    InputError
        If the air is not hotter than the plateau, or if not even bone-dry air would let a
        wet surface settle so low.

    Notes
    -----
    The root of the balance of `coreward.wet_surface_temperature` in the dew point, for the
    plateau and what the surface is hotter than it (table ``stall``, ``plateau_lead``).
    Valid only while the surface is wet: a slow climb in a dry pit says nothing about the air.
    """
    numbers = tables.load("stall")
    if not plateau_c + numbers["plateau_lead"] < air_c:
        raise InputError(
            say(
                "A plateau at {0} in air of {1} says nothing about its damp: the air must be "
                "hotter than the meat. Check the two probes.",
                Degrees(plateau_c, None),
                Degrees(air_c, None),
            )
        )
    shine = tables.load("surface")["meat_emissivity"] if emissivity is None else emissivity
    lead = _spread(numbers, "plateau_lead")
    draught = (
        _spread(numbers, "plateau_heat_transfer")
        if heat_transfer is None
        else (float(heat_transfer),) * 3
    )

    wall = air_c if wall_c is None else wall_c
    lewis = tables.load("surface")["lewis_number_power"]

    def dew(surface_c: float, h: float) -> float:
        def left_over(dew_c: float) -> float:
            vapour = saturation_pressure(dew_c)
            return float(
                wet_surface_balance(
                    surface_c, air_c, vapour, h, wall, shine, pressure_pa, 1.0, lewis
                )
            )

        if left_over(_DRIEST_C) >= 0.0:
            return _DRIEST_C
        top = surface_c - _NEAREST_K
        return top if left_over(top) <= 0.0 else float(brentq(left_over, _DRIEST_C, top))

    middle = dew(plateau_c + lead[1], draught[1])
    if middle <= _DRIEST_C:
        raise InputError(
            say(
                "Not even bone-dry air of {0} would hold a wet surface at {1}: the air is "
                "colder than that at the meat, or the draught is stronger. Check the probes.",
                Degrees(air_c, None),
                Degrees(plateau_c, None),
            )
        )
    ends = [dew(plateau_c + k, h) for k, h in product(lead[::2], draught[::2])]
    return PitDamp(float(plateau_c), float(air_c), middle, min(ends), max(ends), draught, lead)


def _spread(numbers: tables.ParameterSet, name: str) -> tuple[float, float, float]:
    low, high = numbers.record(name).range
    return float(low), float(numbers[name]), float(high)


__all__ = ["PitDamp", "pit_dew_point"]
