"""A panel's file: what it holds, what is refused and why, and that nothing is half set."""

from __future__ import annotations

import datetime as dt
import json
from pathlib import Path
from typing import Any

import pytest
import traitlets

from coreward import person
from coreward.errors import InputError
from coreward.questions.rest.panel import rest_panel
from coreward.questions.review.panel import log_panel
from coreward.questions.stall.panel import FirstLook, first_look, stall_panel
from coreward.questions.verdict.panel import verdict_panel
from coreward.widgets import saved, settings
from coreward.widgets.panel import Panel
from coreward.words import CUSTOMARY, METRIC
from support.toy_panel import ToyPanel, ToyState


@pytest.fixture(autouse=True)
def own_settings(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """Keep the person's own settings and folder out of the tests."""
    monkeypatch.setenv(person.FOLDER_VARIABLE, str(tmp_path / "settings"))
    monkeypatch.chdir(tmp_path)
    return tmp_path


@pytest.fixture
def panel() -> ToyPanel:
    return ToyPanel(ToyState(), "C")


def content(**changes: Any) -> str:
    whole: dict[str, Any] = {
        "schema": "coreward panel",
        "version": 1,
        "panel": "toy",
        "units": {"temperature": "F", "length": "in", "mass": "lb"},
        "inputs": {"size_m": 0.1, "pit_c": 120.5, "kind": "b", "on": False},
        "kept": None,
    }
    return json.dumps(whole | changes)


def test_what_is_saved_opens_again_to_the_last_digit(panel: ToyPanel, tmp_path: Path) -> None:
    panel.state.set_all({"size_m": 0.1 + 0.2 - 0.2, "pit_c": 123.456789012345, "on": False})
    panel.state.units = CUSTOMARY
    file = panel.save("supper")
    assert file == tmp_path / "supper.json"
    said = json.loads(file.read_text(encoding="utf-8"))
    assert {name: said[name] for name in ("schema", "version", "panel")} == {
        "schema": "coreward panel",
        "version": 1,
        "panel": "toy",
    }
    other = ToyPanel(ToyState(), "C")
    other.open(file)
    assert other.state.inputs() == panel.state.inputs()
    assert other.state.units == CUSTOMARY
    assert other.status_text == "pit 123"
    assert other.controls["pit"].entry.value == "254.2"


def test_saving_never_overwrites(panel: ToyPanel, tmp_path: Path) -> None:
    first = panel.save("supper.json")
    before = first.read_bytes()
    panel.state.pit_c = 150.0
    assert panel.save("supper.json").name == "supper 2.json"
    assert panel.save("supper").name == "supper 3.json"
    assert first.read_bytes() == before
    assert sorted(path.name for path in tmp_path.glob(".*")) == []


def test_the_units_of_a_file_are_not_a_choice_for_all_notebooks(panel: ToyPanel) -> None:
    panel.open_text(content(), "theirs.json")
    assert panel.state.units == CUSTOMARY
    assert settings.read().units == METRIC


def test_what_was_kept_for_comparison_is_kept(panel: ToyPanel) -> None:
    panel.keep()
    panel.state.pit_c = 150.0
    other = ToyPanel(ToyState(), "C")
    other.open_text(panel.saved_text(), "two.json")
    assert other.state.kept == {"pit": 110.0, "preview": False}
    assert other.state.outcome["pit"] == 150.0
    assert other._keep_button.description == "Drop the kept one"
    other.open_text(content(), "one.json")
    assert other.state.kept is None
    assert other._keep_button.description == "Keep this one and compare"


@pytest.mark.parametrize(
    ("data", "said"),
    [
        ("", "line 1, column 1"),
        (content()[:-30], "broken or cut short"),
        (b"\xff\xfe\x00", "byte 0 is not UTF-8"),
        ("[]", 'not a "coreward panel" file'),
        (content(schema="something else"), 'not a "coreward panel" file'),
        (content(version=2), "newer Coreward (version 2"),
        (content(version=0), "there never was a version 0"),
        (content(version="1"), "'1' is not a whole number"),
        (content(version=True), "True is not a whole number"),
        (content(panel="stall"), "saved by the panel 'stall' and this is the panel 'toy'"),
        (content(units={"temperature": "K"}), "temperature 'K' is not one of C, F"),
        (content(units=None), 'under "units"'),
        (content(inputs=None), 'under "inputs" there is no list'),
        (content(inputs={"pit_f": 230}), "'pit_f' is not an input of this panel"),
        (content(inputs={"pit_c": 300}), "pit_c: pit: 300 °C is refused; it goes from 80 °C"),
        (content(inputs={"pit_c": "hot"}), "pit_c: pit: 'hot' is not a number"),
        (content(inputs={"pit_c": None}), "None is not a number"),
        (content(inputs={"kind": ["a"]}), "kind: ['a'] is not a choice; take one of a, b"),
        (content(inputs={"on": 1}), "on: 1 is neither true nor false"),
        (content(kept={"pit_c": 1}), 'under "kept", pit_c'),
        (content().replace("120.5", "NaN"), "NaN is not a number"),
        (content().replace("120.5", "1e999"), "not a finite number"),
        (content().replace('"size_m"', '"pit_c"'), "'pit_c' is there twice"),
        ("[" * 100_000, "nested far deeper than what a panel saves"),
        (content(panel=None), "does not say which panel saved it"),
        (" " * 300_000, "larger than 200 kB"),
        (content().replace("120.5", "9" * 401), "a number of 401 digits (999999999999...)"),
        (content().replace("120.5", "-" + "9" * 5000), "a number of 5001 digits"),
        (content(version=1).replace('"version": 1', '"version": ' + "1" * 401), "401 digits"),
        (content().replace("120.5", "[" * 50_000), "nested far deeper than"),
    ],
)
def test_a_broken_file_is_refused_as_a_whole(
    panel: ToyPanel, data: str | bytes, said: str
) -> None:
    panel.state.pit_c = 133.0
    panel.keep()
    before = panel.state.inputs(), panel.state.units, panel.state.kept
    with pytest.raises(InputError) as refused:
        panel.open_text(data, "toy.json")
    assert said in str(refused.value)
    assert str(refused.value).startswith("toy.json: ")
    assert (panel.state.inputs(), panel.state.units, panel.state.kept) == before


def test_an_input_that_the_file_lacks_is_as_the_page_starts_it(panel: ToyPanel) -> None:
    panel.state.kind = "b"
    panel.open_text(content(inputs={"pit_c": 99}), "old.json")
    assert panel.state.inputs() == ToyState().inputs() | {"pit_c": 99.0}
    assert "It has no size, kind, on: as the page starts." in panel._note_line.value


def test_older_versions_open_one_step_after_the_other() -> None:
    """Two invented older versions: °F in the first, another name in the second."""

    def to_2(old: dict[str, Any]) -> dict[str, Any]:
        return old | {"inputs": {"fire_c": (old["inputs"]["fire_f"] - 32.0) / 1.8}}

    def to_3(old: dict[str, Any]) -> dict[str, Any]:
        return old | {"inputs": {"pit_c": old["inputs"]["fire_c"]}}

    def read_as_3(data: str) -> saved.Opened:
        state = ToyState()
        steps = {1: to_2, 2: to_3}
        return saved.read(
            data, "old.json", "toy", state, state.saved(), version=3, migrations=steps
        )

    for version, inputs in (
        (1, {"fire_f": 230.0}),
        (2, {"fire_c": 110.0}),
        (3, {"pit_c": 110}),
    ):
        data = content(version=version, inputs=inputs)
        opened = read_as_3(data)
        assert opened.inputs["pit_c"] == pytest.approx(110.0)
    data = content(version=1, inputs={"pit_c": 110})
    with pytest.raises(InputError, match="it says version 1, but it is not like one"):
        read_as_3(data)


def test_every_version_has_a_way_up() -> None:
    assert set(saved.MIGRATIONS) == set(range(1, saved.VERSION))


@pytest.mark.parametrize(
    "name", ["", "  ", "../outside", "/etc/outside", "a/../../outside", "\0"]
)
def test_a_name_that_leads_elsewhere_is_refused(panel: ToyPanel, name: str) -> None:
    with pytest.raises(InputError):
        panel.save(name)


def test_a_folder_that_cannot_be_written_is_a_sentence(panel: ToyPanel, tmp_path: Path) -> None:
    blocked = tmp_path / "file"
    blocked.write_text("")
    with pytest.raises(InputError, match="cannot be written"):
        panel.save("supper", blocked / "inside")
    for name in ("nowhere.json", "nul\0.json", "long" * 1000, "\udcff\ud800.json"):
        with pytest.raises(InputError, match="cannot be read"):
            panel.open(tmp_path / name)


# The buttons -----------------------------------------------------------------------------


def test_save_and_open_by_the_buttons(panel: ToyPanel, tmp_path: Path) -> None:
    panel.files.save_button.click()
    assert panel.files._save_row.layout.display == ""
    assert 'download="toy.json"' in panel.files._link.value
    link = panel.files._link.value
    panel.state.pit_c = 140.0
    assert panel.files._link.value != link
    panel.files.save_name.value = "mine"
    assert 'download="mine.json"' in panel.files._link.value
    panel.files._save_here.click()
    assert "Saved as mine.json" in panel.files.said

    panel.reset()
    panel.files.open_button.click()
    assert panel.files._save_row.layout.display == "none"
    panel.files.open_name.value = "mine"
    panel.files._open_here.click()
    assert panel.state.pit_c == 140.0
    assert panel.files._open_row.layout.display == "none"
    assert "Opened: mine.json" in panel._note_line.value
    panel.reset()
    assert "Opened" not in panel._note_line.value


def test_a_file_that_is_sent_is_opened_or_refused_in_place(panel: ToyPanel) -> None:
    def send(data: str) -> None:
        panel.files.uploader.value = (
            {
                "name": "../<b>sent</b>.json",
                "type": "application/json",
                "size": len(data),
                "content": memoryview(data.encode()),
                "last_modified": dt.datetime(2026, 1, 1, tzinfo=dt.UTC),
            },
        )

    panel.files.open_button.click()
    send(content(inputs={"pit_c": 500}))
    assert 'role="alert"' in panel.files.said
    assert "The panel stays as it was" in panel.files.said
    assert "<b>" not in panel.files.said
    assert panel.state.pit_c == 110.0
    assert panel.files.uploader.value == ()
    send(content())
    assert panel.state.pit_c == 120.5


def test_a_file_that_is_too_large_is_refused_before_it_is_copied(panel: ToyPanel) -> None:
    class Content(bytes):
        def __bytes__(self) -> bytes:
            raise AssertionError("it was copied")

    with pytest.raises(InputError, match="larger than 200 kB"):
        saved.checked("great.json", Content(300_000))


def test_where_many_share_a_server_its_folder_is_left_alone(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.setenv("COREWARD_SERVES", "many")
    panel = ToyPanel(ToyState(), "C")
    shown = [*panel.files._save_row.children, *panel.files._open_row.children]
    assert panel.files._save_here not in shown
    assert panel.files.open_name not in shown
    assert panel.files.uploader in shown
    panel.state.units = CUSTOMARY
    assert settings.read().units == METRIC


# Every panel ------------------------------------------------------------------------------


def other_value(trait: Any) -> Any:
    """Return an allowed value that is not the usual one, where there is one."""
    if hasattr(trait, "low"):
        return 0.5 * (trait.low + trait.high)
    if hasattr(trait, "options"):
        others = [name for name in trait.options if name != trait.default_value]
        return others[-1] if others else trait.default_value
    return not trait.default_value if isinstance(trait, traitlets.Bool) else "some/where.csv"


@pytest.mark.parametrize(
    ("make", "kind"),
    [
        (stall_panel, "stall"),
        (first_look, "first look"),
        (rest_panel, "rest"),
        (verdict_panel, "verdict"),
        (log_panel, "log"),
    ],
)
def test_every_input_of_every_panel_survives_the_file(make: Any, kind: str) -> None:
    panel: Panel = make(units="C")
    assert panel.kind == kind
    state = panel.state
    changed = {name: other_value(state.traits()[name]) for name in state.saved()}
    text = saved.text_of(kind, changed, METRIC)
    opened = saved.read(text, "all.json", kind, state, state.saved())
    assert opened.inputs == changed
    assert opened.missing == ()
    panel.open_text(text, "all.json")
    assert state.saved() == changed


def test_a_first_look_has_a_name_of_its_own() -> None:
    # It hides most of its controls: what they were set to elsewhere must not act unseen.
    assert FirstLook.kind == "first look"
