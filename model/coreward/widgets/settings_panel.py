"""The choice of units on the start page, kept for all notebooks."""

from __future__ import annotations

import html
from pathlib import Path
from typing import Any

import traitlets

from coreward.widgets import settings
from coreward.widgets.controls import LENGTH, MASS, TEMPERATURE, UnitsControl
from coreward.widgets.panel_parts import column, line
from coreward.words import UnitChoice


class SettingsState(traitlets.HasTraits):
    """The units in force and the sentence about them."""

    units = traitlets.Instance(UnitChoice, args=())
    status = traitlets.Unicode("")
    error = traitlets.Unicode(None, allow_none=True)


class SettingsPanel:
    """Three lists and one sentence. Display it by naming it at the end of a cell."""

    def __init__(self, folder: Path | None = None) -> None:
        self._folder = folder
        self.state = SettingsState()
        found = settings.read(folder)
        self.state.units = found.units
        self.units_control = UnitsControl(self.state)
        self._status_line = line("status")
        self.widget = column("panel", self.units_control.widget, self._status_line)
        self._say(found.problem)
        self.state.observe(self._changed, names="units")

    def _changed(self, change: Any) -> None:
        self._say(settings.write(self.state.units, self._folder).problem)

    def _say(self, problem: str) -> None:
        units = self.state.units
        example = (
            f"All notebooks will say: a piece {LENGTH.text(0.08, units)} thick, "
            f"{MASS.text(5.0, units)} heavy, in a pit at {TEMPERATURE.text(110.0, units)}."
        )
        self.state.error = problem or None
        self.state.status = f"{example} {problem}".strip()
        self._status_line.value = f'<div role="status">{html.escape(self.state.status)}</div>'

    def _repr_mimebundle_(self, include: Any = None, exclude: Any = None) -> dict[str, Any]:
        bundle: dict[str, Any] = dict(self.widget._repr_mimebundle_() or {})
        bundle["text/plain"] = f"Units. {self.state.status}"
        return bundle


def settings_panel(folder: Path | None = None) -> SettingsPanel:
    """Return the panel that chooses the units for all notebooks.

    Parameters
    ----------
    folder : Path, optional
        Where the choice is kept; the person's own settings folder when not given.
    """
    return SettingsPanel(folder)
