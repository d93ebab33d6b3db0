"""Coreward: understand and foresee the slow cooking of large pieces of meat.

The public interface; see DEVELOPERS.md for the layers behind it. Names are
loaded when first used, so that ``import coreward`` stays quick.
"""

from __future__ import annotations

from importlib import import_module
from typing import Any

__version__ = "0.1.0"

_PUBLIC = {
    "Slab": "coreward.physics.body",
    "Cylinder": "coreward.physics.body",
    "Sphere": "coreward.physics.body",
    "meat": "coreward.physics.meat",
    "FLOWING": "coreward.physics.meat",
    "constant_material": "coreward.physics.meat",
    "Material": "coreward.physics.meat",
    "Piece": "coreward.cook.stages",
    "Surroundings": "coreward.cook.stages",
    "Chamber": "coreward.cook.stages",
    "Spray": "coreward.cook.stages",
    "Stage": "coreward.cook.stages",
    "simulate": "coreward.cook.simulate",
    "cook_together": "coreward.cook.together",
    "SharedCook": "coreward.cook.together",
    "simulate_many": "coreward.cook.many",
    "Ensemble": "coreward.cook.many",
    "Result": "coreward.cook.result",
    "dew_point": "coreward.physics.air",
    "wet_bulb": "coreward.physics.air",
    "relative_humidity": "coreward.physics.air",
    "vapour_pressure": "coreward.physics.air",
    "pressure_at_altitude": "coreward.physics.air",
    "wet_surface_temperature": "coreward.physics.exchange",
    "equivalent_minutes": "coreward.physics.lethality",
    "log_reduction": "coreward.physics.lethality",
    "lethality": "coreward.physics.lethality",
    "load_kinetics": "coreward.physics.lethality",
    "kinetics_names": "coreward.physics.lethality",
    "read_log": "coreward.logs.read",
    "explain": "coreward.questions.explain",
    "review": "coreward.questions.review",
    "verdict": "coreward.questions.verdict",
    "verdict_text": "coreward.questions.verdict",
    "verdict_dict": "coreward.questions.verdict",
    "review_text": "coreward.questions.review",
    "review_dict": "coreward.questions.review",
    "compare_rows": "coreward.questions.row_comparison",
    "load_standard": "coreward.tables.standards",
    "standard_names": "coreward.tables.standards",
    "find_stalls": "coreward.questions.stall",
    "Liquid": "coreward.cook.stages",
    "sear": "coreward.cook.rest",
    "wrapped_cook": "coreward.questions.wrapping",
    "wrap_moments": "coreward.questions.wrapping",
    "rest_stage": "coreward.cook.rest",
    "hold_in_box": "coreward.cook.rest",
    "carryover": "coreward.questions.carryover",
    "pull_for_peak": "coreward.questions.carryover",
    "holding": "coreward.questions.holding",
    "chilling": "coreward.questions.chilling",
    "tenderness": "coreward.questions.tenderness",
    "what_it_holds": "coreward.logs.contents",
    "follow_log": "coreward.logs.follow",
    "LogFollower": "coreward.logs.follow",
    "read_in_order": "coreward.logs.follow",
    "find_events": "coreward.questions.events",
    "Event": "coreward.questions.events",
    "EventList": "coreward.questions.events",
    "fit": "coreward.questions.fit",
    "forecast": "coreward.questions.forecast",
    "Change": "coreward.questions.forecast",
    "Target": "coreward.questions.forecast",
    "forecast_text": "coreward.questions.forecast_words",
    "forecast_dict": "coreward.questions.forecast_words",
    "plan": "coreward.questions.plan",
    "plan_text": "coreward.questions.plan",
    "plan_dict": "coreward.questions.plan",
    "PlannedPiece": "coreward.questions.plan",
    "Wanted": "coreward.questions.plan",
    "Hold": "coreward.questions.plan",
    "PitPlan": "coreward.questions.plan",
    "read_plan_file": "coreward.questions.plan_file",
    "Way": "coreward.questions.compare_ways",
    "compare_ways": "coreward.questions.compare_ways",
    "search_ways": "coreward.questions.compare_ways",
    "replan": "coreward.questions.replan",
    "replan_text": "coreward.questions.replan",
    "replan_dict": "coreward.questions.replan",
    "write_calendar": "coreward.questions.calendar_file",
    "sweep": "coreward.cook.sweep",
    "report": "coreward.reports.write",
    "report_bytes": "coreward.reports.write",
    "check_answer": "coreward.lessons",
    "CorewardError": "coreward.errors",
    "InputError": "coreward.errors",
    "LogError": "coreward.errors",
    "OutOfRangeError": "coreward.errors",
    "TableError": "coreward.errors",
}

__all__ = ["__version__", *sorted(_PUBLIC)]


def __getattr__(name: str) -> Any:
    if name in _PUBLIC:
        value = getattr(import_module(_PUBLIC[name]), name)
        globals()[name] = value
        return value
    raise AttributeError(f"coreward has no {name!r}; it offers {', '.join(sorted(_PUBLIC))}")


def __dir__() -> list[str]:
    return sorted(set(globals()) | set(_PUBLIC))
