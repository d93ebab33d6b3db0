"""What somebody meets the first time: where a package is missing, it says so."""

from __future__ import annotations

import sys

import pytest

import coreward
from coreward.errors import MissingFeatureError


def test_without_a_package_a_notebook_says_what_to_do(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.delattr(coreward, "plan_panel", raising=False)
    monkeypatch.delitem(sys.modules, "coreward.questions.plan.panel", raising=False)
    # As the import system marks what must not be found.
    monkeypatch.setitem(sys.modules, "ipywidgets", None)
    with pytest.raises(MissingFeatureError) as told:
        _ = coreward.plan_panel
    words = str(told.value)
    assert words.startswith("Coreward needs the package ipywidgets, which was not found.")
    assert "pip install" in words
    assert "Run All" in words
