"""A panel is found again as it was left, and nothing else ever is."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import pytest

from coreward import person
from coreward.questions.rest.panel import RestState
from coreward.widgets import remember
from support.toy_panel import ToyPanel, ToyState
from support.trying import try_ends

AS_LEFT = "as you left it"


class Kernel:
    """Stands for a kernel that serves a page: cells are run in it, and it is restarted."""

    def __init__(self, monkeypatch: pytest.MonkeyPatch) -> None:
        self._monkeypatch = monkeypatch
        self._runs = 0
        self.restart()

    def restart(self) -> None:
        self._monkeypatch.setattr(remember, "_alike", {})
        self._monkeypatch.setattr(remember, "_made", {})

    def cell(self, name: str | None = "cell-1", code: str = "panel") -> None:
        """Begin to run a cell."""
        self._runs += 1
        request = {
            "header": {"msg_id": f"run {self._runs}"},
            "metadata": {} if name is None else {"cellId": name},
            "content": {"code": code},
        }
        self._monkeypatch.setattr(remember, "_request", lambda: request)


@pytest.fixture
def folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.setenv(person.FOLDER_VARIABLE, str(tmp_path / "settings"))
    for name in ("JPY_SESSION_NAME", "SCRIPT_NAME", person.SERVES):
        monkeypatch.delenv(name, raising=False)
    return tmp_path / "settings" / "left"


@pytest.fixture
def kernel(folder: Path, monkeypatch: pytest.MonkeyPatch) -> Kernel:
    monkeypatch.setenv("JPY_SESSION_NAME", "/somewhere/notebooks/supper.ipynb")
    kernel = Kernel(monkeypatch)
    kernel.cell()
    return kernel


def opened(**inputs: Any) -> ToyPanel:
    state = ToyState()
    state.start_with(inputs)
    return ToyPanel(state, "C")


def files(folder: Path) -> list[Path]:
    return sorted(folder.glob("*")) if folder.is_dir() else []


def test_a_panel_is_as_it_was_left_after_a_restart(kernel: Kernel, folder: Path) -> None:
    first = opened()
    assert AS_LEFT not in first._note_line.value
    assert files(folder) == []
    first.state.pit_c = 141.0
    first.state.kind = "b"
    first.keep()
    first.state.pit_c = 150.0
    (file,) = files(folder)
    assert json.loads(file.read_text(encoding="utf-8"))["panel"] == "toy"

    kernel.restart()
    kernel.cell()
    again = opened()
    assert again.state.inputs() == first.state.inputs()
    assert again.state.kept["pit"] == 141.0
    assert again.status_text == "pit 150"
    assert again.controls["pit"].entry.value == "150"
    assert AS_LEFT in again._note_line.value


def test_reset_goes_to_the_page_and_is_remembered_too(kernel: Kernel, folder: Path) -> None:
    opened(pit_c=99.0).state.pit_c = 141.0
    kernel.cell()
    again = opened(pit_c=99.0)
    assert again.state.pit_c == 141.0
    again.reset()
    assert again.state.pit_c == 99.0
    assert AS_LEFT not in again._note_line.value
    assert files(folder) == []
    kernel.cell()
    assert AS_LEFT not in opened(pit_c=99.0)._note_line.value


def test_two_panels_of_a_page_do_not_meet(kernel: Kernel) -> None:
    kernel.cell("cell-1")
    one, two = opened(), opened()
    kernel.cell("cell-2")
    three = opened()
    for panel, pit_c in ((one, 101.0), (two, 102.0), (three, 103.0)):
        panel.state.pit_c = pit_c
    kernel.restart()
    # In another order, and one of the cells twice.
    kernel.cell("cell-2")
    assert opened().state.pit_c == 103.0
    for _ in range(2):
        kernel.cell("cell-1")
        assert [opened().state.pit_c, opened().state.pit_c] == [101.0, 102.0]


def test_where_cells_have_no_names_the_order_tells_panels_apart(
    kernel: Kernel, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.delenv("JPY_SESSION_NAME")
    monkeypatch.setenv("SCRIPT_NAME", "/page/supper")
    monkeypatch.setenv(person.SERVES, "one")
    for code, pit_c in (("first", 101.0), ("second", 102.0)):
        kernel.cell(None, code)
        opened().state.pit_c = pit_c
    kernel.cell(None, "first")
    assert opened().state.pit_c == 101.0
    kernel.restart()
    for code, pit_c in (("first", 101.0), ("second", 102.0)):
        kernel.cell(None, code)
        assert opened().state.pit_c == pit_c


def test_pages_kinds_and_start_values_do_not_meet(
    kernel: Kernel, monkeypatch: pytest.MonkeyPatch
) -> None:
    opened().state.pit_c = 141.0
    kernel.cell()
    assert opened(on=False).state.pit_c == 110.0
    kernel.cell()
    monkeypatch.setenv("JPY_SESSION_NAME", "/somewhere/notebooks/other.ipynb")
    assert opened().state.pit_c == 110.0


def test_without_a_page_nothing_is_kept(folder: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    # As under a test, in a script, and where a notebook is executed without a person.
    opened().state.pit_c = 141.0
    Kernel(monkeypatch).cell()
    opened().state.pit_c = 141.0
    assert opened().state.pit_c == 110.0
    assert files(folder) == []


def test_a_word_of_ones_own_works_without_a_page(folder: Path) -> None:
    opened(remember="harvest").state.pit_c = 141.0
    assert opened(remember="harvest").state.pit_c == 141.0
    assert opened(remember="another").state.pit_c == 110.0
    assert len(files(folder)) == 1


def test_nobody_is_remembered_who_does_not_want_to_be(kernel: Kernel, folder: Path) -> None:
    opened(remember=False).state.pit_c = 141.0
    assert files(folder) == []
    # Every panel that takes start values takes this one, by the same way.
    state = RestState()
    state.start_with({"remember": False})
    assert state.remember is False


def test_where_many_share_a_server_nobody_is_remembered(
    kernel: Kernel, folder: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv(person.SERVES, "many")
    opened().state.pit_c = 141.0
    assert files(folder) == []
    # The app view counts as open before many unless it says otherwise.
    monkeypatch.delenv(person.SERVES)
    monkeypatch.delenv("JPY_SESSION_NAME")
    monkeypatch.setenv("SCRIPT_NAME", "/page/supper")
    opened().state.pit_c = 141.0
    assert files(folder) == []


def test_a_visitor_with_settings_apart_is_remembered_but_gets_no_folder(
    kernel: Kernel, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.delenv("JPY_SESSION_NAME")
    monkeypatch.setenv("SCRIPT_NAME", "/page/supper")
    monkeypatch.setenv(person.SERVES, "visitor")
    panel = opened()
    panel.state.pit_c = 141.0
    assert panel.files._save_here not in panel.files._save_row.children
    kernel.cell()
    assert opened().state.pit_c == 141.0


def test_a_trial_of_all_ends_leaves_nothing(kernel: Kernel, folder: Path) -> None:
    try_ends(opened())
    assert files(folder) == []


def test_an_answer_that_failed_is_not_what_is_left(kernel: Kernel) -> None:
    panel = opened()
    panel.state.pit_c = 141.0
    panel.state.pit_c = 178.0
    assert panel.state.error is not None
    kernel.cell()
    assert opened().state.pit_c == 141.0


def test_what_takes_long_is_kept_before_it_is_there(kernel: Kernel, folder: Path) -> None:
    seen: list[bool] = []

    class SlowPanel(ToyPanel):
        kind = ToyPanel.kind
        takes_long = True

        def compute_long(self, inputs: Any, progress: Any, cancelled: Any) -> Any:
            seen.append(any(b"141.0" in file.read_bytes() for file in files(folder)))
            return self.compute(False)

    SlowPanel(ToyState(), "C").state.pit_c = 141.0
    assert seen == [False, True]
    kernel.cell()
    assert opened().state.pit_c == 141.0


def test_a_folder_that_cannot_be_written_costs_only_the_keeping(
    kernel: Kernel, folder: Path
) -> None:
    folder.parent.mkdir()
    folder.write_text("a file where the folder should be")
    panel = opened()
    panel.state.pit_c = 141.0
    assert panel.status_text == "pit 141"
    assert panel.state.error is None
    assert "will not be found as you leave it" in panel._note_line.value
    folder.unlink()
    panel.state.pit_c = 142.0
    assert "will not be found" not in panel._note_line.value
    kernel.cell()
    assert opened().state.pit_c == 142.0


def test_a_full_disk_costs_nothing_that_was_kept(kernel: Kernel, folder: Path) -> None:
    resource = pytest.importorskip("resource")
    panel = opened()
    panel.state.pit_c = 141.0
    (file,) = files(folder)
    before = file.read_bytes()
    limits = resource.getrlimit(resource.RLIMIT_FSIZE)
    # A real limit on the size of files: writing stops half way, as on a full disk.
    resource.setrlimit(resource.RLIMIT_FSIZE, (40, limits[1]))
    try:
        panel.state.pit_c = 150.0
    finally:
        resource.setrlimit(resource.RLIMIT_FSIZE, limits)
    assert panel.status_text == "pit 150"
    assert "will not be found as you leave it" in panel._note_line.value
    assert file.read_bytes() == before
    assert files(folder) == [file]
    panel.state.pit_c = 151.0
    assert b"151.0" in file.read_bytes()


@pytest.mark.parametrize("text", ["", "{", '{"schema": "coreward panel", "version": 99}', "\0"])
def test_what_cannot_be_used_is_said_and_put_aside(
    kernel: Kernel, folder: Path, text: str
) -> None:
    opened().state.pit_c = 141.0
    (file,) = files(folder)
    file.write_text(text)
    kernel.cell()
    panel = opened()
    assert panel.state.inputs() == ToyState().inputs()
    assert "What was left here" in panel._note_line.value
    assert file.read_text() == text
    panel.state.pit_c = 150.0
    assert file.with_suffix(".unusable").read_text() == text
    kernel.cell()
    assert opened().state.pit_c == 150.0


def test_what_was_left_longest_ago_is_forgotten_first(
    kernel: Kernel, folder: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(remember, "_MOST_FILES", 3)
    for number in range(5):
        kernel.cell(f"cell-{number}")
        opened().state.pit_c = 140.0 + number
    assert len(files(folder)) == 3
    kernel.cell("cell-4")
    assert opened().state.pit_c == 144.0


def test_what_is_shown_in_print_does_not_tell_of_the_past(kernel: Kernel) -> None:
    opened().state.pit_c = 141.0
    kernel.cell()
    panel = opened()
    panel.reset()
    assert panel._repr_mimebundle_()["text/plain"] == "Toy: pit 110"
