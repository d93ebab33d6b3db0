"""Notebooks read as pages: words, links, what was stored, the order of the list."""

from __future__ import annotations

import base64
import io
from pathlib import Path
from typing import Any

import nbformat
import pytest
from PIL import Image

from coreward.app.pages import FRONT, NOTEBOOK_ONLY, Page, read_pages

ROOT = Path(__file__).parents[2]


def _png(width: int = 960) -> str:
    stream = io.BytesIO()
    Image.new("RGB", (width, width // 2), (94, 15, 52)).save(stream, "PNG")
    return base64.b64encode(stream.getvalue()).decode()


def _words(text: str, **metadata: Any) -> Any:
    return nbformat.v4.new_markdown_cell(text, metadata=metadata)


def _code(source: str, *outputs: Any, **metadata: Any) -> Any:
    return nbformat.v4.new_code_cell(source, outputs=list(outputs), metadata=metadata)


def _shown(**data: Any) -> Any:
    plain = {name.replace("_", "/", 1): value for name, value in data.items()}
    return nbformat.v4.new_output("display_data", data=plain)


def _read(folder: Path, **notebooks: list[Any]) -> dict[str, Page]:
    for name, cells in notebooks.items():
        path = folder / f"{name.replace('_', '-')}.ipynb"
        nbformat.write(nbformat.v4.new_notebook(cells=cells), path)
    return {page.name: page for page in read_pages(folder)}


def test_title_and_summary_are_plain_words(tmp_path: Path) -> None:
    page = _read(tmp_path, stall=[_words("# Why *here*?\n\n**You have** `a` & b.\n\nMore.")])[
        "stall"
    ]
    assert (page.title, page.summary) == ("Why here?", "You have a & b.")


def test_a_notebook_without_heading_is_called_by_its_name(tmp_path: Path) -> None:
    assert _read(tmp_path, my_log=[_code("1")])["my-log"].title == "My log"


def test_the_order_is_that_of_the_shelves(tmp_path: Path) -> None:
    names = ("zebra", "my_log", "start", "why_the_stall")
    read = _read(tmp_path, **{name: [_words("# A")] for name in names})
    assert list(read) == ["start", "my-log", "why-the-stall", "zebra"]


def test_the_front_door_has_no_notebook_and_the_first_address() -> None:
    assert (FRONT.address, FRONT.parts[0].words) == ("/", "")
    assert "front_panel" in FRONT.sources[0]


def test_links_lead_to_pages_or_out_or_nowhere(tmp_path: Path) -> None:
    text = (
        "[page](a.ipynb#part) [file](../data/demo/x.csv) [none](gone.ipynb) "
        "[up](../../secret.ipynb) [out](https://example.org/a) [here](#part) "
        "[script](javascript:alert(1))"
    )
    words = _read(tmp_path, a=[_words(text)])["a"].parts[0].words
    assert '<a href="/page/a#part">page</a>' in words
    assert '<a href="https://example.org/a" rel="noreferrer noopener">out</a>' in words
    assert '<a href="#part">here</a>' in words
    for dead in ("file", "none", "up", "script"):
        assert f"<span>{dead}</span>" in words
    assert words.count("<a ") == 3


def test_code_is_kept_for_the_kernel_and_out_of_the_words(tmp_path: Path) -> None:
    page = _read(tmp_path, a=[_words("# A"), _code("x = 1"), _code("  ")])["a"]
    assert page.sources == ("x = 1",)
    assert [part.words for part in page.parts if part.source] == [""]


def test_cells_for_the_notebook_only_are_left_out(tmp_path: Path) -> None:
    cells = [
        _words("# A"),
        _words("Press Run.", tags=[NOTEBOOK_ONLY]),
        _code("panel.follow()", tags=[NOTEBOOK_ONLY]),
    ]
    page = _read(tmp_path, a=cells)["a"]
    assert len(page.parts) == 1
    assert page.sources == ()


def test_what_was_stored_is_shown_with_its_words(tmp_path: Path) -> None:
    outputs = [
        nbformat.v4.new_output("stream", text="a < b\n"),
        _shown(image_png=_png(), text_plain='Core "60" °C'),
        _shown(text_html="<table><tr><td>1</td></tr></table>", text_plain="<HTML>"),
        _shown(text_plain="7"),
    ]
    words = _read(tmp_path, a=[_code("x", *outputs)])["a"].parts[0].words
    assert "<pre>a &lt; b\n</pre>" in words
    assert 'alt="Core &quot;60&quot; °C"' in words
    assert "<td>1</td>" in words
    assert "&lt;HTML&gt;" not in words
    assert "<pre>7</pre>" in words


def test_a_control_without_picture_leaves_nothing_behind(tmp_path: Path) -> None:
    view = {
        "application/vnd.jupyter.widget-view+json": {"model_id": "1"},
        "text/plain": "Text()",
    }
    output = nbformat.v4.new_output("display_data", data=view)
    assert _read(tmp_path, a=[_code("x", output)])["a"].parts[0].words == ""


def test_names_that_are_no_address_and_folders_below_are_no_pages(tmp_path: Path) -> None:
    (tmp_path / "below").mkdir()
    for name in ("a (newer original)", "below/b", "..x"):
        nbformat.write(nbformat.v4.new_notebook(), tmp_path / f"{name}.ipynb")
    assert _read(tmp_path, a=[_words("# A")]).keys() == {"a"}


@pytest.mark.parametrize("page", read_pages(ROOT / "notebooks"), ids=lambda page: page.name)
def test_every_notebook_makes_a_page_that_says_what_it_is(page: Page) -> None:
    assert len(page.title) > 5
    assert len(page.summary) > 40
    assert page.sources
