"""A panel of a few controls that computes nothing, for tests of what all panels share."""

from __future__ import annotations

from typing import Any

from coreward.errors import InputError
from coreward.widgets.controls import LENGTH, TEMPERATURE, Choice, Number, Toggle
from coreward.widgets.panel import Panel, PanelState, View


class ToyState(PanelState):
    size_m = Number(
        0.08,
        label="size",
        quantity=LENGTH,
        low=0.02,
        high=0.2,
        reason="the toy box ends there",
    )
    pit_c = Number(
        110.0,
        label="pit",
        quantity=TEMPERATURE,
        low=80.0,
        high=180.0,
        reason="the toy fire ends there",
    )
    kind = Choice("a", label="kind", options={"a": "first", "b": "second"})
    on = Toggle(True, label="on")


class ToyPanel(Panel):
    title = "Toy"

    def compute(self, preview: bool) -> Any:
        if self.state.pit_c > 175.0:
            raise InputError("The toy is too hot: lower the pit.")
        if self.state.kind == "b" and not self.state.on:
            raise ZeroDivisionError("a slip in the toy")
        return {"pit": self.state.pit_c, "preview": preview}

    def view(self, outcome: Any) -> View:
        return View(b"not really a PNG", f"pit & {outcome['pit']}", f"pit {outcome['pit']:.0f}")

    def code(self) -> str:
        return f"pit = {self.state.pit_c}"
