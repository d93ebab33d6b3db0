"""A table of ways that sorts by the column a person chooses."""

from __future__ import annotations

import html
from typing import Any

import ipywidgets as W

from coreward.questions.plan.ways import COLUMNS, Ways, ways_rows
from coreward.words import METRIC, Units, shown


class WaysTable:
    """Ways side by side, with a list to sort by. Display it by naming it."""

    def __init__(self, answer: Ways, units: Units = METRIC) -> None:
        self.answer, self.units = answer, units
        self.column = W.Dropdown(
            options=[(heading, key) for key, (heading, _) in COLUMNS.items()],
            value="ready",
            description="sort by",
        )
        self.descending = W.Checkbox(value=False, description="largest first", indent=False)
        self.table = W.HTML()
        for widget, name in ((self.column, "sort"), (self.descending, "descending")):
            widget.add_class(f"coreward-control-{name}")
            widget.observe(self._show, names="value")
        self.table.add_class("coreward-tables")
        self.widget = W.VBox([W.HBox([self.column, self.descending]), self.table])
        self._show()

    def _show(self, change: Any = None) -> None:
        self.table.value = self.html()

    def html(self) -> str:
        """Return the table as it is sorted now."""
        rows = ways_rows(self.answer, self.column.value, self.descending.value, self.units)
        head = "".join(
            f"<th{_sorted(key == self.column.value, self.descending.value)}>"
            f"{html.escape(heading)}</th>"
            for key, (heading, _) in COLUMNS.items()
        )
        body = "".join(
            "<tr>" + "".join(f"<td>{html.escape(cell)}</td>" for cell in row) + "</tr>"
            for row in rows
        )
        return f'<table class="coreward-table"><tr>{head}</tr>{body}</table>'

    def _repr_mimebundle_(self, include: Any = None, exclude: Any = None) -> dict[str, Any]:
        """Return the live table, and for static pages the same as HTML."""
        bundle: dict[str, Any] = dict(self.widget._repr_mimebundle_() or {})
        bundle["text/html"] = self.html()
        bundle["text/plain"] = shown(self.answer.sentence, self.units)
        return bundle


def _sorted(chosen: bool, descending: bool) -> str:
    if not chosen:
        return ""
    return f' aria-sort="{"descending" if descending else "ascending"}"'


ways_table = WaysTable
