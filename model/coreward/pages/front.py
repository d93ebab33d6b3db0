"""The live plan of the front door: one sentence, one picture, and what it cannot do without."""

from __future__ import annotations

from coreward.questions.plan.panel import plan_panel
from coreward.widgets.panel import Panel

_ASKED = ("cut", "mass", "day", "serve")


def front_panel() -> Panel:
    """Return the panel of the front door; the page of the plan has all the rest."""
    panel = plan_panel(remember="front", mass_kg=5.0)
    panel.show_only(_ASKED)
    return panel
