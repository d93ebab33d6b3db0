r"""The air of a closed pit: vapour from the meat, fuel and pan, carried off by fresh air.

One well-mixed volume at ambient pressure. Its dry air and vapour,

.. math::
   \dot m_a = V_{in} - V_{out}, \qquad
   \dot m_v = V_{in} Y_0 + F + E - C - V_{out} Y, \qquad Y = m_v / m_a,

with `V` dry air in and out [kg/s], `Y_0` what fresh air brings along [kg/kg], `F` what
burnt fuel and a pan give off, `E` what the pieces give off, and `C` what condenses on
walls below the dew point [kg/s]. The air expands as it warms and as vapour takes its
place, so `V_out` follows from the pressure that does not change, and with
:math:`p = m_v R_v T / V` and :math:`\dot m_a = - B - (R_v / R_a) \dot m_v`,
:math:`B = P V \dot T / (R_a T^2)`,

.. math::
   \dot m_v = (1 - p / P) [ (V_{in} Y_0 + F + E - C) - (V_{in} + B) Y ].

Where the air cools, what it loses in volume is drawn in from outside. Condensate is taken
to run off. All scalars are compiled; everything is per unit of the mesh, as in `Mesh`.

A flat plateau is the wet surface of the chamber's dew point; it lasts while water that was
let go arrives. So questions about the standstill take pressed flow, `meat(cut, **FLOWING)`.
"""

from __future__ import annotations

import math
from typing import NamedTuple

from coreward.physics.compiled import compiled
from coreward.physics.exchange import DRY_AIR_GAS_CONSTANT, mass_coefficient
from coreward.physics.water import VAPOUR_GAS_CONSTANT, saturation_pressure

_KELVIN = 273.15
GAS_RATIO = DRY_AIR_GAS_CONSTANT / VAPOUR_GAS_CONSTANT
# Pure steam has no humidity ratio: a trial of the solver may come near, no state does.
_LEAST_DRY_SHARE = 1e-4


class ChamberConstants(NamedTuple):
    """A closed pit, per unit of what the symmetry of the mesh leaves out.

    `closed` is false where the humidity of the air is given instead. `volume` [m³];
    `wall_area` [m²] and `wall_transfer` [W/(m² K)] are those of walls that vapour may
    condense on.
    """

    closed: bool
    volume: float
    pressure: float
    wall_area: float
    wall_transfer: float


OPEN = ChamberConstants(False, 1.0, 101325.0, 0.0, 0.0)


class ChamberRates(NamedTuple):
    """Flows of vapour [kg/s] and their slopes for the implicit solver.

    `rate` is what the air gains; `carried_in`, `carried_out` and `condensed` its parts
    beside what the pieces give off. Slopes by the vapour in the air, [1/s], and of the
    rate by what the pieces give off, [-].
    """

    rate: float
    carried_in: float
    carried_out: float
    condensed: float
    rate_dv: float
    condensed_dv: float
    rate_de: float


@compiled
def pascal_per_kilogram(air_c: float, r: ChamberConstants) -> float:
    """Partial pressure of a kilogram of vapour in the chamber. [Pa/kg]."""
    return VAPOUR_GAS_CONSTANT * (air_c + _KELVIN) / r.volume


@compiled
def humidity_ratio(vapour_pressure: float, pressure: float) -> float:
    """Vapour per dry air. [kg/kg]."""
    return (
        GAS_RATIO
        * vapour_pressure
        / max(pressure - vapour_pressure, _LEAST_DRY_SHARE * pressure)
    )


@compiled
def chamber_rates(
    vapour: float,
    given_off: float,
    air_c: float,
    air_rise: float,
    wall_c: float,
    fresh: float,
    brought: float,
    outside_ratio: float,
    lewis_power: float,
    r: ChamberConstants,
) -> ChamberRates:
    """Vapour balance of the chamber's air.

    Parameters
    ----------
    vapour, given_off : float
        Vapour in the air [kg]; vapour that the pieces give off. [kg/s]
    air_c, air_rise, wall_c : float
        Air [°C], its change [K/s], walls. [°C]
    fresh, brought, outside_ratio : float
        Dry fresh air [kg/s]; vapour from fuel and pan [kg/s]; what fresh air brings
        along. [kg/kg]
    lewis_power : float
        ``Le^(2/3)``. [-]
    r : ChamberConstants

    Returns
    -------
    ChamberRates
    """
    kelvin = air_c + _KELVIN
    per = pascal_per_kilogram(air_c, r)
    p = vapour * per
    y = humidity_ratio(p, r.pressure)
    dry = max(1.0 - p / r.pressure, _LEAST_DRY_SHARE)
    breath = r.pressure * r.volume * air_rise / (DRY_AIR_GAS_CONSTANT * kelvin * kelvin)
    condensed = condensed_dv = 0.0
    if r.wall_area > 0.0:
        over = p - saturation_pressure(wall_c)
        if over > 0.0:
            k_m = mass_coefficient(
                r.wall_transfer, 0.5 * (air_c + wall_c), p, r.pressure, lewis_power
            )
            scale = r.wall_area * k_m / (VAPOUR_GAS_CONSTANT * kelvin * dry)
            condensed = scale * over
            condensed_dv = scale * per
    carried_in = (fresh + max(-breath, 0.0)) * outside_ratio + brought
    leaving = fresh + max(breath, 0.0)
    gain = carried_in + given_off - condensed
    outward = leaving * GAS_RATIO / r.pressure
    share = 1.0 - p / r.pressure  # of dry air, but in pure steam
    steam = share < _LEAST_DRY_SHARE
    bend = 1.0
    if steam:
        # What is brought into pure steam pushes as much out: nothing is gained.
        bend = math.exp((share - _LEAST_DRY_SHARE) / _LEAST_DRY_SHARE)
        share = _LEAST_DRY_SHARE * bend
    rate = share * gain - outward * p
    carried_out = gain - rate if steam else (leaving + rate / GAS_RATIO) * y
    return ChamberRates(
        rate,
        carried_in,
        carried_out,
        condensed,
        -bend * per / r.pressure * gain - share * condensed_dv - outward * per,
        condensed_dv,
        share,
    )
