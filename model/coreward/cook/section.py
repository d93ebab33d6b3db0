"""Cook a piece with ends in two dimensions.

The result is that of any engine, its columns the line from the slowest point to the nearest
surface of the first axis; the fields by time are in `SectionResult.section`.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray
from scipy.interpolate import PchipInterpolator

from coreward import tables
from coreward.cook.march import (
    BURNT,
    chamber_constants,
    make_forcing,
    row_spacing,
    rows_of,
    surface_conditions,
    target_missed,
    vapour_at_start,
)
from coreward.cook.result import Balance, Result, StageRecord
from coreward.cook.stages import (
    AIR_RANGE_C,
    CRUST_LIMIT_C,
    LONGEST_STAGE_S,
    WALL_RANGE_C,
    Piece,
    Stage,
    _series,
)
from coreward.errors import InputError
from coreward.physics.body import FiniteShape
from coreward.physics.chamber import ChamberConstants, pascal_per_kilogram
from coreward.physics.engines import section as engine
from coreward.physics.history import COLUMNS, RATES, surface_history
from coreward.physics.problem import LEDGER, Forcing
from coreward.physics.statement import SurfaceConditions, water_enthalpy
from coreward.words import Text

Floats = NDArray[np.float64]

# Less fine at the surface than the mesh of one dimension: its outermost volumes are 0.15 mm
# for 60 nodes over 60 mm, and the corner's are no smaller than they need be.
GRADING = 3.0
_PLACES_TRIED = 3
_SAME_K = 1e-3
_Q = {name: i for i, name in enumerate(LEDGER)}


@dataclass(frozen=True, eq=False)
class Section:
    """Fields of a cook in two dimensions, at the solver's own steps.

    Attributes
    ----------
    time_s : ndarray, shape (times,)
        [s]
    across_m, along_m : ndarray, shape (nx,), (ny,)
        Distance of the nodes from the middle along the two axes, raw piece. [m]
    temperature_c, water : ndarray, shape (times, nx, ny)
        [°C]; kg water per kg dry fat-free solids.
    volume : ndarray, shape (nx, ny)
        Weights of a mean over the piece.
    slowest : tuple of int
        Node that had got least hot when the piece held most heat: found, not assumed.
    """

    time_s: Floats
    across_m: Floats
    along_m: Floats
    temperature_c: Floats
    water: Floats
    volume: Floats
    slowest: tuple[int, int]

    def at(self, time_s: float, field: Floats | None = None) -> Floats:
        """Temperature, or another field, at a moment, shape (nx, ny)."""
        field = self.temperature_c if field is None else field
        i = int(np.clip(np.searchsorted(self.time_s, time_s), 1, len(self.time_s) - 1))
        begin, end = self.time_s[i - 1], self.time_s[i]
        share = float(np.clip((time_s - begin) / max(end - begin, 1e-9), 0.0, 1.0))
        value: Floats = (1.0 - share) * field[i - 1] + share * field[i]
        return value


@dataclass(frozen=True)
class SectionResult(Result):
    """A cook in two dimensions: any result, and the fields of the section.

    `mesh` is that of the line that the columns are on; `mean_c` and all fractions are of the
    whole piece.
    """

    section: Section | None = None

    @property
    def coldest_c(self) -> Floats:
        """Coldest place of the whole section, in the rest a corner. [°C]."""
        if self.section is None:
            return super().coldest_c
        fields = self.section.temperature_c
        least = fields.reshape(len(fields), -1).min(axis=1)
        between: Floats = np.interp(self.time_s, self.section.time_s, least)
        coldest: Floats = np.minimum(between, super().coldest_c)
        return coldest

    def everywhere(self) -> tuple[Floats, Floats, Floats]:
        """As of any result, of the whole section."""
        if self.section is None:
            return super().everywhere()
        of, count = self.section, len(self.section.time_s)
        highest = np.maximum.accumulate(of.temperature_c.reshape(count, -1), axis=0)
        rows = [
            _laid(of.time_s, field, self.time_s)
            for field in (highest, of.water.reshape(count, -1))
        ]
        return rows[0], rows[1], of.volume.ravel() / of.volume.sum()


@dataclass(frozen=True)
class _Leg:
    """One stage computed."""

    record: StageRecord
    raw: engine.SectionRaw
    forcing: Forcing
    conditions: SurfaceConditions
    chamber: ChamberConstants


def section_mesh(piece: Piece, cells: tuple[int, int]) -> engine.SectionMesh:
    """Cut a piece with ends along the two axes that stand for it.

    Raises
    ------
    InputError
        If it has no ends, or is no product of two.
    """
    if not isinstance(piece.shape, FiniteShape):
        raise InputError(
            f"A {piece.shape.name} has no ends, so there is nothing to compute in two "
            "dimensions: use engine='fast', or a FiniteCylinder, a Block, a TaperedFlat or a "
            "Loaf."
        )
    two = piece.shape.axes()
    if two is None:
        raise InputError(
            f"A {piece.shape.name} is no product of two bodies: use engine='fast' for it."
        )
    return engine.section_mesh(*two, cells, GRADING)


def simulate_section(
    piece: Piece,
    plan: tuple[Stage, ...],
    cells: int | tuple[int, int],
    tolerance: float,
) -> SectionResult:
    """Cook a piece with ends in two dimensions.

    Parameters
    ----------
    piece : Piece
    plan : tuple of Stage
    cells : int or tuple of int
        Nodes from the middle to the surface along each axis.
    tolerance : float
        [K]

    Returns
    -------
    SectionResult

    Raises
    ------
    InputError
        If the shape has no ends, or a stage pours or sprays: where liquid runs over a section
        is not in the model.
    SolverError
        If the solution fails.
    """
    both = (cells, cells) if isinstance(cells, int) else cells
    mesh = section_mesh(piece, both)
    for stage in plan:
        if stage.liquid is not None or stage.spray is not None:
            raise InputError(
                "A section takes no liquid and no spray: leave them out, or use engine='fast'."
            )
        if piece.material.moist:
            _series("air temperature", stage.surroundings.air_c, *AIR_RANGE_C, "°C")
            if stage.surroundings.wall_c is not None:
                _series("wall temperature", stage.surroundings.wall_c, *WALL_RANGE_C, "°C")
    core = 0
    for _ in range(_PLACES_TRIED):
        legs, notes = _march(piece, plan, mesh, core, tolerance)
        # When it holds most heat, for a roast at the pull: later a place half way out may peak
        # lower than the middle, which all that was stored outside it goes on warming.
        fullest = max(legs, key=lambda leg: float(leg.raw.temperature_c[-1] @ mesh.volume))
        highest = fullest.raw.highest_c[-1]
        least = int(np.argmin(highest))
        if highest[least] >= highest[core] - _SAME_K:
            break
        core = least
    return _assemble(piece, plan, legs, mesh, core, tolerance, notes)


def _march(
    piece: Piece, plan: tuple[Stage, ...], mesh: engine.SectionMesh, core: int, tolerance: float
) -> tuple[list[_Leg], list[Text]]:
    """Run a piece through its stages."""
    m = piece.constants
    nodes, films = len(mesh.volume), len(mesh.grid.node)
    start = np.full(nodes, float(piece.start_c))
    water = np.full(nodes, m.raw_water + piece.injected_water)
    state = engine.SectionState(start, water, np.zeros(films), start)
    whole = mesh.whole()
    clock, before = 0.0, None
    legs: list[_Leg] = []
    notes: list[Text] = []
    for number, stage in enumerate(plan):
        name = stage.label or f"stage {number + 1}"
        conditions = surface_conditions(piece, stage)
        chamber = chamber_constants(piece, stage.surroundings, whole)
        seconds = LONGEST_STAGE_S if stage.duration_s is None else stage.duration_s
        until_c = stage.until_core_c
        forcing, more = make_forcing(piece, stage.surroundings, seconds, whole)
        state = replace(state, vapour=vapour_at_start(forcing, chamber, before))
        raw = engine.solve(
            mesh,
            m,
            engine.Faces((1.0,) * 3, (0.0,) * 3, (conditions,) * 3),
            forcing,
            state,
            seconds,
            core,
            until_c,
            tolerance,
            chamber,
        )
        end = clock + float(raw.time_s[-1])
        core_c = float(raw.temperature_c[-1, core])
        reached = None if until_c is None else raw.reached
        told: list[Text] = [*more, *([stage.note] if stage.note else [])]
        if piece.material.moist and raw.temperature_c.max() > CRUST_LIMIT_C:
            told.append(BURNT)
        if until_c is not None and not reached:
            told.append(target_missed(until_c, name, core_c, end - clock))
        notes += [note for note in told if note not in notes]
        wrap = stage.wrap_set().name
        steps = len(raw.time_s) - 1
        record = StageRecord(name, clock, end, wrap, conditions, reached, steps)
        legs.append(_Leg(record, raw, forcing, conditions, chamber))
        if chamber.closed:
            air_c = float(np.interp(raw.time_s[-1], forcing.time_s, forcing.air_c))
            before = float(raw.vapour[-1]) * pascal_per_kilogram(air_c, chamber), air_c
        else:
            before = None
        state = engine.SectionState(
            raw.temperature_c[-1], raw.water[-1], raw.film[-1], raw.highest_c[-1]
        )
        clock = end
    return legs, notes


def _laid(time_s: Floats, value: Floats, times: Floats) -> Floats:
    """Rows between the solver's steps, that leave no range of their neighbours."""
    if len(time_s) < 2:
        return np.repeat(value[:1], len(times), axis=0)
    with np.errstate(over="ignore"):  # slopes of what is nothing to a hundred digits
        rows: Floats = PchipInterpolator(time_s, value, axis=0)(np.minimum(times, time_s[-1]))
    return rows


def _flows(leg: _Leg, mesh: engine.SectionMesh, surface: Floats, piece: Piece) -> Floats:
    """Mean fluxes of each of the solver's steps over the whole surface; see `RATES`."""
    m = piece.constants
    raw = leg.raw
    gone = np.diff(raw.ledger, axis=0)
    vapour = gone[:, _Q["evaporated"]] + gone[:, _Q["boiled"]]
    dripped = gone[:, _Q["dripped"]]
    middle = 0.5 * (surface[1:] + surface[:-1])
    held = np.array([water_enthalpy(float(t), m) if m.moist else 0.0 for t in middle])
    inside = raw.held[:, 1] - raw.film @ mesh.grid.area
    latent = gone[:, _Q["evaporated_energy"]] + gone[:, _Q["boiled_energy"]] - held * vapour
    into = np.diff(raw.held[:, 0]) + held * (vapour + dripped)
    flows = np.column_stack((vapour, latent, dripped, -np.diff(inside), into))
    rates: Floats = flows / (mesh.surface_area * np.diff(raw.time_s)[:, None])
    return rates


def _balance(legs: list[_Leg], piece: Piece) -> Balance:
    """Worst residual of any stage, relative to what was stored or crossed."""
    energy = water = vapour = 0.0
    for leg in legs:
        raw = leg.raw
        book = dict(zip(LEDGER, raw.ledger[-1], strict=True))
        gained = book["heat_in"] - sum(
            book[f"{way}_energy"] for way in ("evaporated", "boiled", "dripped")
        )
        off = raw.held[-1] - raw.held[0]
        scale = max(*np.abs(raw.held[[0, -1], 0]), np.abs(raw.ledger[:, 0]).max(), 1e-30)
        energy = max(energy, abs(off[0] - gained) / scale)
        gone = book["evaporated"] + book["boiled"]
        if piece.material.moist:
            water = max(water, abs(off[1] + gone + book["dripped"]) / raw.held[0, 1])
        if leg.chamber.closed:
            came, went = book["vapour_in"] + gone, book["vapour_out"] + book["condensed"]
            crossed = max(came, went, float(raw.vapour.max()))
            kept = raw.vapour[-1] - raw.vapour[0]
            vapour = max(vapour, abs(kept - came + went) / crossed)
    return Balance(float(energy), float(water), float(vapour))


def _assemble(
    piece: Piece,
    plan: tuple[Stage, ...],
    legs: list[_Leg],
    mesh: engine.SectionMesh,
    core: int,
    tolerance: float,
    notes: list[Text],
) -> SectionResult:
    """Join stages to the result of a cook."""
    m = piece.constants
    nx, ny = mesh.shape
    line = np.arange(core // ny, nx) * ny + core % ny
    # the film at the end of the line: of its node, the one on the first face
    film_at = core % ny
    spacing = row_spacing(plan)
    held_at_start = legs[0].raw.held[0, 1]
    raw_mass = piece.material.raw_density * mesh.volume.sum() * (1.0 + piece.injected_fraction)
    volume, area = mesh.volume, mesh.grid.area
    share, midpoint, width = piece.material.fat_rendering
    books = np.zeros(len(LEDGER))
    columns: dict[str, list[Floats]] = {}
    stage_index: list[Floats] = []
    for number, leg in enumerate(legs):
        raw = leg.raw
        times = rows_of(raw.time_s, spacing)
        last = number == len(legs) - 1
        times = times if last else times[:-1]
        if not len(times):
            books = books + raw.ledger[-1]
            continue

        def laid(value: Floats, raw: engine.SectionRaw = raw, at: Floats = times) -> Floats:
            return _laid(raw.time_s, value, at)

        t, w = laid(raw.temperature_c[:, line]), laid(raw.water[:, line])
        film = np.interp(times, raw.time_s, raw.film[:, film_at])
        highest = laid(raw.highest_c[:, line])
        env = np.column_stack([np.interp(times, leg.forcing.time_s, x) for x in _given(leg)])
        if leg.chamber.closed:
            per = [pascal_per_kilogram(float(a), leg.chamber) for a in env[:, 0]]
            env[:, 2] = laid(raw.vapour) * per
        book = laid(raw.ledger) + books
        loss = fat = np.zeros(len(times))
        if m.moist:
            at = np.clip((raw.highest_c - midpoint) / width, -60.0, 60.0)
            fat = laid(m.fat_density * (share / (1.0 + np.exp(-at)) @ volume) / raw_mass)
            kept = np.minimum(raw.film, m.film_capacity) @ area - raw.film @ area
            loss = (held_at_start - laid(raw.held[:, 1] + kept)) / raw_mass
        rates = np.zeros((len(times), len(RATES)))
        if len(raw.time_s) > 1:
            flows = _flows(leg, mesh, raw.temperature_c[:, line[-1]], piece)
            middle = 0.5 * (raw.time_s[1:] + raw.time_s[:-1])
            rates = np.column_stack([np.interp(times, middle, x) for x in flows.T])
        surface = surface_history(t, w, film, highest, env, leg.conditions, m)
        more = {
            "time": leg.record.begin_s + times,
            "t": t,
            "w": w,
            "film": film,
            "highest": highest,
            "mean": laid(raw.temperature_c @ volume / volume.sum()),
            "env": env,
            "book": book,
            "loss": loss,
            "fat": fat,
            "surface": np.column_stack((surface, rates)),
        }
        for name, value in more.items():
            columns.setdefault(name, []).append(value)
        stage_index.append(np.full(len(times), number))
        books = books + raw.ledger[-1]
    of = {name: np.concatenate(values) for name, values in columns.items()}
    return _result(piece, plan, legs, mesh, core, tolerance, notes, of, raw_mass, stage_index)


def _given(leg: _Leg) -> tuple[Floats, Floats, Floats, Floats]:
    f = leg.forcing
    return f.air_c, f.wall_c, f.vapour_pressure, f.heat_transfer


def _result(
    piece: Piece,
    plan: tuple[Stage, ...],
    legs: list[_Leg],
    mesh: engine.SectionMesh,
    core: int,
    tolerance: float,
    notes: list[Text],
    of: dict[str, Floats],
    raw_mass: float,
    stage_index: list[Floats],
) -> SectionResult:
    """Name the columns."""
    material = piece.material
    m = material.constants
    nx, ny = mesh.shape
    steps = np.concatenate([leg.record.begin_s + leg.raw.time_s for leg in legs])
    steps, first = np.unique(steps, return_index=True)
    dry = m.solids_density if m.moist else 1.0

    def field(name: str) -> Floats:
        rows = np.concatenate([getattr(leg.raw, name) for leg in legs])
        return np.asarray(rows[first].reshape(-1, nx, ny))

    fat = of["fat"] - of["fat"][0]
    loss = of["loss"] + fat
    vapour = of["book"][:, _Q["evaporated"]] + of["book"][:, _Q["boiled"]]
    final = piece.shape.size
    if m.moist:
        injected = piece.injected_fraction
        lost = (loss[-1] * (1.0 + injected) - injected) * material.raw_density / 1000.0
        shrinkage = tables.load("surface", material.sets.get("surface"))["shrinkage"]
        final *= max(1.0 - shrinkage * lost, 0.1) ** (1.0 / 3.0)
    line_mesh = mesh.across
    start = core // ny
    names = (*COLUMNS, *RATES)
    return SectionResult(
        piece=piece,
        stages=plan,
        records=tuple(leg.record for leg in legs),
        mesh=line_mesh,
        engine="section",
        tolerance=tolerance,
        time_s=of["time"],
        core_c=of["t"][:, 0].copy(),
        surface_c=of["t"][:, -1].copy(),
        mean_c=of["mean"],
        mass_loss_fraction=loss,
        evaporated_fraction=vapour / raw_mass,
        dripped_fraction=of["book"][:, _Q["dripped"]] / raw_mass,
        rendered_fat_fraction=fat,
        surface_water_activity=of["surface"][:, COLUMNS.index("activity")].copy(),
        position_m=line_mesh.position[start:] - line_mesh.position[start],
        temperature_c=of["t"],
        water=of["w"] / dry,
        film=of["film"],
        highest_c=np.maximum(np.maximum.accumulate(of["t"], axis=0), of["highest"]),
        environment=of["env"],
        surface={name: of["surface"][:, i].copy() for i, name in enumerate(names)},
        stage_index=np.concatenate(stage_index).astype(np.int64),
        balance=_balance(legs, piece),
        final_size_m=float(final),
        warnings=tuple(notes),
        step_time_s=steps,
        added_fraction=np.zeros(len(of["time"])),
        section=Section(
            time_s=steps,
            across_m=mesh.across.position,
            along_m=mesh.along.position,
            temperature_c=field("temperature_c"),
            water=field("water") / dry,
            volume=mesh.volume.reshape(nx, ny),
            slowest=(core // ny, core % ny),
        ),
    )
