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
    "FiniteCylinder": "coreward.physics.body",
    "Block": "coreward.physics.body",
    "TaperedFlat": "coreward.physics.body",
    "Loaf": "coreward.physics.body",
    "BirdBreast": "coreward.physics.body",
    "piece": "coreward.cook.usual_piece",
    "meat": "coreward.physics.meat",
    "FLOWING": "coreward.physics.meat",
    "constant_material": "coreward.physics.meat",
    "Piece": "coreward.cook.stages",
    "Surroundings": "coreward.cook.stages",
    "Chamber": "coreward.cook.stages",
    "Spray": "coreward.cook.stages",
    "Stage": "coreward.cook.stages",
    "simulate": "coreward.cook.simulate",
    "cook_together": "coreward.cook.together",
    "SharedCook": "coreward.cook.together",
    "simulate_many": "coreward.cook.many",
    "log_reduction": "coreward.physics.lethality",
    "read_log": "coreward.logs.read",
    "explain": "coreward.questions.stall.explain",
    "review": "coreward.questions.review.answer",
    "verdict": "coreward.questions.verdict",
    "pit_dew_point": "coreward.questions.stall.pit_damp",
    "what_to_do": "coreward.questions.stall.choices",
    "Liquid": "coreward.cook.stages",
    "rest_stage": "coreward.cook.rest",
    "pit_day": "coreward.questions.pit.answer",
    "learn_pit": "coreward.questions.pit.own_pit",
    "carryover": "coreward.questions.rest.carryover",
    "pull_for_peak": "coreward.questions.rest.carryover",
    "holding": "coreward.questions.rest.holding",
    "probe_error": "coreward.questions.probe",
    "chilling": "coreward.questions.chill.answer",
    "tenderness": "coreward.questions.rest.tenderness",
    "follow_log": "coreward.logs.follow",
    "find_events": "coreward.events.found",
    "EventList": "coreward.events.found",
    "forecast": "coreward.questions.forecast.answer",
    "Change": "coreward.questions.forecast.answer",
    "Target": "coreward.questions.forecast.answer",
    "plan": "coreward.questions.plan.answer",
    "PlannedPiece": "coreward.questions.plan.answer",
    "Wanted": "coreward.questions.plan.answer",
    "Hold": "coreward.questions.plan.answer",
    "PitPlan": "coreward.questions.plan.answer",
    "Way": "coreward.questions.plan.ways",
    "compare_ways": "coreward.questions.plan.ways",
    "replan": "coreward.questions.plan.replan",
    "sweep": "coreward.cook.sweep",
    "document": "coreward.reports.things:document_of",
    "report": "coreward.reports.write",
    "check_answer": "coreward.lessons",
    "first_look": "coreward.questions.stall.panel",
    "forecast_panel": "coreward.questions.forecast.panel",
    "log_panel": "coreward.questions.review.panel",
    "pit_panel": "coreward.questions.pit.panel",
    "plan_panel": "coreward.questions.plan.panel",
    "rest_panel": "coreward.questions.rest.panel",
    "settings_panel": "coreward.widgets.settings_panel",
    "stall_panel": "coreward.questions.stall.panel",
    "verdict_panel": "coreward.questions.verdict.panel",
    "CorewardError": "coreward.errors",
    "InputError": "coreward.errors",
}

__all__ = ["__version__", *sorted(_PUBLIC)]


def __getattr__(name: str) -> Any:
    if name in _PUBLIC:
        module, _, inside = _PUBLIC[name].partition(":")
        try:
            value = getattr(import_module(module), inside or name)
        except ModuleNotFoundError as missing:
            # A notebook asks here for its panel, and its reader has no use for less.
            from coreward.errors import MissingFeatureError

            raise MissingFeatureError(
                f"Coreward needs the package {missing.name}, which was not found. In a "
                "terminal, in the folder that holds README.md, type: pip install .   In a "
                "notebook, then choose Kernel, Restart Kernel and Run All Cells."
            ) from missing
        globals()[name] = value
        return value
    raise AttributeError(f"coreward has no {name!r}; it offers {', '.join(sorted(_PUBLIC))}")


def __dir__() -> list[str]:
    return sorted(set(globals()) | set(_PUBLIC))
