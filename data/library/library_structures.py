"""Six ways in which a piece of meat might heat, each of another structure.

They are written from heat and mass transfer as textbooks have it and from what cooks tell,
and none is the package's model. They do not agree with each other, and they are not meant
to: each is a possible truth. Every one is a body with a core temperature that is pushed
forward by a minute under an air temperature, a dew point and a cover.

===================== ==================================================================
two_lumps             a surface lump and a core lump; the surface cannot pass a ceiling
                      while a purse of water lasts
dry_front             conduction under a front that dries inward; vapour must cross the
                      crust, juice follows until its store is spent
enthalpy_peaks        conduction in a medium whose heat capacity has peaks (fat, myosin,
                      collagen with its water, actin); little or no evaporation
plateau_curve         no physics: approach, plateau of random length and slopes, approach
lagged_compartments   a chain of compartments whose heat flow answers late; bound water is
                      set free by an Arrhenius rate and takes its heat where it goes
shrinking_block       two-dimensional conduction in a piece that shrinks; a share of the
                      heat that arrives evaporates, and the share changes with the crust
===================== ==================================================================
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from library_pieces import RAW_DENSITY, Piece

HEAT_OF_EVAPORATION = 2.33e6
"""J/kg near 70 °C (steam tables, from memory)."""
PSYCHROMETER = 66.0
"""Pa/K at sea level: 0.000660 of the pressure (psychrometry, read)."""


@dataclass(frozen=True)
class Cover:
    """What lies about the meat: shares of bare vapour flow and of bare heat transfer."""

    vapour: float
    heat: float


BARE = Cover(1.0, 1.0)


def vapour_pressure(temperature_c):
    """Saturation pressure of water, Pa (Magnus form, WMO coefficients, from memory)."""
    return 610.94 * np.exp(17.625 * temperature_c / (temperature_c + 243.04))


class TwoLumps:
    """A surface lump and a core lump, with a ceiling while a purse of water lasts."""

    def __init__(
        self, piece: Piece, set_c: float, film: float, stalls: bool, rng: np.random.Generator
    ) -> None:
        heat_capacity = piece.mass_kg * rng.uniform(3050, 3450)
        outer = rng.uniform(0.25, 0.42)
        self.outer_capacity = outer * heat_capacity
        self.inner_capacity = (1 - outer) * heat_capacity
        eigen = {"slab": 2.47, "cylinder": 4.6, "round": 5.8, "bird": 6.5}[piece.shape]
        lag = piece.half_m**2 / (rng.uniform(1.1e-7, 1.4e-7) * eigen)
        self.between = self.inner_capacity / (lag * rng.uniform(0.9, 1.4))
        self.film_area = film * piece.surface_m2
        self.ceiling = rng.uniform(60, 76) + 0.12 * (set_c - 110)
        self.purse = piece.mass_kg * (
            rng.uniform(0.12, 0.34) if stalls else rng.uniform(0.01, 0.06)
        )
        self.full_purse = max(self.purse, 1e-9)
        self.early = rng.uniform(0.2, 0.6)
        self.crust = rng.uniform(0.65, 1.0)
        self.rim = rng.uniform(0.15, 0.5)
        self.outer_c = self.core_c = piece.start_c

    def step(self, air_c: float, dew_c: float, cover: Cover) -> None:
        """Go on by a minute."""
        for _ in range(4):
            left = self.purse / self.full_purse
            arriving = cover.heat * self.film_area * (air_c - self.outer_c)
            arriving *= self.crust + (1 - self.crust) * left
            inward = self.between * (self.outer_c - self.core_c)
            evaporating = 0.0
            if self.purse > 0 and arriving > 0:
                fade = max(0.0, 1 - left / self.rim)
                ceiling = self.ceiling + fade * fade * max(air_c - self.ceiling, 0.0)
                nearness = np.clip((self.outer_c - ceiling + 4.0) / 4.0, 0.0, 1.0)
                spare = max(arriving - inward, 0.0)
                warm = self.early * np.clip((self.outer_c - 20) / 40, 0, 1)
                evaporating = max(nearness * spare, warm * arriving * min(1.0, left * 3))
                evaporating *= cover.vapour
            self.purse = max(self.purse - evaporating * 15 / HEAT_OF_EVAPORATION, 0.0)
            self.outer_c += 15 * (arriving - evaporating - inward) / self.outer_capacity
            self.core_c += 15 * inward / self.inner_capacity


class Layers:
    """Layers from core to surface of a slab, a cylinder or a ball: volumes and contacts."""

    def __init__(self, piece: Piece, count: int) -> None:
        power = {"slab": 0.25, "cylinder": 1.0, "round": 1.25, "bird": 0.8}[piece.shape]
        half = piece.half_m
        faces = np.linspace(0.0, half, count + 1)
        self.width = half / count
        self.volume = (faces[1:] ** (power + 1) - faces[:-1] ** (power + 1)) / (power + 1)
        self.contact = faces[1:-1] ** power / self.width
        self.surface = half**power
        # The stated thickness is where the piece is thickest: it has more surface than that.
        self.more = piece.surface_m2 / (piece.volume_m3 * (power + 1) / half)

    def conduct(self, temperature: np.ndarray, conductivity: float) -> np.ndarray:
        """Heat that arrives in each layer by conduction, W per unit of the common factor."""
        flow = conductivity * self.contact * np.diff(temperature)
        heat = np.zeros_like(temperature)
        heat[:-1] += flow
        heat[1:] -= flow
        return heat


class DryFront:
    """Conduction under a front that recedes; vapour crosses the crust, juice follows."""

    def __init__(
        self, piece: Piece, set_c: float, film: float, stalls: bool, rng: np.random.Generator
    ) -> None:
        self.layers = Layers(piece, 14)
        self.conductivity = rng.uniform(0.40, 0.52)
        self.capacity = RAW_DENSITY * rng.uniform(3150, 3500)
        self.film = film * self.layers.more
        self.air_share = rng.uniform(0.35, 0.6)
        self.crust_m = rng.uniform(0.0002, 0.0008) if stalls else rng.uniform(0.001, 0.005)
        self.crust_conductivity = rng.uniform(0.10, 0.25)
        self.crust_vapour = 1.66e-10 / rng.uniform(2.0, 12.0)
        self.water = rng.uniform(550, 700)
        # kg of juice per m2 of surface that can follow, and how well it does.
        depth = piece.volume_m3 / piece.surface_m2
        self.store = (
            RAW_DENSITY
            * depth
            * (rng.uniform(0.08, 0.30) if stalls else rng.uniform(0.0, 0.05))
        )
        self.follows = rng.uniform(0.85, 0.985)
        self.wetting = rng.uniform(0.1, 0.6)
        self.temperature = np.full(14, piece.start_c)
        self.core_c = piece.start_c
        self.steps = 1 + int(
            60 * self.conductivity / self.capacity / self.layers.width**2 / 0.3
        )
        self.steps = max(self.steps, 6)

    def step(self, air_c: float, dew_c: float, cover: Cover) -> None:
        """Go on by a minute."""
        seconds = 60 / self.steps
        ambient = vapour_pressure(min(dew_c, air_c))
        for _ in range(self.steps):
            outer = self.temperature[-1]
            to_front = 1 / (
                1 / (self.film * cover.heat) + self.crust_m / self.crust_conductivity
            )
            arriving = to_front * (air_c - outer)
            beta = self.air_share * self.film / PSYCHROMETER / HEAT_OF_EVAPORATION
            through = 1 / (1 / beta + self.crust_m / self.crust_vapour)
            vapour = self.wetting * cover.vapour * through * (vapour_pressure(outer) - ambient)
            vapour = max(vapour, 0.0)
            followed = self.follows * vapour if self.store > 0 else 0.0
            self.store -= followed * seconds
            if vapour > 0:
                self.crust_m += (vapour - followed) * seconds / self.water
            heat = self.layers.conduct(self.temperature, self.conductivity)
            heat[-1] += self.layers.surface * (arriving - vapour * HEAT_OF_EVAPORATION)
            self.temperature += seconds * heat / (self.layers.volume * self.capacity)
            np.minimum(self.temperature, max(air_c, 100.0), out=self.temperature)
        self.core_c = float(self.temperature[0])


class EnthalpyPeaks:
    """Conduction in a medium with peaks of heat capacity; the sink is inside the meat."""

    def __init__(
        self, piece: Piece, set_c: float, film: float, stalls: bool, rng: np.random.Generator
    ) -> None:
        self.layers = Layers(piece, 12)
        self.conductivity = rng.uniform(0.38, 0.50)
        self.film = film * self.layers.more
        self.loss = rng.uniform(0.1, 0.55)
        self.damp = rng.uniform(15, 40)
        grid = np.arange(-5.0, 130.0, 0.1)
        self.plain = RAW_DENSITY * rng.uniform(3000, 3450)
        heat = np.full_like(grid, self.plain)
        # Middle (°C), width (K), enthalpy (kJ per kg of meat). Fat and proteins as printed
        # (a few kJ/kg); the water that leaves with the collagen is this structure's own claim.
        big = rng.uniform(60, 260) if stalls else rng.uniform(2, 25)
        peaks = (
            (rng.uniform(30, 45), 6.0, rng.uniform(0, 18)),
            (rng.uniform(54, 58), 2.5, rng.uniform(1, 3)),
            (rng.uniform(61, 76), rng.uniform(1.2, 3.5), big),
            (rng.uniform(79, 84), 2.0, rng.uniform(1, 3)),
        )
        for middle, width, kilojoule in peaks:
            bell = np.exp(-0.5 * ((grid - middle) / width) ** 2) / (width * np.sqrt(2 * np.pi))
            heat += RAW_DENSITY * 1000 * kilojoule * bell
        self.grid = grid
        self.content = np.concatenate([[0.0], np.cumsum(0.05 * (heat[1:] + heat[:-1]))])
        self.held = np.full(12, np.interp(piece.start_c, grid, self.content))
        self.most = self.held.copy()
        self.temperature = np.full(12, piece.start_c)
        self.core_c = piece.start_c
        least = heat.min()
        outer = self.layers.volume[-1] / self.layers.surface
        pace = max(
            2 * self.conductivity / self.layers.width**2,
            (self.conductivity / self.layers.width + self.film) / outer,
        )
        self.steps = 1 + int(60 * pace / least / 0.8)

    def step(self, air_c: float, dew_c: float, cover: Cover) -> None:
        """Go on by a minute."""
        seconds = 60 / self.steps
        for _ in range(self.steps):
            warm = min(max((self.temperature[-1] - self.damp) / 30, 0.0), 1.0)
            share = 1 - self.loss * cover.vapour * warm
            heat = self.layers.conduct(self.temperature, self.conductivity)
            heat[-1] += (
                self.layers.surface
                * self.film
                * cover.heat
                * share
                * (air_c - self.temperature[-1])
            )
            self.held += seconds * heat / self.layers.volume
            # What has changed does not change back: it cools as plain meat.
            np.maximum(self.most, self.held, out=self.most)
            reached = np.interp(self.most, self.content, self.grid)
            self.temperature = reached - (self.most - self.held) / self.plain
        self.core_c = float(self.temperature[0])


class PlateauCurve:
    """The curve that cooks draw: approach, plateau of random length and slopes, approach."""

    def __init__(
        self, piece: Piece, set_c: float, film: float, stalls: bool, rng: np.random.Generator
    ) -> None:
        lag = (
            piece.half_m**2
            / 1.3e-7
            / {"slab": 2.4, "cylinder": 4.0, "round": 4.6, "bird": 5}[piece.shape]
        )
        fill = RAW_DENSITY * 3300 * piece.volume_m3 / (film * piece.surface_m2)
        self.skin_time = rng.uniform(0.2, 0.5) * lag
        self.core_time = rng.uniform(0.9, 1.6) * (0.5 * lag + fill)
        self.after_time = self.core_time * rng.uniform(0.8, 1.7)
        self.drive_share = rng.uniform(0.8, 0.97)
        self.set_c = set_c
        self.level = rng.uniform(62, 77) if stalls else 400.0
        big = np.sqrt(piece.thickness_m / 0.08)
        length = min(float(rng.lognormal(np.log(2.4 * big), 0.5)), 6.5) * 3600
        parts = int(rng.integers(1, 5))
        cuts = np.sort(rng.uniform(0.15, 0.85, parts - 1)) * length
        self.part_ends = [*cuts, length]
        self.slopes = rng.normal(0.7, 0.8, parts).clip(-0.8, 2.2) / 3600
        self.spent = 0.0
        self.length = length
        self.lead = rng.uniform(2.0, 6.0)
        self.skin_c = self.core_c = piece.start_c
        self.rate = 0.0

    def step(self, air_c: float, dew_c: float, cover: Cover) -> None:
        """Go on by a minute."""
        driving = self.drive_share * air_c if air_c > self.core_c else air_c
        self.skin_c += 60 / self.skin_time * (driving - self.skin_c)
        free = (self.skin_c - self.core_c) / self.core_time
        if self.spent >= self.length:
            free = (self.skin_c - self.core_c) / self.after_time
        wanted = free * (1.0 if cover.vapour > 0.5 else 0.75 + 0.5 * cover.heat)
        pull = (air_c - self.level) / max(self.set_c - self.level, 10.0)
        if self.core_c > self.level - self.lead and self.spent < self.length:
            part = int(np.searchsorted(self.part_ends, self.spent))
            slope = self.slopes[min(part, len(self.slopes) - 1)]
            depth = min(max((self.core_c - self.level + self.lead) / self.lead, 0.0), 1.0)
            if pull > 0.3:
                wanted = wanted + depth * (min(slope, wanted) - wanted)
            # A wrap uses the plateau up faster; so does a hotter pit.
            hurry = 1.0 + 5.0 * (1 - cover.vapour) ** 2
            self.spent += 60 * hurry * min(max(pull, 0.0), 2.0) * depth
        self.rate += (wanted - self.rate) * 60 / (12 * 60)
        self.core_c += 60 * self.rate


class LaggedCompartments:
    """Compartments in a chain, heat flows that answer late, bound water set free."""

    def __init__(
        self, piece: Piece, set_c: float, film: float, stalls: bool, rng: np.random.Generator
    ) -> None:
        count = int(rng.integers(3, 6))
        self.layers = Layers(piece, count)
        self.conductivity = rng.uniform(0.42, 0.56)
        self.capacity = RAW_DENSITY * rng.uniform(3100, 3450)
        self.film = film * self.layers.more
        self.late = rng.uniform(0.02, 0.1) * piece.half_m**2 / 1.3e-7
        self.bound = np.full(count, rng.uniform(0.18, 0.45))
        self.share = rng.uniform(0.25, 0.75) if stalls else rng.uniform(0.01, 0.1)
        self.at = rng.uniform(62, 76) + 273.15
        self.pace = rng.uniform(0.12, 0.5) / 3600
        self.energy = rng.uniform(140e3, 330e3) / 8.314
        self.skin_loss = rng.uniform(0.15, 0.5)
        self.temperature = np.full(count, piece.start_c)
        self.flow = np.zeros(count - 1)
        self.core_c = piece.start_c

    def step(self, air_c: float, dew_c: float, cover: Cover) -> None:
        """Go on by a minute."""
        layers = self.layers
        for _ in range(6):
            wanted = self.conductivity * layers.contact * np.diff(self.temperature)
            self.flow += (wanted - self.flow) * (1 - np.exp(-10 / self.late))
            kelvin = self.temperature + 273.15
            rate = self.pace * np.exp(np.minimum(self.energy * (1 / self.at - 1 / kelvin), 6.0))
            freed = self.bound * np.minimum(rate, 0.01)
            self.bound -= 10 * freed
            taken = self.share * (0.08 + 0.92 * cover.vapour) * freed * RAW_DENSITY
            heat = -taken * HEAT_OF_EVAPORATION * layers.volume
            heat[:-1] += self.flow
            heat[1:] -= self.flow
            # The film stands in series with half of the outermost compartment.
            inside = 2 * self.conductivity / layers.width
            through = 1 / (1 / (self.film * cover.heat) + 1 / inside)
            warm = min(max((self.temperature[-1] - 25) / 30, 0.0), 1.0)
            share = 1 - self.skin_loss * cover.vapour * warm
            heat[-1] += layers.surface * through * share * (air_c - self.temperature[-1])
            self.temperature = self.temperature + 10 * heat / (layers.volume * self.capacity)
        self.core_c = float(self.temperature[0])


class ShrinkingBlock:
    """Two-dimensional conduction in a piece that shrinks; a share of the heat evaporates."""

    def __init__(
        self, piece: Piece, set_c: float, film: float, stalls: bool, rng: np.random.Generator
    ) -> None:
        self.across, self.along = 8, 5
        self.round = piece.shape != "slab"
        half = (
            piece.half_m
            * {"slab": 0.9, "cylinder": 1.0, "round": 1.04, "bird": 0.95}[piece.shape]
        )
        stretch = {"slab": 2.2, "cylinder": 1.6, "round": 1.15, "bird": 1.2}[piece.shape]
        self.half, self.reach = half, half * stretch
        self.conductivity = rng.uniform(0.40, 0.50)
        self.capacity = RAW_DENSITY * rng.uniform(3150, 3500)
        self.film = film
        self.share = rng.uniform(0.97, 1.0) if stalls else rng.uniform(0.3, 0.7)
        self.onset = rng.uniform(60, 78)
        self.width = rng.uniform(1.2, 4.0)
        self.base = rng.uniform(0.25, 0.65)
        depth = piece.volume_m3 / piece.surface_m2
        self.purse = RAW_DENSITY * depth * rng.uniform(0.08, 0.30)
        self.gone = 0.0
        self.fade = rng.uniform(6.0, 14.0)
        self.thinner = rng.uniform(0.1, 0.5)
        self.shorter = rng.uniform(0.3, 0.9)
        self.loss = np.zeros((self.across, self.along))
        self.temperature = np.full((self.across, self.along), piece.start_c)
        self.core_c = piece.start_c
        index = np.arange(self.across + 1) / self.across
        self.faces = index if self.round else np.ones_like(index)
        self.bulk = (index[1:] ** 2 - index[:-1] ** 2) / 2 if self.round else np.diff(index)
        least = min(half / self.across, self.reach / self.along) * 0.8
        pace = (
            4 * self.conductivity / self.capacity / least**2 + 2 * film / self.capacity / least
        )
        self.steps = 1 + int(60 * pace / 0.8)

    def step(self, air_c: float, dew_c: float, cover: Cover) -> None:
        """Go on by a minute."""
        seconds = 60 / self.steps
        # Loss tends to half a per cent of mass per kelvin over 50 °C, within hours.
        held = np.clip(0.006 * (self.temperature - 48), 0.0, 0.33)
        self.loss += np.maximum(held - self.loss, 0.0) * 60 / 5400
        lost = float(
            np.average(self.loss, weights=np.repeat(self.bulk[:, None], self.along, 1))
        )
        half = self.half * (1 - self.thinner * lost)
        reach = self.reach * (1 - self.shorter * lost)
        dx, dz = half / self.across, reach / self.along
        left = np.exp(-((self.gone / self.purse) ** self.fade))
        for _ in range(self.steps):
            t = self.temperature
            rise = np.zeros_like(t)
            flow = self.conductivity / dx * np.diff(t, axis=0) * self.faces[1:-1, None]
            rise[:-1] += flow / (self.bulk * half)[:-1, None]
            rise[1:] -= flow / (self.bulk * half)[1:, None]
            flow = self.conductivity / dz * np.diff(t, axis=1)
            rise[:, :-1] += flow / dz
            rise[:, 1:] -= flow / dz
            side = self._net(t[-1], air_c, cover, left)
            end = self._net(t[:, -1], air_c, cover, left)
            rise[-1] += side * self.faces[-1] / (self.bulk[-1] * half)
            rise[:, -1] += end / dz
            self.temperature = t + seconds * rise / self.capacity
        meeting = self.film * (air_c - float(self.temperature[-1].mean()))
        share = float(np.mean(self._share(self.temperature[-1], left))) * cover.vapour
        self.gone += 60 * max(share * meeting, 0.0) / HEAT_OF_EVAPORATION
        self.core_c = float(self.temperature[0, 0])

    def _share(self, surface: np.ndarray, left: float) -> np.ndarray:
        """Share of the arriving heat that evaporates."""
        rising = 1 / (1 + np.exp(-(surface - self.onset) / self.width))
        early = self.base * np.clip((surface - 20) / 30, 0, 1)
        return left * np.maximum(early, self.share * rising)

    def _net(self, surface: np.ndarray, air_c: float, cover: Cover, left: float) -> np.ndarray:
        """Heat that goes on inward, W/m2."""
        heat = self.film * cover.heat * (air_c - surface)
        return np.where(heat > 0, heat * (1 - cover.vapour * self._share(surface, left)), heat)


STRUCTURES = {
    "two_lumps": TwoLumps,
    "dry_front": DryFront,
    "enthalpy_peaks": EnthalpyPeaks,
    "plateau_curve": PlateauCurve,
    "lagged_compartments": LaggedCompartments,
    "shrinking_block": ShrinkingBlock,
}
