"""What somebody meets the first time: a notebook without the package says what to do."""

from __future__ import annotations

import json
import sys
from pathlib import Path

import pytest

NOTEBOOKS = sorted((Path(__file__).parents[2] / "notebooks").glob("*.ipynb"))


def _first_code(notebook: Path) -> str:
    cells = json.loads(notebook.read_text(encoding="utf-8"))["cells"]
    return next("".join(cell["source"]) for cell in cells if cell["cell_type"] == "code")


@pytest.mark.parametrize("notebook", NOTEBOOKS, ids=lambda path: path.stem)
def test_without_the_package_a_notebook_says_what_to_do(
    notebook: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    for name in [each for each in sys.modules if each.partition(".")[0] == "coreward"]:
        monkeypatch.delitem(sys.modules, name)
    # As the import system marks what must not be found.
    monkeypatch.setitem(sys.modules, "coreward", None)
    with pytest.raises(SystemExit) as left:
        exec(compile(_first_code(notebook), notebook.name, "exec"), {})
    words = str(left.value)
    assert words.startswith("This page needs the package coreward, and 'coreward")
    assert "pip install" in words
    assert "Run All" in words
