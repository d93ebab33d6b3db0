"""The lines of Python in the README do what it says."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[2]


def test_ten_lines_plan_a_day_and_read_a_log(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    (code,) = re.findall(
        r"```python\n(.*?)```", (ROOT / "README.md").read_text("utf-8"), re.DOTALL
    )
    assert len([line for line in code.splitlines() if line.strip()]) == 10
    monkeypatch.chdir(ROOT)
    exec(compile(code, "README.md", "exec"), {})
    said = capsys.readouterr().out
    assert said.startswith("Light the fire at 03:00 to serve at 18:30 on Saturday 24 October")
    assert ": then the probe shows 90 °C." in said


def test_the_picture_is_there_and_small() -> None:
    (name,) = re.findall(r"!\[[^]]+\]\(([^)]+)\)", (ROOT / "README.md").read_text("utf-8"))
    assert 5_000 < (ROOT / name).stat().st_size < 100_000
