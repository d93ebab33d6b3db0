"""The panel of the hold without a browser: state, words, pictures, map, refusals."""

from __future__ import annotations

import asyncio
import html
import re
from pathlib import Path

import pytest

from coreward import person
from coreward.errors import InputError
from coreward.questions.verdict import CAUTION
from coreward.questions.verdict.authorities import AUTHORITIES, standards_of
from coreward.questions.verdict.panel import (
    DIFFERENCE,
    MINUTES,
    VerdictPanel,
    verdict_panel,
    verdict_state,
)
from coreward.tables.standards import CONDITIONS, MEATS, load_standard, standard_names
from coreward.words import CUSTOMARY, METRIC
from coreward.words import shown as say_shown
from support.trying import try_ends

ROOT = Path(__file__).parents[2]
DEMO = ROOT / "data" / "demo" / "harvest-supper.csv"
TABLE = "us meat 6.5 log"


@pytest.fixture(autouse=True)
def own_settings(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Keep the person's own settings out of the tests, and find the demo logs."""
    monkeypatch.setenv(person.FOLDER_VARIABLE, str(tmp_path))
    monkeypatch.chdir(ROOT)


@pytest.fixture
def panel() -> VerdictPanel:
    return verdict_panel("C")


def state_of(panel: VerdictPanel, name: str = TABLE) -> str:
    return str(panel.state.outcome.answer.standard(name).state)


def shown(panel: VerdictPanel) -> str:
    """Everything below the picture, folded or not."""
    parts = (panel._tables.value, *(fold.value for fold in panel.folds.values()))
    return html.unescape(re.sub("<[^>]*>", " ", " ".join(parts)))


def banner(panel: VerdictPanel) -> str:
    """The large answer above the picture."""
    return html.unescape(re.sub("<[^>]*>", " ", panel._status_line.value))


def test_the_slice_served_at_once_does_not_meet_and_a_hold_does(panel: VerdictPanel) -> None:
    assert panel.state.error is None
    assert panel.state.outcome.answer.state == "not met"
    assert "longer at a reading of" in shown(panel)
    before = panel.picture
    table = "A United States meat table, 6.5 log of Salmonella"
    assert f"Does not meet {table}; B Food Code, whole-meat roasts" in panel.status_text
    assert "NOT MET" in banner(panel)
    panel.state.hold_s = 30 * 60.0
    assert state_of(panel) == "met"
    assert f"It meets {table}" in panel.status_text
    assert panel.picture != before


@pytest.mark.parametrize("units", ["C", "F"])
def test_the_answer_stands_large_with_why_and_the_one_thing_that_would_change_it(
    units: str,
) -> None:
    panel = verdict_panel(units, standard="uk", hold_s=600.0)
    answer = panel.state.outcome.answer
    only = answer.standard("uk 70 for 2 min")
    said = banner(panel)
    assert "NOT MET" in said
    assert 'data-state="not met"' in panel._status_line.value
    assert say_shown(only.governing, units) in said
    change = say_shown(only.enough, units)
    assert f"{change[0].upper()}{change[1:]}" in said.partition("What would change it")[2]
    assert "more ask" not in said
    for hold_s, words in ((600.0, "NOT MET"), (3 * 3600.0, "MET")):
        panel.state.hold_s = hold_s
        assert re.search(rf"(?<!NOT ){words}  ", banner(panel)) is not None
    # Of one that is met: target, assumptions and margin, and never a bare word.
    met = banner(panel)
    assert "Meets United Kingdom, " in met
    assert "under these assumptions: for pork, intact" in met
    assert "What would change it" not in met
    panel.state.humidity, panel.state.until_core_c = "air", 75.0
    panel.state.standard = "us plant"
    assert "CANNOT TELL" in banner(panel)
    assert panel.state.error is None


def test_the_first_question_is_whom_the_person_answers_to(panel: VerdictPanel) -> None:
    heading, names = panel.groups()[0]
    assert (heading.split(",")[0], names[0]) == ("Whom you answer to", "standard")
    options = panel.state.traits()["standard"].options
    words = [say_shown(option, "C") for option in options.values()]
    # Every table has its authority or stands alone, and none has its internal name.
    internal = set(standard_names())
    assert not internal & set(words)
    for name in standard_names():
        assert any(name in standards_of(one, MEATS, CONDITIONS) for one in AUTHORITIES) or (
            not load_standard(name).counts
        ), name
    assert standards_of("us kitchen", ["pork"], ["intact"]) == ["food code roast"]
    assert standards_of("us kitchen", ["turkey"], ["intact"]) == ["food code poultry"]
    assert standards_of("us kitchen", ["pork"], ["intact", "stuffed"]) == [
        "food code roast",
        "food code stuffed",
    ]
    assert standards_of("us plant", ["beef"], ["ground"]) == ["us meat 7 log"]
    for name in AUTHORITIES:
        panel.state.standard = name
        asked = panel.state.judged_by()["standards"]
        assert asked == standards_of(name, ["pork"], ["intact"])
        counting = [item.name for item in panel.state.outcome.answer.standards if item.counts]
        assert counting == asked
        assert f"standards={asked!r}" in panel.code()


def test_folds_stay_open_when_the_answer_changes(panel: VerdictPanel) -> None:
    fold = panel.folds["limits"]
    assert fold._body.layout.display == "none"
    fold.button.value = True
    before = fold.value
    panel.state.hold_s = 1200.0
    assert fold.value != before
    assert fold._body.layout.display == ""
    # The limits themselves, and what has to be said of the record, are folded nowhere.
    assert "Each limit, with its source" in panel._tables.value
    assert html.escape(CAUTION) in panel._tables.value
    assert "us meat 6.5 log" not in shown(panel)


def test_every_answer_comes_with_caution_margin_assumption_and_source(
    panel: VerdictPanel,
) -> None:
    page = "".join(str(getattr(each, "value", "")) for each in panel.widget.children)
    assert html.escape(CAUTION) in page
    words = shown(panel)
    for part in ("short", "because", "what would help", "Assumed", "Sources", "Not covered"):
        assert part in words
    answer = panel.state.outcome.answer
    for item in answer.standards:
        assert say_shown(item.title, "C") in words
    panel.state.hold_s = 60 * 60.0
    assert "to spare" in shown(panel)
    # Never a bare word.
    assert not re.search(r"\bsafe\b(?! side)", panel.status_text)


def test_a_dry_pit_cannot_be_told_and_damp_air_can(panel: VerdictPanel) -> None:
    panel.state.humidity = "air"
    panel.state.pit_c, panel.state.until_core_c = 110.0, 75.0
    assert state_of(panel) == "cannot tell"
    assert "dry" in shown(panel)
    panel.state.pit_c, panel.state.dew_point_c = 85.0, 83.0
    assert state_of(panel) == "met"
    assert "90 % relative humidity" in shown(panel)


def test_a_large_piece_in_a_hot_oven_is_exempt() -> None:
    panel = verdict_panel("C", humidity="air", pit_c=122.0, until_core_c=75.0, mass_kg=5.0)
    assert state_of(panel) == "met"
    panel.state.mass_kg = 2.0
    assert state_of(panel) == "cannot tell"


def test_a_core_that_never_gets_there_is_a_sentence_and_no_error(panel: VerdictPanel) -> None:
    panel.state.bath_c = 55.0
    assert panel.state.error is None
    assert "never reaches 60.0 °C" in panel.status_text


def test_a_dew_point_above_the_air_is_a_sentence_and_the_picture_stays(
    panel: VerdictPanel,
) -> None:
    good = panel.picture
    panel.state.humidity, panel.state.pit_c, panel.state.dew_point_c = "air", 60.0, 70.0
    assert panel.state.error is not None
    assert "dew point" in panel.state.error
    assert panel.state.detail == ""
    assert panel.picture.startswith(good[:8])
    panel.state.dew_point_c = 20.0
    assert panel.state.error is None


def test_more_probe_error_never_helps(panel: VerdictPanel) -> None:
    panel.state.hold_s = 15 * 60.0
    margins = []
    for error in (0.0, 0.5, 1.0, 2.0, 3.0):
        panel.state.probe_error_k = error
        item = panel.state.outcome.answer.standard(TABLE)
        assert item.limit_c == pytest.approx(item.row_c + error)
        margins.append(item.state == "met")
    assert margins == sorted(margins, reverse=True)


def test_by_the_clock_and_with_a_rest() -> None:
    panel = verdict_panel("C", hold_from="clock", cook_s=2 * 3600.0, rest_s=600.0)
    end = panel.state.outcome.cook.result.time_s[-1]
    assert end == pytest.approx(2 * 3600.0 + 600.0)
    assert "Out after 2 h;" in panel.status_text


def test_only_controls_with_an_effect_are_shown(panel: VerdictPanel) -> None:
    def visible() -> set[str]:
        return {
            name
            for name, control in panel.controls.items()
            if control.widget.layout.display != "none"
        }

    in_bath = visible()
    assert {"bath", "hold", "core-reaches", "rest", "thickness"} <= in_bath
    assert not {"pit", "dew-point", "mass", "surface", "file-unit", "cook-for"} & in_bath
    panel.state.humidity = "air"
    assert {"pit", "dew-point", "mass"} <= visible()
    assert "bath" not in visible()
    panel.state.hold_from = "clock"
    assert "cook-for" in visible()
    assert not {"hold", "core-reaches"} & visible()
    panel.state.source = DEMO.name
    assert {"surface", "file-unit", "off-centre", "probe-error"} <= visible()
    assert not {"thickness", "pit", "hold-from", "rest", "by-thickness"} & visible()


def test_a_log_is_judged_at_the_probe_or_under_it() -> None:
    panel = verdict_panel("C", path=DEMO, cut="pork shoulder", surface="sealed bag")
    assert panel.state.error is None
    assert "lowest of the probes" in panel.status_text
    before = panel.state.outcome.answer.integrals[0].value
    panel.state.off_centre_m = 0.03
    assert "estimated 30 mm" in panel.status_text
    assert panel.state.outcome.answer.integrals[0].value <= before


def test_a_log_that_is_missing_is_a_sentence(panel: VerdictPanel) -> None:
    panel.state.source = "path"
    assert panel.state.error is None
    assert "Type the path" in panel.status_text
    panel.path_entry.value = "absent.csv"
    assert panel.state.error is not None
    assert "absent.csv" in panel.state.error


def test_units_change_the_words_and_never_the_values(panel: VerdictPanel) -> None:
    panel.state.hold_s = 600.0
    inputs, answer = panel.state.inputs(), panel.state.outcome.answer.state
    panel.state.units = CUSTOMARY
    assert panel.state.inputs() == inputs
    assert panel.state.outcome.answer.state == answer
    assert "°F" in panel.status_text
    assert "°C" not in panel.status_text
    assert "°C" not in re.sub(r"70 °C|from memory", "", panel.status_text)


@pytest.mark.parametrize("units", [METRIC, CUSTOMARY])
@pytest.mark.parametrize("quantity", [DIFFERENCE, MINUTES])
def test_quantities_go_there_and_back(quantity: object, units: object) -> None:
    shown_value = quantity.shown(1.7, units)  # type: ignore[attr-defined]
    assert quantity.stored(shown_value, units) == pytest.approx(1.7)  # type: ignore[attr-defined]


@pytest.mark.parametrize("name", ["cut", "condition", "standard", "organism", "surface"])
def test_every_choice_can_be_made(
    panel: VerdictPanel, name: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    """`try_ends` tries a few of each, with the picture; here all are, without."""
    monkeypatch.setattr(panel._drawing, "update", lambda *_, **__: b"")
    if name == "surface":
        panel.state.source = DEMO.name
    control = panel.controls[name]
    for option in control.spec.options:
        panel.state.set_trait(name, option)
        assert panel.state.error is None, (option, panel.state.error, panel.state.detail)


def test_every_control_survives_both_ends(panel: VerdictPanel) -> None:
    assert try_ends(panel) == {}
    assert panel.state.error is None


def test_reset_goes_back(panel: VerdictPanel) -> None:
    before = panel.state.inputs()
    panel.state.hold_s, panel.state.cut, panel.state.humidity = 1200.0, "lamb leg", "air"
    panel.reset()
    assert panel.state.inputs() == before


def test_keeping_one_draws_both(panel: VerdictPanel) -> None:
    panel.keep()
    alone = panel.picture
    panel.state.hold_s = 1200.0
    kept = panel.picture
    panel.keep()
    assert panel.state.kept is None
    assert len({alone, kept, panel.picture}) == 3


@pytest.mark.parametrize("inputs", [{}, {"humidity": "air", "until_core_c": 70.0}])
def test_the_code_repeats_the_answer(
    inputs: dict[str, object], capsys: pytest.CaptureFixture[str]
) -> None:
    panel = verdict_panel("C", hold_s=900.0, **inputs)
    exec(compile(panel.code(), "copied", "exec"), {})
    printed = capsys.readouterr().out
    assert printed.startswith(say_shown(panel.state.outcome.answer.headline, "C"))


def test_the_code_of_a_log_repeats_the_answer(capsys: pytest.CaptureFixture[str]) -> None:
    panel = verdict_panel("C", path=DEMO, cut="pork shoulder")
    exec(compile(panel.code(), "copied", "exec"), {})
    headline = say_shown(panel.state.outcome.answer.headline, "C")
    assert capsys.readouterr().out.startswith(headline)


def test_the_map_by_thickness_is_computed_kept_and_marked(panel: VerdictPanel) -> None:
    assert panel.map_cells == ()
    assert panel._map_box.layout.display == "none"
    panel.state.by_thickness = True
    cells = panel.map_cells
    assert len({cell.thickness_m for cell in cells}) >= 5
    assert "has its hold after" in panel._map_box.value
    assert 'alt="Your piece' in panel._map_box.value
    first = panel._map_box.value
    panel.state.thickness_m = 0.05
    # Another thickness moves the mark only: the cells are the same objects.
    assert panel.map_cells is cells
    assert panel._map_box.value != first
    panel.state.start_c = 15.0
    assert panel.map_cells != cells
    panel.state.by_thickness = False
    assert panel._map_box.layout.display == "none"


def test_a_map_for_every_standard_and_kind_of_heat(panel: VerdictPanel) -> None:
    panel.state.by_thickness = True
    for name in ("us poultry 7 log", "food code intact", "us consumer poultry", "all"):
        panel.state.standard = name
        assert panel.state.error is None, panel.state.detail
        assert panel.map_cells
    panel.state.humidity = "air"
    assert panel.state.error is None
    assert "whether the standard applies" in panel._map_box.value


def test_in_a_running_loop_the_latest_value_wins_and_the_map_follows() -> None:
    async def drag() -> VerdictPanel:
        panel = verdict_panel("C")
        panel.state.by_thickness = True
        stages = []
        panel.state.observe(lambda change: stages.append(change["new"]), names="stage")
        for step in range(25):
            panel.state.start_c = 4.0 + 0.2 * step
            await asyncio.sleep(0.005)
        for _ in range(600):
            await asyncio.sleep(0.05)
            if not panel.schedule.is_waiting and not panel.schedule.is_working:
                break
        assert "preview" in stages
        return panel

    panel = asyncio.run(drag())
    assert panel.state.stage == "full"
    assert panel.state.error is None
    assert panel.state.outcome.cook.result.core_c[0] == pytest.approx(8.8)
    assert len(panel.map_cells) > 50
    assert not panel._progress_bar.is_shown


def test_unknown_inputs_are_refused() -> None:
    with pytest.raises(InputError, match="no input"):
        verdict_panel("C", heat=3)
    with pytest.raises(InputError, match="bath"):
        verdict_panel("C", bath_c=300.0)


def test_the_static_page_has_picture_and_words(panel: VerdictPanel) -> None:
    bundle = panel._repr_mimebundle_()
    assert "image/png" in bundle
    assert "Does not meet" in bundle["text/plain"]
    assert verdict_state().input_names == panel.state.input_names


def test_while_a_slider_moves_the_tables_follow_and_the_words_do_not_wait() -> None:
    panel = verdict_panel("C")
    before = shown(panel)

    async def page() -> tuple[str, str]:
        panel.controls["hold"].slider.value = 30.0
        while not panel.moving:
            await asyncio.sleep(0)
        words, tables = panel.status_text, shown(panel)
        while panel.schedule.is_waiting:
            await asyncio.sleep(0.01)
        return words, tables

    words, tables = asyncio.run(page())
    assert "It meets A United States meat table, 6.5 log of Salmonella" in words
    assert tables == before
    assert panel.moving is False
    assert shown(panel) != before
    # At rest all is of one cook.
    again = verdict_panel("C")
    again.state.hold_s = panel.state.hold_s
    assert shown(again) == shown(panel)


# What only a person can say.


def two_probes(folder: Path) -> Path:
    """A probe in the meat, and one that was never in it: stuck at 66 °C."""
    file = folder / "two.csv"
    rows = [f"{60 * n},110.0,{min(4 + n / 3, 80):.1f},66.0" for n in range(301)]
    text = "time_s,pit (°C),meat 1 (°C),meat 2 (°C)\n" + "\n".join(rows) + "\n"
    file.write_text(text, encoding="utf-8")
    return file


def test_a_doubt_is_a_question_with_a_control_and_the_answer_is_saved(tmp_path: Path) -> None:
    panel = verdict_panel(
        "C", path=two_probes(tmp_path), surface="sealed bag", cut="beef brisket flat"
    )
    answer = panel.state.outcome.answer
    assert answer.state == "cannot tell"
    (doubt,) = [doubt for doubt in answer.doubts if doubt.blocks]
    assert panel._doubts_box.layout.display == ""
    # Asked once, with a control, and not again in a table with code.
    assert "Only you can say" not in shown(panel)
    assert "probes={" not in shown(panel)
    control = panel.doubt_choices[doubt.channel]
    assert [value for _, value in control.options] == [
        "",
        "in the meat",
        "in the air",
        "not used",
    ]
    control.value = "not used"
    assert panel.state.error is None
    assert panel.state.outcome.answer.state == "met"
    assert panel.doubt_choices[doubt.channel].value == "not used"
    assert f"probes={{{doubt.channel!r}: 'not used'}}" in panel.code()
    saved = panel.state.saved()
    again = verdict_panel("C")
    again.state.set_all(saved)
    assert again.state.outcome.answer.state == "met"
    panel.doubt_choices[doubt.channel].value = ""
    assert panel.state.outcome.answer.state == "cannot tell"
    # Of another log nothing was said.
    panel.state.source = DEMO.name
    assert panel.state.answered() == {}
    assert panel.state.error is None


def test_states_pieces_and_organism_follow_the_meat(panel: VerdictPanel) -> None:
    panel.state.also_stuffed = True
    assert panel.state.outcome.answer.condition == "intact and stuffed"
    assert state_of(panel, "food code stuffed") == "not met"
    assert "condition=['intact', 'stuffed']" in panel.code()
    panel.state.also_stuffed = False
    panel.state.cut = "turkey breast"
    views = [view.name for view in panel.state.outcome.answer.integrals]
    assert views[0] == "salmonella poultry guideline"
    assert not [name for name in views if name.startswith("salmonella beef")]
    assert repr(tuple(views)) in panel.code()
