"""The rooms of the questions: each is whole, and no answer waits for what draws it."""

from __future__ import annotations

import json
import pkgutil
import subprocess
import sys

import pytest

import coreward.questions

ROOMS = sorted(each.name for each in pkgutil.iter_modules(coreward.questions.__path__))
SHOWN = ("figure", "scene", "panel", "ways_table", "document")
DRAWN = {"matplotlib", "ipywidgets", "IPython"}
LOADED = """
import importlib, json, pkgutil, sys
import coreward.questions, coreward.events
for part in (coreward.questions, coreward.events):
    for module in pkgutil.walk_packages(part.__path__, part.__name__ + "."):
        if not module.name.endswith({shown!r}):
            importlib.import_module(module.name)
print(json.dumps(sorted(sys.modules)))
"""


def _modules(room: str) -> set[str]:
    folder = f"{coreward.questions.__path__[0]}/{room}"
    return {each.name for each in pkgutil.iter_modules([folder])}


def test_no_question_lies_outside_a_room() -> None:
    assert all(each.ispkg for each in pkgutil.iter_modules(coreward.questions.__path__))


@pytest.mark.parametrize("room", ROOMS)
def test_a_room_that_is_pressed_also_draws_and_has_a_document(room: str) -> None:
    modules = _modules(room)
    assert modules - set(SHOWN), "a room without an answer"
    if "panel" in modules:
        assert {"figure", "document"} <= modules


def test_no_answer_loads_what_draws() -> None:
    program = LOADED.format(shown=(*(f".{name}" for name in SHOWN), "_figure"))
    done = subprocess.run(
        [sys.executable, "-c", program], capture_output=True, text=True, check=True
    )
    loaded = set(json.loads(done.stdout))
    assert "coreward.questions.plan.replan" in loaded
    assert loaded & DRAWN == set()
