"""Read the notebooks and lay them out as pages, with what was saved in them.

A page is shown at once with the pictures and words stored in its notebook. They give
way to live ones, cell by cell, when the page's own kernel has computed them; where it
has none (all places taken), they stay, and the page says so.
"""

from __future__ import annotations

import html
import re
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Final

import nbformat
from nbconvert.filters.markdown_mistune import markdown2html_mistune

NOTEBOOK_ONLY: Final = "notebook-only"
"""Tag of a cell that makes sense in JupyterLab only; a page leaves it out."""
_AS_SAVED: Final = "a picture from this page as it was saved"
_WIDGET: Final = "application/vnd.jupyter.widget-view+json"
_LINK: Final = re.compile(r'<a\s+href="([^"]*)"([^>]*)>(.*?)</a>', re.DOTALL)
_ANCHOR: Final = re.compile(r'<a class="anchor-link"[^>]*>.*?</a>', re.DOTALL)
_TAGS: Final = re.compile(r"<[^>]+>")
_NOTEBOOK_LINK: Final = re.compile(r"(?:\./)?([\w-]+)\.ipynb(#[\w-]*)?")


@dataclass(frozen=True)
class Part:
    """One cell of a page."""

    words: str
    """HTML of a prose cell, or of what was stored in a cell that computes."""
    source: str | None = None
    """What a kernel runs for it; None for prose."""


@dataclass(frozen=True)
class Page:
    """One notebook as a page."""

    name: str
    """The notebook's name without its ending; the page's address."""
    title: str
    """Its first heading."""
    summary: str
    """Its first sentences, as plain text."""
    parts: tuple[Part, ...]
    """In the order of the notebook."""

    @property
    def address(self) -> str:
        """Where it opens."""
        return "/" if self is FRONT else f"/page/{self.name}"

    @property
    def sources(self) -> tuple[str, ...]:
        """What a kernel runs for this page, in order."""
        return tuple(part.source for part in self.parts if part.source is not None)


FRONT: Final = Page(
    "front",
    "Coreward",
    "",
    (Part("", "from coreward.pages.front import front_panel\n\nfront_panel()"),),
)
"""The live plan of the front door; it has no notebook, and no address but the first."""

COOK: Final = (
    "start",
    "plan-the-day",
    "the-pit",
    "my-log",
    "rest-and-carryover",
    "is-this-hold-enough",
)
LEARN: Final = (
    "why-the-stall",
    "teach-the-stall",
    "how-good-are-the-forecasts",
    "how-far-to-trust-it",
    "does-it-solve-its-equations",
)
"""What stands on the two shelves, in this order. Other pages are found from these."""


def read_pages(folder: Path) -> tuple[Page, ...]:
    """Read every notebook in a folder, those of the shelves first.

    Parameters
    ----------
    folder : Path
        Holds the notebooks; folders below it are not looked at.
    """
    files = sorted(
        file for file in folder.glob("*.ipynb") if re.fullmatch(r"[\w-]+", file.stem)
    )
    names = {file.stem for file in files}
    order = {name: number for number, name in enumerate((*COOK, *LEARN))}
    files.sort(key=lambda file: order.get(file.stem, len(order)))
    return tuple(_read(file, names) for file in files)


def _read(file: Path, names: set[str]) -> Page:
    notebook = nbformat.read(file, as_version=4)
    parts: list[Part] = []
    for cell in notebook.cells:
        if NOTEBOOK_ONLY in cell.metadata.get("tags", ()) or not cell.source.strip():
            continue
        if cell.cell_type == "markdown":
            parts.append(Part(_prose(cell.source, names)))
        elif cell.cell_type == "code":
            parts.append(Part(stored(cell.outputs), cell.source))
    title, summary = _heading(parts, file.stem)
    return Page(file.stem, title, summary, tuple(parts))


def _prose(source: str, names: set[str]) -> str:
    """Return Markdown as HTML whose links lead to pages, or out, or nowhere."""
    # Raw HTML in a cell comes from the notebook itself, as its code does.
    rendered = _ANCHOR.sub("", str(markdown2html_mistune(source)))
    return _LINK.sub(lambda found: _link(found, names), rendered)


def _link(found: re.Match[str], names: set[str]) -> str:
    target, _, words = found.groups()
    notebook = _NOTEBOOK_LINK.fullmatch(target)
    if notebook and notebook[1] in names:
        return f'<a href="/page/{notebook[1]}{notebook[2] or ""}">{words}</a>'
    if target.startswith("#"):
        return found[0]
    if re.match(r"https?://", target):
        return f'<a href="{target}" rel="noreferrer noopener">{words}</a>'
    # A file beside the notebook: pages serve none.
    return f"<span>{words}</span>"


def stored(outputs: Sequence[Any]) -> str:
    """Return what was stored in a cell as HTML."""
    shown: list[str] = []
    for output in outputs:
        data = output.get("data", {})
        words = _text(data.get("text/plain", ""))
        if output.output_type == "stream":
            shown.append(f"<pre>{html.escape(_text(output.text))}</pre>")
        elif "image/png" in data:
            # A figure's own name for itself is no description.
            told = words if words and not words.startswith("<") else _AS_SAVED
            alt = html.escape(told, quote=True)
            picture = _text(data["image/png"]).replace("\n", "")
            if words and not words.startswith("<"):
                shown.append(f'<p class="told">{html.escape(words)}</p>')
            shown.append(f'<img alt="{alt}" src="data:image/png;base64,{picture}">')
        elif "text/html" in data:
            # An own box, which scrolls where the page is narrower than a table.
            shown.append(f'<div class="wide" tabindex="0">{_text(data["text/html"])}</div>')
        elif words and _WIDGET not in data:
            shown.append(f"<pre>{html.escape(words)}</pre>")
    return "".join(shown)


def _text(value: Any) -> str:
    return value if isinstance(value, str) else "".join(value)


def _heading(parts: Sequence[Part], name: str) -> tuple[str, str]:
    """Return the first heading and the first paragraph, as plain text."""
    words = next((part.words for part in parts if part.source is None), "")
    title = re.search(r"<h1[^>]*>(.*?)</h1>", words, re.DOTALL)
    paragraph = re.search(r"<p>(.*?)</p>", words, re.DOTALL)
    return (
        _plain(title[1]) if title else name.replace("-", " ").capitalize(),
        _plain(paragraph[1]) if paragraph else "",
    )


def _plain(fragment: str) -> str:
    return " ".join(html.unescape(_TAGS.sub("", fragment)).split())
