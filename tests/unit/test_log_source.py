"""A log that was typed or sent: what is taken, and what one learns from a refusal."""

from __future__ import annotations

from pathlib import Path

import pytest

from coreward import person
from coreward.errors import InputError
from coreward.questions.forecast.panel import ForecastPanel, forecast_panel
from coreward.questions.review.panel import log_panel
from coreward.widgets import log_source
from coreward.widgets.log_source import _plain_name, _typed_file

LOG = "minutes,pit C,meat C\n" + "".join(f"{n},110,{20 + n / 10}\n" for n in range(200))


@pytest.fixture
def page(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """Be the page of one visitor among many, in a folder like that of the notebooks."""
    monkeypatch.setenv(person.SERVES, "visitor")
    monkeypatch.setenv("SCRIPT_NAME", "/page/my-log")
    monkeypatch.delenv("JPY_SESSION_NAME", raising=False)
    notebooks = tmp_path / "served" / "notebooks"
    demo = tmp_path / "served" / "data" / "demo"
    for folder in (notebooks, demo, tmp_path / "served" / "other"):
        folder.mkdir(parents=True)
        (folder / "log.csv").write_text(LOG)
    (notebooks / "way-out").symlink_to(tmp_path)
    (tmp_path / "secret.csv").write_text(LOG)
    monkeypatch.chdir(notebooks)
    return tmp_path


def test_only_the_logs_of_the_pages_are_found(page: Path) -> None:
    for typed in ("log.csv", "../data/demo/log.csv", str(page / "served/notebooks/log.csv")):
        assert _typed_file(typed).read_text() == LOG


def test_one_answer_for_every_other_path(page: Path) -> None:
    said = set()
    for typed in (
        "nothing.csv",
        "../data/nothing.csv",
        ".",
        "../data/demo",
        "../other/log.csv",
        str(page / "secret.csv"),
        str(page / "nothing.csv"),
        "way-out/secret.csv",
        "way-out/nothing.csv",
        "../../secret.csv",
        "/etc/passwd",
        "/etc/nothing",
        "/etc",
        "~/log.csv",
        "~root/log.csv",
        "~nobody-of-this-name/log.csv",
        "a\0b",
        "\udcff\ud800",
        "x" * 100_000,
        "LOG.CSV/..",
        "%2e%2e/%2e%2e/secret.csv",
    ):
        with pytest.raises(InputError) as refused:
            _typed_file(typed)
        said.add(str(refused.value))
    assert len(said) == 1
    assert "demo logs" in said.pop()


def test_a_panel_answers_so_as_well(page: Path) -> None:
    panel = log_panel(units="C")
    panel.state.source = log_source.PATH
    said = set()
    for typed in (str(page / "secret.csv"), str(page / "nothing.csv"), "a\0b", "~root/x"):
        panel.state.path = typed
        assert panel.state.detail == ""
        said.add(panel.state.error)
    assert len(said) == 1


@pytest.mark.parametrize("typed", ["a\0b", "\udcff\ud800"])
def test_at_home_a_path_that_is_none_is_a_sentence(
    typed: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv(person.SERVES, "one")
    with pytest.raises(InputError, match="is no path of a file"):
        _typed_file(typed)
    panel = log_panel(units="C")
    panel.state.source = log_source.PATH
    panel.state.path = typed
    assert "is no path of a file" in (panel.state.error or "")
    assert panel.state.detail == ""


def test_a_file_that_is_too_large_is_refused_before_it_is_copied() -> None:
    class Content(bytes):
        def __bytes__(self) -> bytes:
            raise AssertionError("it was copied")

    panel = log_panel(units="C")
    with pytest.raises(InputError, match=r"great\.csv: it is larger than 16 MB"):
        panel.receive("../great.csv", Content(log_source.MOST_SENT + 1))


@pytest.fixture
def few(monkeypatch: pytest.MonkeyPatch) -> None:
    """Let forecasts be made of few draws: what they say is not looked at here."""
    monkeypatch.setattr(ForecastPanel, "members", 12)
    monkeypatch.setattr(ForecastPanel, "way_members", 12)


@pytest.mark.usefixtures("few")
def test_a_file_that_is_sent_is_judged_at_its_end() -> None:
    panel = forecast_panel(units="C", moment=0.42)
    demo = next(iter(panel.state.demo.values()))
    replay = panel.controls["moment"].widget.layout
    assert replay.display != "none"
    panel.receive("mine.csv", demo.read_bytes())
    panel.settle()
    assert panel.state.error is None
    assert (panel.state.source, panel.state.moment) == (log_source.UPLOAD, 1.0)
    outcome = panel.state.outcome
    assert outcome.answer.now_s == pytest.approx(outcome.log.duration_s)
    # There is nothing to replay, and nothing that could be read as such.
    assert replay.display == "none"


@pytest.mark.usefixtures("few")
def test_a_path_that_is_typed_is_judged_at_its_end_and_one_that_was_kept_as_it_was() -> None:
    panel = forecast_panel(units="C", moment=0.42)
    demo = next(iter(panel.state.demo.values()))
    panel.state.source = log_source.PATH
    panel.path_entry.value = str(demo)
    assert panel.state.moment == 1.0
    panel.state.moment = 0.6
    panel.state.path = str(demo.parent / "other.csv")
    assert panel.state.moment == 0.6
    assert panel.controls["moment"].widget.layout.display != "none"


@pytest.mark.parametrize(
    ("name", "kept"),
    [
        ("cook.csv", "cook.csv"),
        ("../../cook.csv", "cook.csv"),
        ("", "log.csv"),
        ("..", "log.csv"),
        ("a\0\x1b.csv", "a__.csv"),
        ("x" * 300 + ".xlsx", "x" * 60 + ".xlsx"),
        ('C:\\logs\\a"b.csv', "C__logs_a_b.csv"),
    ],
)
def test_a_name_is_one_that_any_disk_takes(name: str, kept: str) -> None:
    assert _plain_name(name) == kept
