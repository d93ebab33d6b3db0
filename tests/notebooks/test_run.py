"""Every notebook runs from top to bottom, and its marked cells print what they printed.

nbval is run in a process of its own for each notebook: it starts kernels, and its
files would otherwise be collected under the strict settings of this test suite.
"""

from __future__ import annotations

import os
import re
import shutil
import subprocess
import sys
from pathlib import Path

import nbformat
import pytest

ROOT = Path(__file__).parents[2]
NOTEBOOKS = sorted((ROOT / "notebooks").glob("*.ipynb"))
# What is tried on a page after it has run: it moves every control and answers every card.
TRIED_AFTER = {
    "start": ("try_ends(settings)", "settings", "look"),
    "plan-the-day": ("{}", "panel"),
    "the-pit": ("{}", "panel"),
    "my-log": ("{}", "panel"),
    "rest-and-carryover": ("{}", "panel"),
    "is-this-hold-enough": ("{}", "panel"),
    "why-the-stall": ("try_ends(stall_panel()) | try_all(lesson)", "panel"),
    "teach-the-stall": ("try_all(cards)", "panel"),
    "how-far-to-trust-it": ("try_all(lesson)",),
    "how-good-are-the-forecasts": ("try_all(lesson)",),
    "does-it-solve-its-equations": ("try_all(lesson)",),
    "lesson-plan": (
        "few_draws() or try_ends(plan_panel(day=dt.date(2026, 10, 24), remember=False))"
        " | try_all(lesson)",
        "panel",
    ),
    "lesson-log": ("try_ends(log_panel()) | try_all(lesson)", "live", "panel"),
    "lesson-rest": ("try_ends(rest_panel(shape='cylinder')) | try_all(lesson)", "panel"),
    "lesson-hold": ("try_ends(verdict_panel()) | try_all(lesson)", "panel"),
}
CELL_TIMEOUT_S = 120
NOTEBOOK_TIMEOUT_S = 600


@pytest.fixture(scope="session")
def no_settings(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Return an empty settings file: this project's own are not meant for cells."""
    path = tmp_path_factory.mktemp("settings") / "pytest.ini"
    path.write_text("[pytest]\n", encoding="utf-8")
    return path


def run_nbval(notebook: Path, settings: Path, *more: str) -> subprocess.CompletedProcess[str]:
    """Run one notebook under nbval with this Python as its kernel."""
    command = [
        sys.executable, "-m", "pytest",
        "-c", str(settings), f"--rootdir={notebook.parent}",
        "-p", "no:cacheprovider", "-p", "nbval.plugin", "-q",
        "--nbval-lax", "--nbval-current-env", f"--nbval-cell-timeout={CELL_TIMEOUT_S}",
        *more, str(notebook),
    ]  # fmt: skip
    # Stored outputs are in the usual units, whatever the person at this machine chose.
    environment = os.environ | {
        "COREWARD_CONFIG_DIR": str(settings.parent / "coreward"),
        "PYTEST_DISABLE_PLUGIN_AUTOLOAD": "1",  # loading those of other tests takes a while
    }
    return subprocess.run(
        command,
        capture_output=True,
        text=True,
        check=False,
        timeout=NOTEBOOK_TIMEOUT_S,
        env=environment,
    )


@pytest.mark.parametrize("notebook", NOTEBOOKS, ids=lambda path: path.stem)
def test_notebook_runs(notebook: Path, no_settings: Path, tmp_path: Path) -> None:
    trial, *panels = TRIED_AFTER[notebook.stem]
    found = nbformat.read(notebook, as_version=4)
    lines = [f"import sys; sys.path.append({str(ROOT / 'tests')!r})"]
    lines += ["from support.trying import few_draws, try_all, try_ends"]
    lines += [f"trouble = {trial}", "assert not trouble, trouble"]
    lines += [f"assert {name}.state.error is None, {name}.state.error" for name in panels]
    found.cells.append(nbformat.v4.new_code_cell("\n".join(lines)))
    # Beside the same demo logs as where it comes from.
    shutil.copytree(ROOT / "data" / "demo", tmp_path / "data" / "demo")
    (tmp_path / "notebooks").mkdir()
    tried = tmp_path / "notebooks" / notebook.name
    nbformat.write(found, tried)
    run = run_nbval(tried, no_settings)
    assert run.returncode == 0, run.stdout[-8000:] + run.stderr[-2000:]


BEHIND_A_CONTROL = """
import ipywidgets
slider = ipywidgets.IntSlider()
output = ipywidgets.Output()
with output:
    slider.observe(lambda change: 1 / 0, names="value")
    slider.value = 3
"""
# Source, what is stored as printed, and whether it passes.
TRIED = {
    "a right number": ("print(2 + 2)", "4\n", True),
    "a wrong number": ("print(2 + 2)", "5\n", False),
    "a number nobody compares": ("print(2 + 2)", "5\n", True),
    "a cell that fails": ("raise ValueError('on purpose')", "", False),
    # Output widgets swallow exceptions; a runner that looks at cells only would pass.
    "an exception behind a control": (BEHIND_A_CONTROL, "", False),
}


@pytest.fixture(scope="module")
def tried(tmp_path_factory: pytest.TempPathFactory, no_settings: Path) -> str:
    """Return what is said of a notebook of cells that shall pass and cells that shall not."""
    cells = []
    for name, (source, printed, _) in TRIED.items():
        cells.append(nbformat.v4.new_code_cell(source, execution_count=1))
        if name in ("a right number", "a wrong number"):
            cells[-1].metadata.tags = ["nbval-check-output"]
        if printed:
            cells[-1].outputs = [nbformat.v4.new_output("stream", text=printed)]
    path = tmp_path_factory.mktemp("tried") / "tried.ipynb"
    nbformat.write(nbformat.v4.new_notebook(cells=cells), path)
    run = run_nbval(path, no_settings, "-rA")
    assert run.returncode == 1
    return run.stdout


@pytest.mark.parametrize("name", TRIED)
def test_a_cell_that_shall_fail_fails_and_no_other(name: str, tried: str) -> None:
    word = "PASSED" if TRIED[name][2] else "FAILED"
    number = list(TRIED).index(name)
    assert re.search(rf"^{word} \S*tried\.ipynb::Cell {number}\b", tried, re.MULTILINE), tried


def test_what_failed_is_told(tried: str) -> None:
    assert "on purpose" in tried
    assert "ZeroDivisionError" in tried
