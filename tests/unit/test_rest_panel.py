"""The picture and the panel of the rest, without a browser."""

from __future__ import annotations

import math
from pathlib import Path
from typing import Any

import pytest
from matplotlib.axes import Axes

import coreward as cw
from coreward import person, tables
from coreward.cook.rest import rest_stage
from coreward.errors import InputError
from coreward.physics.lethality import kinetics_for
from coreward.questions.rest.carryover import Carryover, carryover
from coreward.questions.rest.figure import RestPicture, alt_text
from coreward.questions.rest.panel import RestPanel, RestState, _answer, rest_panel
from coreward.questions.rest.tenderness import section, tenderness
from coreward.questions.verdict import CAUTION
from coreward.words import Reading
from support.pictures import is_drawn


@pytest.fixture(autouse=True)
def own_settings(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """Keep the person's own settings out of the tests."""
    monkeypatch.setenv(person.FOLDER_VARIABLE, str(tmp_path))
    return tmp_path


@pytest.fixture
def panel() -> RestPanel:
    """Return the panel of a plain shape, which is computed in a tenth of the time."""
    return rest_panel("C", shape="cylinder")


def told(shape: cw.Slab | cw.Cylinder | cw.Sphere) -> Carryover:
    piece = cw.Piece(shape, cw.meat("beef rib roast"), 4.0)
    oven = cw.Stage(
        cw.Surroundings(150.0, dew_point_c=35.0), duration_s=36000.0, until_core_c=52.0
    )
    rest = rest_stage("kitchen", 3600.0, piece=piece)
    return carryover(cw.simulate(piece, [oven, rest], cells=30, tolerance=0.05))


@pytest.mark.parametrize("shape", [cw.Slab(0.06), cw.Cylinder(0.06), cw.Sphere(0.06)])
def test_the_section_of_every_shape_is_drawn(shape) -> None:
    c = told(shape)
    tender = tenderness(c.result)
    pictures = []
    drawing = RestPicture()
    for after in (-600.0, 0.0, 1800.0):
        at = c.pull_s + after
        pictures.append(drawing.update(c, tender, section(c.result, at), at))
    assert all(map(is_drawn, pictures))
    assert len(set(pictures)) == 3
    fahrenheit = drawing.update(c, tender, section(c.result, at), at, "F", c, c)
    assert fahrenheit not in pictures
    assert "°F" in drawing.ax_curves.get_ylabel()


def test_looking_around_redraws_no_frame_and_leaves_no_trace(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    c = told(cw.Cylinder(0.06))
    tender = tenderness(c.result)
    drawing = RestPicture()
    at = [c.pull_s, c.pull_s + 1800.0]
    first = drawing.update(c, tender, section(c.result, at[0]), at[0])
    frames: list[Axes] = []
    with monkeypatch.context() as watched:
        watched.setattr(Axes, "draw", lambda self, renderer: frames.append(self))
        second = drawing.update(c, tender, section(c.result, at[1]), at[1])
        again = drawing.update(c, tender, section(c.result, at[0]), at[0])
    assert frames == []
    assert second != first
    assert again == first
    assert RestPicture().update(c, tender, section(c.result, at[0]), at[0]) == first


def test_a_picture_does_not_hang_on_the_one_before() -> None:
    c, other = told(cw.Cylinder(0.06)), told(cw.Slab(0.05))
    drawing = RestPicture()

    def drawn(picture: RestPicture, one: Carryover, **more: Any) -> bytes:
        inside = section(one.result, one.pull_s)
        return picture.update(one, tenderness(one.result), inside, one.pull_s, **more)

    drawn(drawing, other)
    # Lines that come and go, and the cursor over them where it stands on the pull.
    with_more = drawn(drawing, c, dry=other, kept=other)
    assert with_more == drawn(RestPicture(), c, dry=other, kept=other)
    assert drawn(drawing, c) == drawn(RestPicture(), c)
    # While a slider moves the scale may stay, and comes to its own when it rests.
    drawn(drawing, other)
    drawn(drawing, c, moving=True)
    assert drawn(drawing, c) == drawn(RestPicture(), c)


def test_the_picture_in_words_has_its_numbers() -> None:
    c = told(cw.Cylinder(0.06))
    words = alt_text(c, section(c.result, c.pull_s))
    assert "52 °C" in words
    assert f"peak {Reading(c.peak_core_c).shown('C')} " in words


def test_the_panel_answers_in_words_and_a_picture(panel: RestPanel) -> None:
    assert panel.state.error is None, panel.state.detail
    assert is_drawn(panel.picture)
    answer = panel.state.outcome.answer
    assert answer.reached
    assert f"Pull at {answer.pull_c:.0f} °C for a peak of 57 °C" in panel.status_text
    assert "serve between" in panel.status_text
    assert "calibrated thermometer" in panel.status_text


def test_looking_at_another_time_computes_nothing_again(panel: RestPanel) -> None:
    before, picture = panel.state.outcome.told, panel.picture
    panel.state.look_s = 1800.0
    panel.settle()
    assert panel.state.outcome.told is before
    assert panel.picture != picture


def test_play_goes_through_the_rest(panel: RestPanel) -> None:
    panel.play.value = panel.play.max
    panel.settle()
    assert panel.state.look_s == pytest.approx(panel.state.rest_s)
    panel.play.value = 0
    panel.settle()
    assert panel.state.look_s < 0.0
    assert panel.state.error is None


def test_an_impossible_peak_is_explained_in_place(panel: RestPanel) -> None:
    panel.state.pit_c = 85.0
    panel.state.peak_c = 95.0
    panel.settle()
    assert panel.state.error is None
    assert "No pull gives a peak of 95 °C" in panel.status_text
    assert "out of reach" in panel.status_text
    assert is_drawn(panel.picture)


def test_the_box_asks_for_the_mass(panel: RestPanel) -> None:
    panel.state.rest_s = 1800.0
    assert panel.controls["mass"].widget.layout.display == "none"
    panel.state.place = "box"
    panel.settle()
    assert panel.controls["mass"].widget.layout.display == ""
    assert panel.state.error is None, panel.state.detail


def test_units_change_words_and_not_values(panel: RestPanel) -> None:
    peak = panel.state.peak_c
    fahrenheit = rest_panel("F")
    assert fahrenheit.state.peak_c == peak
    assert "°F" in fahrenheit.status_text
    assert "°C" not in fahrenheit.status_text


@pytest.mark.parametrize("place", ["kitchen", "box"])
def test_the_code_repeats_the_answer(place: str, capsys: pytest.CaptureFixture[str]) -> None:
    panel = rest_panel("C", place=place, wrap="foil", rest_s=1800.0)
    exec(panel.code(), {})
    printed = capsys.readouterr().out
    # The panel's root is coarser: the same degree, give or take a half.
    pulled = float(printed.split("Pull at ")[1].split(" ")[0])
    assert pulled == pytest.approx(panel.state.outcome.answer.pull_c, abs=0.5)


def test_time_above_and_lethality_of_the_rest_are_said(panel: RestPanel) -> None:
    """Rounded down: 61 °C for a while is some log, and none of it before the pull."""
    # Of a big roast's rise so little is sure that none of it is counted.
    panel.state.peak_c = 59.0
    panel.settle()
    told = panel.state.outcome.told
    assert told.lethality_in_rest_log > 0.1
    whole = math.floor(10.0 * told.lethality_log) / 10.0
    assert f"worth {whole:.1f} log of Salmonella in roast" in panel.status_text
    assert f"({told.kinetics})" in panel.status_text
    assert "60 °C or more for" in panel.status_text
    assert "no verdict" in panel.status_text


def test_a_bird_is_judged_by_kinetics_of_birds(own_settings: Path) -> None:
    """Beef kinetics stood here for turkey: 20.3 log where the poultry table says 7."""
    panel = rest_panel("F", cut="turkey breast", peak_c=66.0)
    told = panel.state.outcome.told
    assert told.kinetics == kinetics_for("turkey")[0]
    assert "beef" not in panel.status_text
    assert f"({told.kinetics})" in panel.status_text
    assert "no probe error" in panel.status_text
    assert CAUTION in panel.status_text
    assert "°C" not in panel.status_text


def test_a_fish_gets_no_count_of_bacteria(own_settings: Path) -> None:
    panel = rest_panel("C", cut="salmon side", peak_c=50.0, thickness_m=0.04)
    assert "No kinetics were measured in this meat" in panel.status_text
    assert " log " not in panel.status_text
    assert CAUTION in panel.status_text


def test_the_section_shows_the_colour_that_a_cut_shows() -> None:
    c = told(cw.Cylinder(0.06))
    drawing = RestPicture()
    inside = section(c.result, c.pull_s)
    drawing.update(c, tenderness(c.result), inside, c.pull_s)
    seen = list(dict.fromkeys(inside.colour))
    assert len(seen) > 1
    # On both sides of the core, and named where there is room for the word.
    strips = [strip.get_paths() for strip in drawing.ax_section.collections]
    assert [len(paths) for paths in strips] == [2] * len(seen)
    assert seen[0] in {text.get_text() for text in drawing.ax_section.texts}
    assert f"a cut shows {', '.join(seen)} from core" in alt_text(c, inside)


def test_the_crust_is_drawn_with_its_wrap_and_its_softest() -> None:
    piece = cw.Piece(cw.Slab(0.05), cw.meat("beef brisket flat"), 4.0)
    pit = cw.Surroundings(120.0, dew_point_c=35.0)
    stages = [
        cw.Stage(pit, until_core_c=55.0),
        cw.Stage(pit, until_core_c=75.0, wrap="foil"),
        rest_stage("kitchen", 3600.0, piece=piece),
    ]
    c = carryover(cw.simulate(piece, stages, cells=30, tolerance=0.05))
    drawing = RestPicture()
    drawing.update(c, tenderness(c.result), section(c.result, c.pull_s), c.pull_s)
    labels = drawing.ax_crust.get_legend_handles_labels()[1]
    assert labels == ["wrapped or covered", "softest"]
    wrapped_h = (c.result.records[1].begin_s - c.pull_s) / 3600.0
    # The moment of wrapping is in sight.
    assert drawing.ax_crust.get_xlim()[0] < wrapped_h
    curve = drawing.ax_crust.lines[0].get_ydata()
    assert curve.min() < 0.9 < 0.99 < curve.max()
    assert "softens to 1.00" in alt_text(c, section(c.result, c.pull_s))


def test_keeping_and_unknown_inputs(panel: RestPanel) -> None:
    panel.keep()
    panel.state.thickness_m = 0.06
    panel.settle()
    assert panel.state.kept is not None
    assert panel.state.error is None
    with pytest.raises(InputError, match="no input oven"):
        rest_panel("C", oven=200)


WRAPPED = {
    "cut": "beef brisket flat",
    "shape": "slab",
    "thickness_m": 0.05,
    "pit_c": 130.0,
    "peak_c": 85.0,
    "wrap_when": "core",
    "wrap_core_c": 55.0,
}


def test_the_moment_of_wrapping_is_a_control_and_softens_the_crust() -> None:
    panel = rest_panel("C", **WRAPPED)
    assert panel.state.error is None, panel.state.detail
    told = panel.state.outcome.told
    assert [r.wrap for r in told.result.records] == ["none", "foil", "none"]
    assert "the core at 55 °C" in panel.status_text
    assert "softens to 1.00" in panel.status_text
    sooner = told.pull_s
    panel.state.wrap_core_c = 70.0
    panel.settle()
    assert panel.state.outcome.told.pull_s > sooner
    panel.state.wrap_when = "never"
    panel.settle()
    assert panel.state.outcome.told.pull_s > sooner
    assert "is wrapped" not in panel.status_text


def test_the_wrap_by_the_clock_with_liquid_and_off_again() -> None:
    panel = rest_panel(
        "C",
        **{**WRAPPED, "wrap_when": "time"},
        wrap_after_s=3600.0,
        liquid_kg=0.24,
        unwrap_when="off",
        unwrap_core_c=75.0,
    )
    assert panel.state.error is None, panel.state.detail
    result = panel.state.outcome.told.result
    assert [r.wrap for r in result.records] == ["none", "foil", "none", "none"]
    assert result.records[0].end_s == pytest.approx(3600.0)
    assert result.added_fraction[-1] > 0.0
    assert "with liquid" in panel.status_text
    assert "bare again" in panel.status_text
    panel.state.cook_wrap = "paper"  # keeps no cup of liquid, so none is poured
    panel.settle()
    assert panel.state.error is None, panel.state.detail
    assert panel.state.outcome.told.result.added_fraction[-1] == 0.0


def test_pulled_before_the_wrap_is_said(panel: RestPanel) -> None:
    panel.state.wrap_when = "core"
    panel.state.wrap_core_c = 80.0
    panel.settle()
    assert "pulled before it would have been wrapped" in panel.status_text


def test_taking_the_wrap_off_before_it_is_on_is_refused_in_place() -> None:
    panel = rest_panel("C", **WRAPPED)
    panel.state.unwrap_when = "off"
    panel.state.unwrap_core_c = 50.0
    panel.settle()
    assert "take it off later" in panel.state.error


def test_only_controls_that_do_something_are_in_sight(panel: RestPanel) -> None:
    def shown() -> set[str]:
        return {n for n, c in panel.controls.items() if c.widget.layout.display != "none"}

    # What is in sight does not wait for the answer, so no answer is computed here.
    panel.schedule._run = lambda preview: None  # type: ignore[method-assign]
    assert "mass" not in shown()
    panel.state.shape = "weighed"
    assert "mass" in shown()
    assert "thickness" not in shown()
    panel.state.shape = "cylinder"
    hidden = {"wrap-core", "wrap-after", "cook-wrap", "liquid", "unwrap-when", "unwrap-core"}
    assert not hidden & shown()
    assert "pieces" not in shown()
    panel.state.wrap_when = "time"
    assert {"wrap-after", "cook-wrap", "liquid", "unwrap-when"} <= shown()
    assert not {"wrap-core", "unwrap-core", "mass"} & shown()
    panel.state.liquid_kg = 0.2
    panel.state.unwrap_when = "off"
    assert {"mass", "unwrap-core"} <= shown()
    panel.state.place = "box"
    assert {"pieces", "mass"} <= shown()


def test_the_box_has_a_band_and_more_pieces_are_pulled_sooner() -> None:
    panel = rest_panel("C", place="box", rest_s=1800.0)
    alone = panel.state.outcome.answer
    assert alone.high_c - alone.low_c > 1.0
    assert "With what is not known exactly, pull at" in panel.status_text
    panel.state.pieces = "4"
    panel.settle()
    assert panel.state.outcome.answer.pull_c < alone.pull_c


@pytest.mark.parametrize("more", [{}, {"wrap_when": "time", "liquid_kg": 0.24}])
def test_the_code_of_a_wrapped_cook_repeats_it(
    more: dict[str, object], capsys: pytest.CaptureFixture[str]
) -> None:
    panel = rest_panel("C", **{**WRAPPED, **more})
    exec(panel.code(), {})
    pulled = float(capsys.readouterr().out.split("Pull at ")[1].split(" ")[0])
    assert pulled == pytest.approx(panel.state.outcome.answer.pull_c, abs=0.5)


def test_every_cut_and_place_has_an_answer() -> None:
    """The page itself tries two cuts and three places; here all, without the pictures."""
    state = RestState()
    inputs = state.inputs()
    for name in ("cut", "place"):
        for choice in state.traits()[name].options:
            told = inputs | {name: choice, "rest_s": 1800.0, "shape": "cylinder"}
            outcome = _answer(told, True)
            assert outcome.answer.reached, (choice, outcome.answer.sentence)


def test_a_real_piece_is_pulled_by_its_weight_and_the_code_says_so(
    capsys: pytest.CaptureFixture[str],
) -> None:
    panel = rest_panel("C", cut="pork loin", mass_kg=1.2)
    answer = panel.state.outcome.answer
    assert answer.carryover.result.engine == "section"
    assert "cw.piece('pork loin', 1.2" in panel.code()
    exec(panel.code(), {})
    pulled = float(capsys.readouterr().out.split("Pull at ")[1].split(" ")[0])
    assert pulled == pytest.approx(answer.pull_c, abs=0.5)
    panel.state.mass_kg = 4.0
    panel.settle()
    assert panel.state.outcome.answer.pull_c < answer.pull_c - 0.5


def test_a_cut_comes_at_a_weight_that_it_has(panel: RestPanel) -> None:
    panel.schedule._run = lambda preview: None  # type: ignore[method-assign]
    panel.state.mass_kg = 3.0
    panel.state.cut = "beef round"
    assert panel.state.mass_kg == 3.0
    panel.state.cut = "chicken thigh"
    assert panel.state.mass_kg == tables.load("piece", "chicken thigh")["mass"]
