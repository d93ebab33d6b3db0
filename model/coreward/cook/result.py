"""What comes out of a cook."""

from __future__ import annotations

import csv
import io
import math
from dataclasses import dataclass, field
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from coreward import tables
from coreward.cook.stages import Piece, Stage
from coreward.files import write_atomically
from coreward.physics.body import Mesh
from coreward.physics.statement import SurfaceConditions
from coreward.physics.water import saturation_temperature
from coreward.words import Text

_DRIEST_PA = 1.0  # about -60 °C; nothing drier is let in

Floats = NDArray[np.float64]


def first_time_at(time_s: Floats, value: Floats, level: float) -> float:
    """First time at which a curve has a value, linear between; infinite if never. [s]."""
    above = value >= level
    if not above.any():
        return math.inf
    i = int(np.argmax(above))
    if i == 0:
        return float(time_s[0])
    a, b = value[i - 1], value[i]
    return float(time_s[i - 1] + (level - a) / (b - a) * (time_s[i] - time_s[i - 1]))


@dataclass(frozen=True)
class Balance:
    """How well energy and water close, relative to what crossed the surface.

    `vapour` is the same for the air of a chamber: meat, fuel, fresh air, outlet, walls.
    """

    energy: float
    water: float
    vapour: float = 0.0


@dataclass(frozen=True)
class StageRecord:
    """One stage as it was computed."""

    label: str
    begin_s: float
    end_s: float
    wrap: str
    conditions: SurfaceConditions
    reached: bool | None
    steps: int


@dataclass(frozen=True)
class Result:
    """A computed cook. Rows are times, columns are nodes from core to surface.

    Attributes
    ----------
    time_s : ndarray, shape (times,)
        Strictly increasing. [s]
    core_c, surface_c, mean_c : ndarray, shape (times,)
        [°C]
    mass_loss_fraction : ndarray, shape (times,)
        Of the raw mass: evaporated, dripped, kept as juice in a wrap, and
        rendered fat. Negative while condensate outweighs loss.
    evaporated_fraction, dripped_fraction, rendered_fat_fraction : ndarray
        Its parts, of the raw mass; juice held by the wrap, less `added_fraction`,
        is the rest.
    surface_water_activity : ndarray, shape (times,)
    position_m : ndarray, shape (cells,)
        Distance from the core, raw piece. [m]
    temperature_c : ndarray, shape (times, cells)
    water : ndarray, shape (times, cells)
        kg water per kg dry fat-free solids.
    film : ndarray, shape (times,)
        Free water on the surface. [kg/m²]
    highest_c : ndarray, shape (times, cells)
    environment : ndarray, shape (times, 4)
        Air and wall [°C], vapour pressure [Pa], convective coefficient [W/(m² K)].
        A prescribed radiant flux is in the wall, see `Surroundings.series`.
    surface : dict of ndarray
        At the surface, see ``COLUMNS`` and ``RATES`` of ``coreward.physics.history``.
    stage_index : ndarray of int, shape (times,)
    balance : Balance
    final_size_m : float
        Size after shrinking, all directions alike. [m]
    added_fraction : ndarray, shape (times,)
        Liquid poured under a wrap so far, of the raw mass.
    """

    piece: Piece
    stages: tuple[Stage, ...]
    records: tuple[StageRecord, ...]
    mesh: Mesh
    engine: str
    tolerance: float
    time_s: Floats
    core_c: Floats
    surface_c: Floats
    mean_c: Floats
    mass_loss_fraction: Floats
    evaporated_fraction: Floats
    dripped_fraction: Floats
    rendered_fat_fraction: Floats
    surface_water_activity: Floats
    position_m: Floats
    temperature_c: Floats
    water: Floats
    film: Floats
    highest_c: Floats
    environment: Floats
    surface: dict[str, Floats]
    stage_index: NDArray[np.int64]
    balance: Balance
    final_size_m: float
    warnings: tuple[Text, ...] = ()
    step_time_s: Floats = field(default_factory=lambda: np.empty(0))
    added_fraction: Floats = field(default_factory=lambda: np.empty(0))

    @property
    def dew_point_c(self) -> Floats:
        """Dew point of the air around the piece, given or what the meat made it. [°C]."""
        vapour = np.maximum(self.environment[:, 2], _DRIEST_PA)
        return np.array([saturation_temperature(float(p)) for p in vapour])

    @property
    def coldest_c(self) -> Floats:
        """Coldest place of the piece at each time, shape (times,). [°C]."""
        coldest: Floats = self.temperature_c.min(axis=1)
        return coldest

    def everywhere(self) -> tuple[Floats, Floats, Floats]:
        """Highest temperature so far and water over the whole piece, and the share of a place.

        Returns
        -------
        tuple of ndarray, shapes (times, places), (times, places), (places,)
            [°C]; kg water per kg dry fat-free solids; [-], in sum 1.
        """
        return self.highest_c, self.water, self.mesh.volume / self.mesh.volume.sum()

    @property
    def duration_s(self) -> float:
        """Whole length of the cook. [s]."""
        return float(self.time_s[-1])

    def time_at_core(self, temperature_c: float) -> float | None:
        """First time at which the core has this temperature, or None. [s]."""
        first = first_time_at(self.time_s, self.core_c, temperature_c)
        return first if math.isfinite(first) else None

    @property
    def sources(self) -> tuple[tables.Source, ...]:
        """Every source whose numbers this result stands on."""
        keys = set(self.piece.material.sources)
        for stage in self.stages:
            wrap = stage.wrap_set()
            keys |= {wrap.record(name).source for name in wrap}
        return tuple(tables.source(key) for key in sorted(keys))

    def to_csv(self, path: str | Path) -> Path:
        """Write the curves as plain CSV, SI and °C, one row per time.

        Returns
        -------
        Path

        Raises
        ------
        InputError
            If it cannot be written; what was there stays.
        """
        return write_atomically(path, self.to_csv_text().encode("utf-8"), what="cook")

    def to_csv_text(self) -> str:
        """Return what `to_csv` writes."""
        columns = {
            "time_s": self.time_s,
            "air_c": self.environment[:, 0],
            "core_c": self.core_c,
            "mean_c": self.mean_c,
            "surface_c": self.surface_c,
            "mass_loss_fraction": self.mass_loss_fraction,
            "surface_water_activity": self.surface_water_activity,
        }
        out = io.StringIO()
        out.write("# Computed by Coreward: a model result, not a measurement.\n")
        writer = csv.writer(out, lineterminator="\n")
        writer.writerow(columns)
        for row in zip(*columns.values(), strict=True):
            writer.writerow([f"{value:.6g}" for value in row])
        return out.getvalue()
