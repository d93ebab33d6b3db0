"""Every panel offers a report of what it shows."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import pytest

from coreward.questions.pit.panel import pit_panel
from coreward.questions.rest.panel import rest_panel
from coreward.questions.review.panel import log_panel
from coreward.questions.stall.panel import stall_panel
from coreward.questions.verdict.panel import verdict_panel


@pytest.mark.parametrize("make", [stall_panel, rest_panel, verdict_panel, log_panel, pit_panel])
def test_a_page_and_a_pdf(make: Callable[..., Any]) -> None:
    panel = make()
    panel.settle()
    panel._offer_report()
    panel.settle()
    assert panel.state.error is None, panel.state.detail
    assert panel._report_line.value.count("<a ") == 2
    # Pressed again it is folded away.
    panel._offer_report()
    assert panel._report_line.value == ""


def test_without_an_answer_it_says_so() -> None:
    panel = log_panel()
    panel.state.source = "path"
    panel.settle()
    panel._offer_report()
    assert "no answer to report" in panel._report_line.value
