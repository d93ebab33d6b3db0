"""Every notebook runs from top to bottom, and its marked cells print what they printed.

nbval is run in a process of its own for each notebook: it starts kernels, and its
files would otherwise be collected under the strict settings of this test suite.
"""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path

import nbformat
import pytest

ROOT = Path(__file__).parents[2]
NOTEBOOKS = sorted((ROOT / "notebooks").glob("*.ipynb"))
CELL_TIMEOUT_S = 120
NOTEBOOK_TIMEOUT_S = 600


@pytest.fixture(scope="session")
def no_settings(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Return an empty settings file: this project's own are not meant for cells."""
    path = tmp_path_factory.mktemp("settings") / "pytest.ini"
    path.write_text("[pytest]\n", encoding="utf-8")
    return path


def run_nbval(notebook: Path, settings: Path) -> subprocess.CompletedProcess[str]:
    """Run one notebook under nbval with this Python as its kernel."""
    command = [
        sys.executable, "-m", "pytest",
        "-c", str(settings), f"--rootdir={notebook.parent}",
        "-p", "no:cacheprovider", "-q",
        "--nbval-lax", "--nbval-current-env", f"--nbval-cell-timeout={CELL_TIMEOUT_S}",
        str(notebook),
    ]  # fmt: skip
    # Stored outputs are in the usual units, whatever the person at this machine chose.
    environment = os.environ | {"COREWARD_CONFIG_DIR": str(settings.parent / "coreward")}
    return subprocess.run(
        command,
        capture_output=True,
        text=True,
        check=False,
        timeout=NOTEBOOK_TIMEOUT_S,
        env=environment,
    )


def write_notebook(folder: Path, *sources: str, printed: str = "") -> Path:
    """Write a notebook of code cells whose last one is stored with what it printed."""
    cells = [nbformat.v4.new_code_cell(source, execution_count=1) for source in sources]
    if printed:
        cells[-1].outputs = [nbformat.v4.new_output("stream", text=printed)]
    path = folder / "tried.ipynb"
    nbformat.write(nbformat.v4.new_notebook(cells=cells), path)
    return path


@pytest.mark.parametrize("notebook", NOTEBOOKS, ids=lambda path: path.stem)
def test_notebook_runs(notebook: Path, no_settings: Path) -> None:
    run = run_nbval(notebook, no_settings)
    assert run.returncode == 0, run.stdout[-8000:] + run.stderr[-2000:]


def test_a_failing_cell_fails(tmp_path: Path, no_settings: Path) -> None:
    run = run_nbval(write_notebook(tmp_path, "raise ValueError('on purpose')"), no_settings)
    assert run.returncode == 1
    assert "on purpose" in run.stdout


def test_a_wrong_number_fails(tmp_path: Path, no_settings: Path) -> None:
    source = "# NBVAL_CHECK_OUTPUT\nprint(2 + 2)"
    assert (
        run_nbval(write_notebook(tmp_path, source, printed="4\n"), no_settings).returncode == 0
    )
    assert (
        run_nbval(write_notebook(tmp_path, source, printed="5\n"), no_settings).returncode == 1
    )


def test_an_exception_behind_a_control_fails(tmp_path: Path, no_settings: Path) -> None:
    # Output widgets swallow exceptions; a runner that looks at cells only would pass.
    source = (
        "import ipywidgets\n"
        "slider = ipywidgets.IntSlider()\n"
        "output = ipywidgets.Output()\n"
        "with output:\n"
        "    slider.observe(lambda change: 1 / 0, names='value')\n"
        "    slider.value = 3\n"
    )
    run = run_nbval(write_notebook(tmp_path, source), no_settings)
    assert run.returncode == 1
    assert "ZeroDivisionError" in run.stdout
