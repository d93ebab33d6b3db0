"""No panel and no command shows a unit that its reader did not choose."""

from __future__ import annotations

import datetime as dt
import html
import re
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import ipywidgets as W
import pytest

from coreward import cli, person
from coreward.logs.demo import SUPPER_LOG, demo_folder
from coreward.questions.pit.panel import pit_panel
from coreward.questions.plan.panel import plan_panel
from coreward.questions.rest.panel import rest_panel
from coreward.questions.review.panel import log_panel
from coreward.questions.stall.panel import stall_panel
from coreward.questions.verdict.panel import verdict_panel

ROOT = Path(__file__).parents[2]
FOREIGN = {
    "F": re.compile(r"°C|\d K\b|\d mm\b|\d kg\b"),
    "C": re.compile(r"°F|\d lb\b|\d\.\d+ in\b(?! 100)"),
}
THIN = {"cut": "beef brisket flat", "shape": "slab", "thickness_m": 0.03, "place": "kitchen"}
LOG = demo_folder() / SUPPER_LOG
PANELS: dict[str, Callable[[str], Any]] = {
    "plan": lambda u: plan_panel(u, day=dt.date(2026, 10, 24), remember=False, **THIN),
    "hold": lambda u: verdict_panel(u, remember=False),
    "hold in air": lambda u: verdict_panel(u, remember=False, humidity="air", mass_kg=3.3),
    "hold of a log": lambda u: verdict_panel(u, path=LOG, remember=False),
    "stall": lambda u: stall_panel(u, remember=False),
    "pit": lambda u: pit_panel(u, remember=False),
    "rest": lambda u: rest_panel(u, remember=False),
    "log": lambda u: log_panel(LOG, units=u),
}
# What a file, or the title of a source, says, as it says it.
QUOTED = re.compile(
    r"(?<=[ (])'[^'\n]*'|\(°[CF]\)|is in °[CF]: its heading|Report on .*|data:[^\"]*"
)


def foreign(text: str, units: str) -> str:
    """Return where a text holds a foreign unit, with what stands around it."""
    own = QUOTED.sub("", text)
    found = None if own.strip() in {"°C", "°F"} else FOREIGN[units].search(own)
    return "" if found is None else own[max(found.start() - 80, 0) : found.end() + 40]


@pytest.fixture(autouse=True)
def own_settings(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Keep the person's own settings out of the tests, and find the demo logs."""
    monkeypatch.setenv(person.FOLDER_VARIABLE, str(tmp_path))
    monkeypatch.chdir(ROOT)


def texts(widget: W.Widget) -> Iterator[str]:
    """Every text that a widget shows, and those that it holds."""
    if isinstance(widget, W.Dropdown):
        # The list of units names them all, and says which is chosen.
        if not any("units" in name for name in widget._dom_classes):
            yield from map(str, widget._options_labels)
    elif isinstance(widget, W.HTML):
        shown = re.sub(r"<style>.*?</style>", " ", str(widget.value), flags=re.DOTALL)
        yield from re.findall(r'alt="([^"]*)"', shown)
        yield re.sub(r"<[^>]*>", " ", shown)
    for name in ("description", "tooltip", "placeholder"):
        yield str(getattr(widget, name, "") or "")
    for child in getattr(widget, "children", ()):
        yield from texts(child)


@pytest.mark.parametrize("units", ["F", "C"])
@pytest.mark.parametrize("name", PANELS)
def test_a_panel_speaks_the_units_of_its_reader(name: str, units: str) -> None:
    panel = PANELS[name](units)
    assert panel.state.error is None
    said = [html.unescape(text) for text in texts(panel.widget)]
    assert len(" ".join(said)) > 1000
    for text in said:
        assert foreign(text, units) == ""


@pytest.mark.parametrize("units", ["F", "C"])
@pytest.mark.parametrize("command", ["review", "verdict"])
def test_a_command_speaks_the_units_of_its_reader(
    command: str, units: str, capsys: pytest.CaptureFixture[str]
) -> None:
    given = ["--meat", "pork"] if command == "verdict" else []
    cli.main([command, str(LOG), *given, "--show-units", units])
    printed = capsys.readouterr().out
    assert len(printed) > 500
    assert foreign(printed, units) == ""


def test_the_look_finds_what_it_looks_for() -> None:
    for text in ("60 °C", "1 K of", "30 mm", "2.5 kg"):
        assert FOREIGN["F"].search(text)
    for text in ("140 °F", "1.18 in thick", "5 lb"):
        assert FOREIGN["C"].search(text)
    box = W.VBox([W.HTML('<img alt="at 60 °C">'), W.FloatSlider(description="30 mm")])
    assert {"at 60 °C", "30 mm"} <= set(texts(box))
