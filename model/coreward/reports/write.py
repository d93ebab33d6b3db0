"""Writing a report: the kind by the suffix, whole or not at all."""

from __future__ import annotations

import base64
import html
import io
import re
import zipfile
from collections.abc import Callable, Mapping
from dataclasses import replace
from pathlib import Path
from typing import Any, Final

from coreward.errors import InputError
from coreward.files import write_atomically
from coreward.reports.document import Data, Document
from coreward.reports.things import document_of
from coreward.words import METRIC, Units

# ZIP wants a date; the first it knows says nothing and never changes.
_NO_DATE: Final = (1980, 1, 1, 0, 0, 0)


def _html(report: Document) -> bytes:
    from coreward.reports.html_page import html_page

    return html_page(report).encode("utf-8")


def _pdf(report: Document) -> bytes:
    # Late: the library is needed for PDF only.
    from coreward.reports.pdf_pages import pdf_pages

    return pdf_pages(report)


def _csv(report: Document) -> bytes:
    files = report.attached()
    if not files:
        raise InputError("This report holds no data, so there is no CSV; choose .html or .pdf.")
    return files[0].text.encode("utf-8")


def _zip(report: Document) -> bytes:
    stream = io.BytesIO()
    with zipfile.ZipFile(stream, "w", zipfile.ZIP_DEFLATED) as packed:

        def put(name: str, content: bytes) -> None:
            entry = zipfile.ZipInfo(name, _NO_DATE)
            entry.compress_type = zipfile.ZIP_DEFLATED
            entry.external_attr = 0o644 << 16
            packed.writestr(entry, content)

        put("report.html", _html(report))
        put("report.pdf", _pdf(report))
        if code := report.repeat():
            put("repeat.py", code.encode("utf-8"))
        for data in report.attached():
            put(file_name(data.name), data.text.encode("utf-8"))
    return stream.getvalue()


_WRITERS: Final[Mapping[str, Callable[[Document], bytes]]] = {
    "html": _html,
    "pdf": _pdf,
    "csv": _csv,
    "zip": _zip,
}
KINDS: Final = tuple(_WRITERS)
"""What a report can be: its suffix."""


def report_bytes(
    thing: Any,
    kind: str,
    *,
    units: Units = METRIC,
    title: str = "",
    code: str = "",
    entries: Mapping[str, str] | None = None,
    with_code: bool = False,
) -> bytes:
    """Return a report as the bytes of a file, for a download.

    Parameters
    ----------
    thing : object
        What to report: an answer, a log, a cook, or a `Document`.
    kind : str
        "html", "pdf", "csv" or "zip".
    units : str or UnitChoice
        "C" or "F", or a choice of units.
    entries : mapping, optional
        What a form holds, such as ``{"Kitchen": "Village hall"}``; an entry that is not
        given is a line to fill in.
    with_code : bool
        Whether page and PDF show the lines of Python that repeat it.

    Raises
    ------
    InputError
        If there is no report on such a thing, or no such kind.
    """
    write = _writer(kind)
    return write(_made(thing, title, code, entries, with_code).shown(units))


def _made(
    thing: Any, title: str, code: str, entries: Mapping[str, str] | None, with_code: bool
) -> Document:
    made = document_of(thing, title=title, code=code)
    return replace(made.filled(entries) if entries else made, shows_code=with_code)


def _writer(kind: str) -> Callable[[Document], bytes]:
    wanted = kind.lower().lstrip(".")
    if wanted not in _WRITERS:
        raise InputError(
            f"A report cannot be '{kind}': the file name must end in "
            f"{', '.join('.' + each for each in KINDS[:-1])} or .{KINDS[-1]}."
        )
    return _WRITERS[wanted]


def report(
    thing: Any,
    path: str | Path,
    *,
    units: Units = METRIC,
    title: str = "",
    code: str = "",
    entries: Mapping[str, str] | None = None,
    with_code: bool = False,
) -> Path:
    """Write a report on a cook, a log, a review or a verdict.

    Parameters
    ----------
    thing : object
        What to report: an answer, a log, a cook, or a `Document`.
    path : str or Path
        Where to; the suffix says what: ``.html`` for one page that needs no network,
        ``.pdf`` for paper, ``.csv`` for the numbers, ``.zip`` for all of them with the
        lines of Python that repeat it.
    units : str or UnitChoice
        "C" or "F", or a choice of units.
    title, code : str
        As for `document_of`.
    entries, with_code
        As for `report_bytes`.

    Returns
    -------
    Path
        The file written.

    Raises
    ------
    InputError
        If there is no report on such a thing, the suffix is unknown or the file cannot be
        written. What was there before is then unchanged.

    Examples
    --------
    >>> report(cook, "supper.html", units="F")  # doctest: +SKIP
    """
    target = Path(path).expanduser()
    write = _writer(target.suffix or "without a suffix")
    found = _made(thing, title, code, entries, with_code).shown(units)
    # First all the bytes, then the files: what cannot be made leaves nothing behind.
    content = write(found)
    beside = found.attached()[1:] if target.suffix.lower() == ".csv" else ()
    write_atomically(target, content, what="report")
    for data in beside:
        write_atomically(_beside(target, data), data.text.encode("utf-8"), what="data file")
    return target


def _beside(target: Path, data: Data) -> Path:
    return target.with_name(f"{target.stem}-{file_name(data.name)}")


_MIMES: Final = {
    "html": "text/html",
    "pdf": "application/pdf",
    "csv": "text/csv",
    "zip": "application/zip",
    "ics": "text/calendar",
}


def download_link(content: bytes, name: str, words: str = "") -> str:
    """Return a link, as HTML, that holds a whole file and saves it when it is pressed.

    It needs no folder to write to and no server: it works in a page without a kernel.

    Parameters
    ----------
    name : str
        File name; its suffix says the kind.
    words : str
        What the link says; "Save" and the name when empty.
    """
    mime = _MIMES.get(Path(name).suffix.lower().lstrip("."), "application/octet-stream")
    saved = html.escape(file_name(name), quote=True)
    shown = html.escape(words or f"Save {file_name(name)}")
    data = base64.b64encode(content).decode("ascii")
    return f'<a download="{saved}" href="data:{mime};base64,{data}">{shown}</a>'


def file_name(text: str) -> str:
    """Return a name that every file system takes, from any label."""
    kept = re.sub(r"[^\w.\- ]+", "-", Path(text).name).strip(" .-")
    return kept[:100] or "data"
