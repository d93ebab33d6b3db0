"""The harness itself, on a tiny panel: it must see a change, a failure and a dead end."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import nbformat
import pytest

from support.pictures import is_drawn
from support.workbench import NotebookPage

OpenNotebook = Callable[[str], NotebookPage]

# A panel of the same make as the real ones: classes, status, picture, error line.
PANEL = """
import base64
import io

import ipywidgets as W
from IPython.display import display
from PIL import Image

pit = W.FloatSlider(value=110, min=80, max=150, step=5, description="pit")
pit.add_class("coreward-control-pit")
status, error, picture = W.HTML(), W.HTML(), W.HTML()
status.add_class("coreward-status")
error.add_class("coreward-error")


def show(change=None):
    stream = io.BytesIO()
    Image.new("RGB", (200, 60), (int(pit.value), 60, 60)).save(stream, "PNG")
    data = base64.b64encode(stream.getvalue()).decode()
    picture.value = (
        '<img class="coreward-picture" alt="a colour for %g" '
        'src="data:image/png;base64,%s">' % (pit.value, data)
    )
    status.value = "pit %g" % pit.value
    error.value = "too hot" if pit.value > 140 else ""


pit.observe(show, names="value")
show()
panel = W.VBox([pit, status, picture, error])
panel.add_class("coreward-panel")
display(panel)
"""


@pytest.fixture(autouse=True)
def own_notebooks(workbench_folder: Path) -> None:
    """Put the harness's own notebooks beside the copies of the real ones."""
    cells = {
        "harness-panel.ipynb": [
            nbformat.v4.new_markdown_cell("# A tiny panel"),
            nbformat.v4.new_code_cell(PANEL),
            nbformat.v4.new_code_cell("print('all cells ran')"),
        ],
        "harness-broken.ipynb": [nbformat.v4.new_code_cell("raise ValueError('on purpose')")],
    }
    for name, content in cells.items():
        metadata = {"kernelspec": {"name": "python3", "display_name": "Python 3"}}
        notebook = nbformat.v4.new_notebook(cells=content, metadata=metadata)
        nbformat.write(notebook, workbench_folder / "notebooks" / name)


def test_keys_and_mouse_move_the_picture(open_notebook: OpenNotebook, tmp_path: Path) -> None:
    notebook = open_notebook("harness-panel.ipynb")
    assert notebook.errors() == []
    panel = notebook.panel()
    assert panel.slider_names() == ["pit"]
    assert panel.status() == "pit 110"
    assert panel.picture_is_drawn()

    before = panel.picture()
    panel.step("pit", 2)
    panel.await_change(status="pit 110", picture=before)
    panel.await_settled()
    assert (panel.status(), panel.value("pit")) == ("pit 120", 120.0)
    assert panel.picture_text() == "a colour for 120"
    assert panel.error() == ""

    panel.drag("pit", 1.0)
    panel.await_change(status="pit 120")
    panel.await_settled()
    assert (panel.status(), panel.error()) == ("pit 150", "too hot")
    panel.drag("pit", 0.0)
    panel.await_settled()
    assert (panel.status(), panel.error()) == ("pit 80", "")
    notebook.screenshots = tmp_path
    notebook.keep_picture("harness")
    assert is_drawn((tmp_path / "harness.png").read_bytes())


def test_a_traceback_is_seen(open_notebook: OpenNotebook) -> None:
    notebook = open_notebook("harness-broken.ipynb")
    assert "on purpose" in " ".join(notebook.errors())


def test_a_picture_that_stays_is_noticed(
    open_notebook: OpenNotebook, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("support.workbench.CHANGE_TIMEOUT_MS", 1500)
    panel = open_notebook("harness-panel.ipynb").panel()
    with pytest.raises(AssertionError):
        panel.await_change(status="pit 110")
