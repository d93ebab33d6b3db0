"""All that is said of a fire with meat over it, and of a pit of one's own."""

from __future__ import annotations

from typing import Final

from coreward import cautions
from coreward.cook.pit import FirePlan
from coreward.questions.pit.answer import PitDay, change, later_words
from coreward.questions.pit.figure import alt_text, figure_pit, heat_words, water_words
from coreward.questions.pit.own_pit import OwnPit
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
from coreward.reports.repeat import call, expression, material_code
from coreward.reports.things import document_of
from coreward.words import Degrees, Difference, Lasting, Mass, Opening, Text, say


@document_of.register
def document(answer: PitDay) -> Document:
    """Return what is said of a day with its fire."""
    return Document(
        title=say("{0}: fire, air and meat", Opening(answer.plan.pit_set().name)),
        lead=answer.sentence,
        caution=(cautions.COMPUTED, cautions.FORECAST),
        blocks=(
            *([Listing(answer.warnings, "Beware")] if answer.warnings else []),
            *([move_table(answer)] if answer.moves else []),
            *([cost_table(answer)] if answer.costs else []),
            Picture(
                lambda units: figure_pit(answer, units),
                lambda units: alt_text(answer, units),
                "Left: pit, meat and fire. Right: where heat and water went.",
            ),
            _air_facts(answer),
            Listing(
                tuple(heat_words(answer)), "Where the fire's heat went, until it was ready"
            ),
            Listing(tuple(water_words(answer)), "Where the water came from, and went"),
            Listing(answer.assumptions, "What this takes for granted", small=True),
            _numerics(answer),
        ),
        code=lambda: pit_code(answer),
        files=lambda: (_curves(answer),),
        sources=tuple(source.citation() for source in answer.day.cook.sources),
        versions=versions(),
        numbers={"kind": "pit"},
    )


def move_table(answer: PitDay) -> Table:
    """Return what a hand could do now, a row for each."""
    title = say("What could be done after {0}", Lasting(answer.now_s))
    rows = (
        (
            Opening(move.words),
            change(move.soon_k),
            change(move.later_k),
            say("{0} to {1}", Degrees(move.dew_before_c), Degrees(move.dew_after_c)),
            Opening(later_words(move.ready_s)),
            Lasting(move.again_s),
        )
        for move in answer.moves
    )
    heads = (
        "done",
        "air in 20 min",
        "in 2 h",
        "dew point in 2 h",
        "at the end",
        "look again in",
    )
    return table_of(title, heads, rows, (34, 12, 10, 17, 19, 12))


def cost_table(answer: PitDay) -> Table:
    """Return what the events of the day cost."""
    rows = (
        (
            Opening(cost.words),
            Lasting(cost.event.at_s),
            change(cost.air_k),
            Opening(later_words(cost.ready_s)),
        )
        for cost in answer.costs
    )
    heads = ("event", "after", "air, at most", "at the end")
    return table_of("What each event costs, cooked with it and without", heads, rows)


def _air_facts(answer: PitDay) -> Facts:
    now = answer.now_s
    rows: tuple[tuple[str, Text], ...] = (
        ("air", Degrees(answer.at("air_c", now))),
        ("walls, as the meat sees them", Degrees(answer.at("wall_c", now))),
        ("dew point", Degrees(answer.at("dew_point_c", now))),
        ("fresh air in an hour", Mass(answer.at("fresh_air_kg_h", now))),
        ("oxygen left, of fresh air's", f"{100.0 * answer.at('oxygen', now):.0f} %"),
        ("heat of the fire", f"{answer.at('power_w', now) / 1e3:.1f} kW"),
        ("fuel left, dry", Mass(answer.at("fuel_kg", now))),
    )
    return Facts(rows, say("After {0}", Lasting(now)))


def _numerics(answer: PitDay) -> Facts:
    day = answer.day
    closing = day.fire.closing
    return Facts(
        (
            ("rounds of fire and meat", str(day.rounds)),
            ("the surface still moved by", Difference(day.apart_k, 2)),
            ("heat given and heat taken differ by", f"{100.0 * day.heat_apart:.2f} %"),
            ("dew points of fire and meat differ by", Difference(day.dew_apart_k, 2)),
            ("largest gap of energy, water, oxygen, carbon, fuel", f"{closing.worst:.1e}"),
        ),
        "How well it closes",
    )


def _curves(answer: PitDay) -> Data:
    names = (
        "time_s", "air_c", "wall_c", "dew_point_c", "fresh_air_kg_h", "oxygen", "power_w",
        "fuel_kg",
    )  # fmt: skip
    columns = {name: getattr(answer, name) for name in names}
    return data_of("pit.csv", columns | {"core_c": answer.core, "surface_c": answer.surface})


def pit_code(answer: PitDay) -> str:
    """Return the lines of Python that repeat it."""
    cook = answer.day.cook
    made, _ = material_code(cook.piece.material)
    default = FirePlan()
    given = {
        name: expression(getattr(answer.plan, name))
        for name in FirePlan.__dataclass_fields__
        if getattr(answer.plan, name) != getattr(default, name) and name != "events"
    }
    if answer.plan.events:
        events = ", ".join(
            f"FireEvent({e.at_s!r}, {e.kind!r}, {e.value!r}, {e.for_s!r}, "
            f"{e.fuel!r}, {e.moisture!r})"
            for e in answer.plan.events
        )
        given["events"] = f"({events},)"
    piece = {"start_c": repr(float(cook.piece.start_c)), "mass_kg": repr(cook.piece.mass_kg)}
    imports = ["import coreward as cw"]
    if "tables.load(" in "".join(given.values()):
        imports.append("from coreward import tables")
    return "\n".join(
        [
            *imports,
            "from coreward.cook.pit import FireEvent, FirePlan",
            "",
            *call("piece = cw.Piece", piece, (cook.piece.shape.code, made)),
            *call("plan = FirePlan", given),
            *call(
                "answer = cw.pit_day",
                {
                    "core_c": repr(answer.core_c),
                    "pieces": repr(answer.day.pieces),
                    "now_s": repr(answer.now_s),
                    "longest_s": repr(float(answer.day.fire.time_s[-1])),
                },
                ("piece", "plan"),
            ),
            "print(cw.document(answer).text())",
            "",
        ]
    )


# tests/verification/judge_pits.py on ten simulated logs that were made with other equations:
# 4.9 to 12.7 K, median 8.9 (it was to be 5), and 35 K in one of them at a first score.
_HOW_GOOD: Final = say(
    "Of ten simulated logs of another making the last third was foretold to within {0} to {1}, "
    "{2} in the middle, root mean square: a guide to which way and how far, no promise.",
    Difference(5.0, 0),
    Difference(13.0, 0),
    Difference(9.0, 0),
)


@document_of.register
def own_document(answer: OwnPit) -> Document:
    """Return what a log tells of its pit."""
    rows = [
        (name.replace("_", " "), f"{value:.3g}", f"{100.0 * answer.told[name]:.0f} %")
        for name, value in answer.numbers.items()
    ]
    return Document(
        title="Your pit, from its log",
        lead=answer.sentence,
        caution=("Advice only: nothing is driven.", cautions.ANSWER),
        blocks=(
            *(
                [Listing(tuple(answer.advised), "To bring the air to")]
                if answer.advised
                else []
            ),
            Listing((_HOW_GOOD,), "How far to trust it"),
            table_of(
                "The reduced pit, and by how much the log narrowed each",
                ("constant", "value", "told by the log"),
                rows,
            ),
        ),
        versions=versions(),
        numbers={"kind": "own pit"},
    )
