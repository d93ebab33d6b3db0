"""Every notebook is thin, and no check in it is one that cannot fail."""

from __future__ import annotations

import copy
import json
from pathlib import Path
from typing import Any

import pytest

from support import notebook_rules as rules

ROOT = Path(__file__).parents[2]
NOTEBOOKS = sorted((ROOT / "notebooks").glob("*.ipynb"))
EXPECTED = (
    "start",
    "why-the-stall",
    "my-log",
    "rest-and-carryover",
    "the-pit",
    "is-this-hold-enough",
    "how-far-to-trust-it",
    "teach-the-stall",
    "does-it-solve-its-equations",
    "plan-the-day",
    "how-good-are-the-forecasts",
    "lesson-plan",
    "lesson-log",
    "lesson-rest",
    "lesson-hold",
)
COOK = (
    "start",
    "plan-the-day",
    "the-pit",
    "my-log",
    "rest-and-carryover",
    "is-this-hold-enough",
)


def _cell(source: str, **fields: Any) -> dict[str, Any]:
    return {"cell_type": "code", "source": source, "outputs": [], "metadata": {}} | fields


def _notebook(*cells: dict[str, Any]) -> rules.Notebook:
    return {"cells": list(cells), "metadata": {}}


@pytest.fixture(params=NOTEBOOKS, ids=lambda path: path.stem)
def notebook(request: pytest.FixtureRequest) -> rules.Notebook:
    loaded: rules.Notebook = json.loads(request.param.read_text(encoding="utf-8"))
    return loaded


@pytest.mark.parametrize("name", EXPECTED)
def test_the_promised_notebooks_are_there(name: str) -> None:
    assert name in {path.stem for path in NOTEBOOKS}


def test_the_readme_tells_what_is_in_each_notebook() -> None:
    readme = (ROOT / "README.md").read_text(encoding="utf-8")
    assert [path.name for path in NOTEBOOKS if f"| `{path.name}` |" not in readme] == []


def test_no_long_definitions(notebook: rules.Notebook) -> None:
    assert rules.long_definitions(notebook) == []


def test_no_constants_of_the_trade(notebook: rules.Notebook) -> None:
    assert rules.constants_of_the_trade(notebook) == []


def test_marked_cells_are_compared(notebook: rules.Notebook) -> None:
    assert rules.unchecked_marks(notebook) == []


def test_code_is_folded_and_checks_are_elsewhere(notebook: rules.Notebook) -> None:
    assert rules.unfolded_code(notebook) == []
    assert rules.checks_in_sight(notebook) == []


@pytest.mark.parametrize("name", COOK)
def test_a_cooks_page_begins_with_its_panel(name: str) -> None:
    loaded = json.loads((ROOT / "notebooks" / f"{name}.ipynb").read_text(encoding="utf-8"))
    title, back, panel, *rest = loaded["cells"]
    assert back["metadata"]["tags"] == ["notebook-only"]
    assert f"(/coreward/page/{name})" in "".join(back["source"])
    words, first = "".join(title["source"]), "".join(panel["source"])
    # A heading and one sentence or two; predictions and exercises are the lessons' own.
    assert len(words) < 200
    assert first.startswith("import coreward as cw\n\n")
    assert "_panel(" in first
    together = "".join("".join(cell["source"]) for cell in loaded["cells"])
    assert "lesson.predict" not in together
    assert "$$" not in together
    assert len(rest) <= 5


@pytest.mark.parametrize("name", [name for name in EXPECTED if not name.startswith("lesson-")])
def test_no_printed_line_answers_a_card_that_comes_after_it(name: str) -> None:
    loaded = json.loads((ROOT / "notebooks" / f"{name}.ipynb").read_text(encoding="utf-8"))
    assert rules.spoilt_questions(loaded) == []


def test_no_error_is_stored(notebook: rules.Notebook) -> None:
    assert rules.stored_errors(notebook) == []


def test_no_widget_state_is_stored(notebook: rules.Notebook) -> None:
    # With stored state, an exported page shows nothing at all offline.
    assert "widgets" not in notebook["metadata"]


def test_the_kernel_is_the_plain_one(notebook: rules.Notebook) -> None:
    # A kernel named after somebody's environment opens a dialogue elsewhere.
    assert notebook["metadata"].get("kernelspec", {}).get("name") == "python3"


# The rules themselves: each must be able to fail.


def test_rule_finds_a_long_definition() -> None:
    body = "\n".join(f"    x = {line}" for line in range(5))
    assert rules.long_definitions(_notebook(_cell(f"def heavy():\n{body}"))) == [
        "cell 0: heavy has 6 lines"
    ]
    short = "\n".join(body.splitlines()[:4])
    assert rules.long_definitions(_notebook(_cell(f"%time\ndef light():\n{short}"))) == []


@pytest.mark.parametrize(
    "source",
    [
        "conductivity = 0.5",
        "cw.constant_material(conductivity=0.5)",
        "z_value_k: float = 7",
        "latent_heat = 2.5 * 10**6",
    ],
)
def test_rule_finds_a_constant(source: str) -> None:
    assert len(rules.constants_of_the_trade(_notebook(_cell(source)))) == 1


def test_rule_leaves_a_persons_choice_alone() -> None:
    cell = _cell("panel = cw.panel(pit_c=110, thickness_mm=90)\nheat_capacity = meat.of(20)")
    assert rules.constants_of_the_trade(_notebook(cell)) == []


def test_rule_finds_a_check_that_cannot_fail() -> None:
    stored = _cell(
        "print(1)",
        metadata={"tags": ["nbval-check-output"]},
        execution_count=1,
        outputs=[{"output_type": "stream", "text": "1\n"}],
    )
    assert rules.unchecked_marks(_notebook(stored)) == []
    no_count = copy.deepcopy(stored) | {"execution_count": None}
    no_output = copy.deepcopy(stored) | {"outputs": []}
    assert len(rules.unchecked_marks(_notebook(no_count))) == 1
    assert len(rules.unchecked_marks(_notebook(no_output))) == 1


def test_rule_finds_open_code_and_checks_in_sight() -> None:
    assert len(rules.unfolded_code(_notebook(_cell("1 + 1")))) == 1
    folded = _cell("1 + 1", metadata={"jupyter": {"source_hidden": True}})
    assert rules.unfolded_code(_notebook(folded)) == []
    assert len(rules.checks_in_sight(_notebook(_cell("panel.try_ends()")))) == 1
    assert rules.checks_in_sight(_notebook(folded)) == []


def test_rule_finds_a_spoilt_question() -> None:
    told, asked = _cell("print(len(rows))"), _cell('lesson.check("right", rows)')
    assert rules.spoilt_questions(_notebook(told, asked)) == [
        "cell 1: rows was told of in cell 0"
    ]
    assert rules.spoilt_questions(_notebook(asked, told)) == []


def test_rule_finds_a_stored_error() -> None:
    cell = _cell("1/0", outputs=[{"output_type": "error", "ename": "ZeroDivisionError"}])
    assert len(rules.stored_errors(_notebook(cell))) == 1
    warned = _cell("warn()", outputs=[{"output_type": "stream", "name": "stderr"}])
    assert len(rules.stored_errors(_notebook(warned))) == 1
    printed = _cell("print(1)", outputs=[{"output_type": "stream", "name": "stdout"}])
    assert rules.stored_errors(_notebook(printed)) == []
