"""The picture and the panel of the rest, without a browser."""

from __future__ import annotations

from pathlib import Path

import pytest

import coreward as cw
from coreward.cook.rest import rest_stage
from coreward.errors import InputError
from coreward.figures.rest import RestPicture, alt_text, figure_rest
from coreward.questions.carryover import Carryover, carryover
from coreward.questions.tenderness import section, tenderness
from coreward.widgets import settings
from coreward.widgets.rest_panel import RestPanel, rest_panel

PNG = b"\x89PNG"


@pytest.fixture(autouse=True)
def own_settings(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """Keep the person's own settings out of the tests."""
    monkeypatch.setenv(settings.FOLDER_VARIABLE, str(tmp_path))
    return tmp_path


@pytest.fixture
def panel() -> RestPanel:
    return rest_panel("C")


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
    assert all(picture.startswith(PNG) for picture in pictures)
    assert len(set(pictures)) == 3
    fahrenheit = drawing.update(c, tender, section(c.result, at), at, "F", c, c)
    assert fahrenheit not in pictures
    assert "°F" in drawing.ax_curves.get_ylabel()


def test_the_picture_in_words_has_its_numbers() -> None:
    c = told(cw.Cylinder(0.06))
    words = alt_text(c, section(c.result, c.pull_s))
    assert "52 °C" in words
    assert f"{c.peak_core_c:.0f} °C" in words
    assert figure_rest(c, tenderness(c.result), section(c.result), 0.0).axes


def test_the_panel_answers_in_words_and_a_picture(panel: RestPanel) -> None:
    assert panel.state.error is None, panel.state.detail
    assert panel.picture.startswith(PNG)
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
    assert panel.picture.startswith(PNG)


def test_the_box_asks_for_the_mass(panel: RestPanel) -> None:
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
    panel = rest_panel("C", place=place, wrap="foil")
    exec(panel.code(), {})
    printed = capsys.readouterr().out
    # The panel's root is coarser: the same degree, give or take a half.
    pulled = float(printed.split("Pull at ")[1].split(" ")[0])
    assert pulled == pytest.approx(panel.state.outcome.answer.pull_c, abs=0.5)


def test_keeping_and_unknown_inputs(panel: RestPanel) -> None:
    panel.keep()
    panel.state.thickness_m = 0.06
    panel.settle()
    assert panel.state.kept is not None
    assert panel.state.error is None
    with pytest.raises(InputError, match="no input oven"):
        rest_panel("C", oven=200)
