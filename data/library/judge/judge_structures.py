"""Three more ways in which a piece of meat might heat; none is in the library.

================ =======================================================================
drying_periods   heat-balance integral: a heated zone with a quadratic profile grows to
                 the middle, then the profile as a whole rises; the surface dries as
                 textbooks of drying have it: constant rate to a critical moisture, then
                 falling with the moisture that is left near the surface
surface_states   the meat is a linear filter (three lags in a row); its surface jumps at
                 random between wet, tacky and dry, and back when juice breaks through
                 or somebody sprays: a semi-Markov chain
layered_sides    a stack of tissue between two unlike faces: below, the fire radiates and
                 juice drips off; above, juice pools and draughts pass; fat and bone lie
                 somewhere in it, fat melts and runs; the core is the coldest layer
================ =======================================================================
"""

from __future__ import annotations

import math

import numpy as np

LATENT = 2.30e6
"""J/kg, water near 80 °C (steam tables, from memory)."""
MEAT = 1050.0


def saturation(temperature_c: float) -> float:
    """Saturation pressure of water, Pa (Tetens, from memory)."""
    return 610.78 * math.exp(17.27 * temperature_c / (temperature_c + 237.3))


class DryingPeriods:
    """Heat-balance integral with the drying periods of the textbooks."""

    def __init__(self, piece, film: float, stalls: bool, rng: np.random.Generator) -> None:
        self.half = (
            piece.half_m
            * {"slab": 1.0, "cylinder": 1.0, "round": 1.05, "bird": 1.0}[piece.shape]
        )
        # Depth of meat that a unit of surface has to heat.
        self.depth = piece.volume_m3 / piece.surface_m2
        self.conductivity = rng.uniform(0.41, 0.52)
        self.capacity = MEAT * rng.uniform(3150, 3500)
        self.film = film
        self.convective = rng.uniform(0.35, 0.65)
        self.wet = rng.uniform(0.07, 0.4) if stalls else rng.uniform(0.05, 0.3)
        # Moisture near the surface, kg/m2: the store, its critical and its least amount.
        share = rng.uniform(0.10, 0.36) if stalls else rng.uniform(0.02, 0.12)
        self.moisture = MEAT * self.depth * share
        self.critical = self.moisture * rng.uniform(0.1, 0.6)
        self.power = rng.uniform(0.7, 2.0)
        self.zone = 0.02 * self.half
        self.start = self.surface = self.core_c = piece.start_c
        # Of the heat in a whole quadratic profile: mean over (surface less core).
        self.curved = {"slab": 0.34, "cylinder": 0.48, "round": 0.55, "bird": 0.45}[piece.shape]
        self.mean = self.deep = piece.start_c
        self.answer = self.half**2 / 1.3e-7 / rng.uniform(4.0, 7.0)

    def step(self, air_c: float, dew_c: float, cover) -> None:
        """Go on by a minute: find the surface that balances, then heat the profile."""
        reach = min(self.zone, self.half)
        if reach < self.half:
            inner, resist = self.start, reach / (2 * self.conductivity)
        else:
            inner, resist = self.core_c, self.half / (2.2 * self.conductivity)
        left = 1.0
        if self.moisture < self.critical:
            left = max(self.moisture / self.critical, 0.0) ** self.power
        vapour = cover.vapour * self.wet * left * self.film * self.convective / 66.0
        humid = saturation(min(dew_c, air_c))
        low, high = min(inner, air_c), max(inner, air_c)
        for _ in range(30):
            trial = 0.5 * (low + high)
            drying = max(vapour * (saturation(trial) - humid), 0.0)
            balance = (
                self.film * cover.heat * (air_c - trial) - drying - (trial - inner) / resist
            )
            low, high = (trial, high) if balance > 0 else (low, trial)
        self.surface = 0.5 * (low + high)
        drying = max(vapour * (saturation(self.surface) - humid), 0.0)
        self.moisture = max(self.moisture - 60 * drying / LATENT, 0.0)
        inward = (self.surface - inner) / resist
        self.deep += 60 / self.answer * (self.surface - self.deep)
        self.mean += 60 * inward / (self.capacity * self.depth)
        if reach < self.half:
            # The zone grows so that its profile holds the heat that has come.
            over = self.surface - self.start
            if over > 0.1:
                filled = (self.mean - self.start) / (over * self.curved)
                self.zone = max(self.zone, self.half * min(max(filled, 0.02), 1.0))
            return
        # The middle of the profile answers late, so that a lid does not cool it at once.
        middle = (self.mean - self.curved * self.deep) / (1 - self.curved)
        self.core_c += 60 / self.answer * (middle - self.core_c)


class SurfaceStates:
    """A linear filter under a surface that jumps between wet, tacky and dry."""

    def __init__(self, piece, film: float, stalls: bool, rng: np.random.Generator) -> None:
        first = {"slab": 2.2, "cylinder": 4.2, "round": 5.0, "bird": 5.2}[piece.shape]
        spread = {"slab": 9.0, "cylinder": 5.3, "round": 4.4, "bird": 4.6}[piece.shape]
        pace = rng.uniform(1.1e-7, 1.4e-7) / piece.half_m**2
        # The film counts less than for bare conduction: the surface is told where to be.
        slow = pace * first / (1 + 0.12 * 0.47 * first / (film * piece.half_m))
        self.rates = (slow, pace * first * 0.5 * spread, pace * first * spread)
        self.lags = [piece.start_c] * 3
        self.core_c = piece.start_c
        self.rng = np.random.default_rng(rng.integers(2**62))
        hours = math.sqrt(piece.thickness_m / 0.08)
        self.hold = {
            "wet": rng.uniform(1.5, 7.0) * hours if stalls else rng.uniform(0.2, 0.8),
            "tacky": rng.uniform(0.3, 2.5) * hours if stalls else rng.uniform(0.2, 1.0),
            "dry": 50.0,
        }
        self.shape = rng.uniform(2.0, 9.0)
        self.again = rng.uniform(0.0, 0.35) if stalls else 0.0
        # How the surface lies between the dew point's wet bulb and the air.
        self.lean = {
            "wet": rng.uniform(0.02, 0.2),
            "tacky": rng.uniform(0.3, 0.6),
            "dry": rng.uniform(0.85, 0.98),
        }
        self.anchor = rng.uniform(52, 68) if stalls else rng.uniform(62, 80)
        self.damp = rng.uniform(0.05, 0.3)
        self.state = "wet"
        self.clock = self._draw("wet")
        self.surface = piece.start_c
        self.settle = rng.uniform(10, 45)

    def _draw(self, state: str) -> float:
        """Draw how long a state is held, minutes."""
        return 60 * self.hold[state] * float(self.rng.gamma(self.shape)) / self.shape

    def step(self, air_c: float, dew_c: float, cover) -> None:
        """Go on by a minute."""
        # A hot surface dries faster, a covered one hardly at all.
        self.clock -= max(air_c - 60, 0) / 50 * (0.15 + 0.85 * cover.vapour)
        if self.clock <= 0:
            if self.state == "wet":
                self.state = "tacky"
            elif self.state == "tacky":
                self.state = "wet" if self.rng.uniform() < self.again else "dry"
            self.clock = self._draw(self.state)
        anchor = self.anchor + self.damp * (dew_c - 35) + 0.1 * (air_c - 110)
        anchor = min(anchor, air_c)
        lean = self.lean[self.state]
        lean = 0.92 - (0.92 - lean) * cover.vapour**0.5 if lean < 0.92 else lean
        aim = anchor + lean * (air_c - anchor)
        aim = self.surface + (aim - self.surface) * cover.heat
        self.surface += (aim - self.surface) / self.settle
        before = self.surface
        for place in (2, 1, 0):
            share = 1 - math.exp(-60 * self.rates[place])
            self.lags[place] += share * (before - self.lags[place])
            before = self.lags[place]
        self.core_c = before


class LayeredSides:
    """A stack of tissue between a face that drips and a face on which juice pools."""

    def __init__(self, piece, film: float, stalls: bool, rng: np.random.Generator) -> None:
        count = 15
        self.count = count
        thick = (
            piece.thickness_m
            * {"slab": 0.95, "cylinder": 0.9, "round": 0.95, "bird": 0.85}[piece.shape]
        )
        self.width = thick / count
        # A stack is one-dimensional: what the sides bring is put on both faces.
        self.more = piece.surface_m2 * thick / (2 * piece.volume_m3)
        self.more = 1 + 0.85 * (self.more - 1)
        self.conductivity = np.full(count, rng.uniform(0.42, 0.54))
        self.capacity = np.full(count, MEAT * rng.uniform(3200, 3500))
        self.fat = np.zeros(count)
        seam = int(rng.integers(2, count - 2))
        seams = int(rng.integers(0, 3))
        self.conductivity[seam : seam + seams] = 0.20
        self.capacity[seam : seam + seams] = 920 * 2300
        self.fat[seam : seam + seams] = 920 * 60e3 * rng.uniform(0.6, 1.2)
        if piece.shape != "slab" and rng.uniform() < 0.5:
            bone = int(rng.integers(5, 9))
            self.conductivity[bone] = 0.40
            self.capacity[bone] = 1500 * 1700
        self.melting = rng.uniform(30, 46)
        self.below = film * rng.uniform(0.85, 1.4)
        self.above = film * rng.uniform(0.8, 1.05)
        self.glow = rng.uniform(-4, 18)
        self.convective = rng.uniform(0.35, 0.6)
        depth = piece.volume_m3 / piece.surface_m2
        amount = MEAT * depth * (rng.uniform(0.14, 0.45) if stalls else rng.uniform(0.01, 0.08))
        self.pool = amount * rng.uniform(0.8, 1.3)
        self.drop = amount * rng.uniform(0.2, 1.0)
        self.pool_wet = rng.uniform(0.08, 0.4) if stalls else rng.uniform(0.03, 0.3)
        self.drop_wet = rng.uniform(0.06, 0.3) if stalls else rng.uniform(0.03, 0.2)
        self.rim = 0.12 * amount + 1e-6
        self.drains = rng.uniform(0.01, 0.06) / 3600
        self.temperature = np.full(count, piece.start_c)
        self.core_c = piece.start_c
        # What a wet face loses grows by up to 3600 Pa/K at the boiling point.
        wet = max(self.pool_wet, self.drop_wet) * self.convective * 3600 / 66 + 1
        pace = 2 * self.conductivity.max() / self.width + 1.4 * self.more * film * wet
        self.steps = max(5, 1 + int(60 * pace / self.capacity.min() / self.width / 0.8))

    def step(self, air_c: float, dew_c: float, cover) -> None:
        """Go on by a minute."""
        seconds = 60 / self.steps
        between = 2 / (1 / self.conductivity[1:] + 1 / self.conductivity[:-1]) / self.width
        humid = saturation(min(dew_c, air_c))
        for _ in range(self.steps):
            flow = between * np.diff(self.temperature)
            heat = np.zeros(self.count)
            heat[:-1] += flow
            heat[1:] -= flow
            glow = self.glow * min(max((air_c - 60) / 60, 0.0), 1.0)
            heat[0] += self._face("drop", self.below, air_c + glow, humid, 0, cover, seconds)
            heat[-1] += self._face("pool", self.above, air_c, humid, -1, cover, seconds)
            self.temperature = self.temperature + seconds * heat / (self.capacity * self.width)
            self._melt()
        # What melts or seeps feeds the pool a little; the drip side loses its own.
        self.drop *= 1 - 60 * self.drains
        self.core_c = float(self.temperature[3:-3].min())

    def _face(self, store, film, air_c, humid, place, cover, seconds) -> float:
        """Heat that goes into a face, W/m2; its store of juice evaporates meanwhile."""
        surface = float(self.temperature[place])
        amount = getattr(self, store)
        wet = (self.pool_wet if store == "pool" else self.drop_wet) * min(
            amount / self.rim, 1.0
        )
        drying = wet * cover.vapour * film * self.convective / 66.0
        drying = max(drying * (saturation(min(surface, 99.0)) - humid), 0.0)
        setattr(self, store, max(amount - seconds * drying / LATENT, 0.0))
        return self.more * (film * cover.heat * (air_c - surface) - drying)

    def _melt(self) -> None:
        """Fat over its melting point takes up heat until it has run; then it is gone."""
        over = self.temperature - self.melting
        taking = np.minimum(np.maximum(over, 0.0) * self.capacity, self.fat)
        self.fat -= taking
        self.temperature = self.temperature - taking / self.capacity


JUDGE_STRUCTURES = {
    "drying_periods": DryingPeriods,
    "surface_states": SurfaceStates,
    "layered_sides": LayeredSides,
}
