"""The report of a computed cook."""

from __future__ import annotations

import dataclasses

import numpy as np

from coreward import cautions, tables
from coreward.cook.result import Result
from coreward.cook.stages import Chamber, Stage
from coreward.questions.stall.choices import COLUMNS, Choices, table_rows
from coreward.questions.stall.explain import Explanation, explain
from coreward.questions.stall.figure import alt_text, figure_stall
from coreward.reports.document import (
    Data,
    Document,
    Facts,
    Listing,
    Picture,
    Table,
    data_of,
    table_of,
    versions,
)
from coreward.reports.repeat import cook_code
from coreward.reports.things import document_of
from coreward.words import (
    Degrees,
    DegreesBetween,
    Difference,
    Lasting,
    Length,
    Mass,
    Text,
    say,
    together,
)

_FLOWS = {"fresh_air": "fresh air", "brought": "water from pan and fuel"}
_STEP_C = 10.0
"""Steps of the table of milestones."""


@document_of.register
def document(result: Result) -> Document:
    """Return all that is said of a cook: the answer, the picture, the inputs, the numbers."""
    return _document(result)


@document_of.register
def choices_document(choices: Choices) -> Document:
    """Return what can be done about a stall, and all that is said of the cook left alone."""
    cook = choices.rows[0].result
    whole = _document(cook, choices)
    return dataclasses.replace(
        whole,
        title=f"What to do about the stall of {material_words(cook)}",
        lead=together((choices.sentence, whole.lead)),
        answer=choices,
    )


def _document(result: Result, choices: Choices | None = None) -> Document:
    told = explain(result)
    return Document(
        title=f"A cook of {material_words(result)}",
        lead=told.sentence,
        caution=(cautions.COMPUTED, *cautions.REPORT),
        blocks=(
            outcome_facts(result, told),
            Picture(
                lambda units: figure_stall(result, told, None, units),
                lambda units: alt_text(result, told, units),
                "Temperatures with the stall shaded, heat at the surface, water sent and water "
                "asked for; right: through the piece in the middle of the stall, and the free "
                "water that it lives on.",
            ),
            *([] if choices is None else [choices_table(choices)]),
            input_facts(result),
            stage_table(result),
            milestones(result),
            *([Listing(result.warnings, "Beware")] if result.warnings else []),
            numerics(result),
        ),
        files=lambda: cook_data(result, told),
        code=lambda: cook_code(result),
        sources=tuple(source.citation() for source in result.sources),
        versions=versions(),
        answer=told,
        numbers={"kind": "cook"},
    )


def choices_table(choices: Choices) -> Table:
    """Return what can be done, a row for each."""
    heading = say(
        "What can be done, from {0} on, the core at {1}, {2} wanted",
        Lasting(choices.at_s),
        Degrees(choices.core_c),
        Degrees(choices.target_c, None),
    )
    return table_of(heading, COLUMNS, table_rows(choices), (46, 20, 14, 20))


def material_words(result: Result) -> str:
    """Return the name of what was cooked."""
    return result.piece.material.name or "a dry solid"


def outcome_facts(result: Result, told: Explanation) -> Facts:
    """Return the numbers of the answer."""
    rows: list[tuple[str, Text]] = [
        ("length of the cook", Lasting(result.duration_s)),
        ("core at the end", Degrees(float(result.core_c[-1]), 1)),
        ("highest core", Degrees(float(result.core_c.max()), 1)),
        ("surface at the end", Degrees(float(result.surface_c[-1]), 1)),
    ]
    if result.piece.material.moist:
        parts = " (evaporated {:.1f} %, dripped {:.1f} %, rendered fat {:.1f} %)".format(
            *(
                100.0 * float(part[-1])
                for part in (
                    result.evaporated_fraction,
                    result.dripped_fraction,
                    result.rendered_fat_fraction,
                )
            )
        )
        loss = 100.0 * float(result.mass_loss_fraction[-1])
        rows.append(("weight loss", f"{loss:.1f} % of the raw weight{parts}"))
        rows.append(("size after shrinking", Length(result.final_size_m)))
    for stall in told.stalls:
        rows.append(
            (
                "stands still" if stall.level else "climbs slowly",
                say(
                    "{0} to {1}, core {2} to {3}",
                    Lasting(stall.begin_s),
                    Lasting(stall.end_s),
                    Degrees(stall.core_begin_c, 1),
                    Degrees(stall.core_end_c, 1),
                ),
            )
        )
    if not told.stalls:
        rows.append(("stall", "none"))
    return Facts(tuple(rows), "The answer")


def input_facts(result: Result) -> Facts:
    """Return what went in: the piece and the sets of constants."""
    piece = result.piece
    rows: list[tuple[str, Text]] = [
        ("meat", material_words(result)),
        ("shape", say("{0}, {1}", piece.shape.name, Length(piece.shape.size))),
        ("temperature at the start", Degrees(piece.start_c, 1)),
    ]
    if piece.material.composition:
        parts = ", ".join(
            f"{name} {100.0 * share:.1f} %"
            for name, share in piece.material.composition.items()
            if share > 0.0
        )
        rows.append(("composition", parts))
    for kind, name in piece.material.sets.items():
        title = tables.load(kind, name).title if name in tables.names(kind) else name
        rows.append((f"constants: {kind.replace('_', ' ')}", title))
    return Facts(tuple(rows), "What went in")


def stage_table(result: Result) -> Table:
    """Return the stages with their surroundings."""
    rows = [
        (
            record.label,
            say("{0} to {1}", Lasting(record.begin_s), Lasting(record.end_s)),
            surroundings_words(stage),
            record.wrap,
        )
        for stage, record in zip(result.stages, result.records, strict=True)
    ]
    heads = ("stage", "from, to", "around it", "wrap")
    return table_of("Stage by stage", heads, rows, (18, 24, 46, 12))


def surroundings_words(stage: Stage) -> Text:
    """Return what was around the piece, in words."""
    around = stage.surroundings
    parts: list[Text] = []
    for name, series in around.series().items():
        if name == "wall_c" and around.wall_c is None:
            continue
        if name in _FLOWS:
            low, high = float(series.value.min()), float(series.value.max())
            if high > 0.0:
                span = Mass(low) if low == high else say("{0} to {1}", Mass(low), Mass(high))
                parts.append(say("{0} {1} an hour", _FLOWS[name], span))
            continue
        what = {"air_c": "air", "wall_c": "walls", "dew_point_c": "dew point"}[name]
        if isinstance(around, Chamber) and name == "dew_point_c":
            what = "dew point outside"
        low, high = float(series.value.min()), float(series.value.max())
        if high - low > 0.05:
            parts.append(say("{0} {1} (varying)", what, DegreesBetween(low, high)))
        else:
            parts.append(say("{0} {1}", what, Degrees(low)))
    if around.air_speed is not None:
        parts.append(f"air speed {around.air_speed:g} m/s")
    if around.heat_transfer is not None and not isinstance(around.heat_transfer, tuple):
        parts.append(f"heat transfer {around.heat_transfer:g} W/m²K")
    parts.append(f"pressure {around.pressure_pa / 1e3:.1f} kPa")
    if not around.evaporation:
        parts.append("shut to vapour")
    if stage.until_core_c is not None:
        parts.append(say("until the core has {0}", Degrees(stage.until_core_c, None)))
    return together(parts, ", ")


def milestones(result: Result) -> Table:
    """Return when the core passed each ten degrees."""
    first, last = float(result.core_c[0]), float(result.core_c.max())
    levels = np.arange(np.ceil(first / _STEP_C) * _STEP_C, last, _STEP_C)
    rows: list[tuple[Text, ...]] = []
    for level in levels:
        at_s = result.time_at_core(float(level))
        if at_s is None:
            continue
        surface, loss = (
            float(np.interp(at_s, result.time_s, curve))
            for curve in (result.surface_c, result.mass_loss_fraction)
        )
        rows.append(
            (Degrees(float(level)), Lasting(at_s), Degrees(surface), f"{100.0 * loss:.1f} %")
        )
    heads = ("core", "after", "surface then", "lost")
    return table_of("When the core reached", heads, rows)


def numerics(result: Result) -> Facts:
    """Return how it was computed and how well it closes."""
    return Facts(
        (
            ("engine", result.engine),
            ("nodes from core to surface", str(len(result.position_m))),
            ("local error allowed per step", Difference(result.tolerance)),
            ("energy that does not close", f"{result.balance.energy:.1e} of what crossed"),
            ("water that does not close", f"{result.balance.water:.1e} of what crossed"),
        ),
        "How it was computed",
    )


def cook_data(result: Result, told: Explanation) -> tuple[Data, ...]:
    """Return the curves and what happened at the surface."""
    return (
        Data(
            "cook.csv",
            result.to_csv_text(),
            "Temperatures, weight loss and surface of the computed cook, a row for each time.",
        ),
        data_of(
            "cook-surface.csv",
            {
                "time_s": told.time_s,
                "air_c": told.air_c,
                "dew_point_c": told.dew_point_c,
                "wet_surface_c": told.wet_surface_c,
                "convection_w_m2": told.convection_w_m2,
                "radiation_w_m2": told.radiation_w_m2,
                "evaporation_w_m2": told.evaporation_w_m2,
                "conduction_w_m2": told.conduction_w_m2,
                "water_supply_kg_m2_s": told.water_supply_kg_m2_s,
                "water_demand_kg_m2_s": told.water_demand_kg_m2_s,
                "free_water_fraction": told.free_water,
                "regime": told.regime,
            },
            "Computed heat and water at the surface and what limits the evaporation.",
        ),
    )
