"""Where the probe sits: what it reads, how wrong it is, where it should be."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest

import coreward as cw
from coreward.cook.section import Section, SectionResult
from coreward.errors import CorewardError
from coreward.questions.probe import ProbeError, probe_error
from coreward.questions.probe.answer import read_at
from coreward.questions.probe.figure import section_figure, section_words


@pytest.fixture(scope="module")
def cook() -> SectionResult:
    piece = cw.Piece(cw.FiniteCylinder(0.08, 0.14), cw.meat("pork shoulder"), 4.0)
    stage = cw.Stage(cw.Surroundings(120.0, heat_transfer=15.0), until_core_c=70.0)
    done = cw.simulate(piece, stage, engine="section", cells=14, tolerance=0.05)
    assert isinstance(done, SectionResult)
    return done


def known(cook: SectionResult) -> SectionResult:
    """The same cook with a field that is known: 60 + t/60 + 1000 x + 500 y."""
    time = np.arange(0.0, 1201.0, 60.0)
    x, y = np.linspace(0.0, 0.04, 5), np.linspace(0.0, 0.07, 8)
    field = 60.0 + time[:, None, None] / 60.0 + 1000.0 * x[:, None] + 500.0 * y
    section = Section(time, x, y, field, np.ones_like(field), np.ones((5, 8)), (0, 0))
    return replace(cook, section=section)


def test_the_tip_reads_the_mean_over_what_feels(cook: SectionResult) -> None:
    section = known(cook).section
    assert section is not None
    straight = read_at(section, (0.01, 0.02), 0.0, 0.02)
    assert straight[0] == pytest.approx(60.0 + 1000.0 * 0.02 + 10.0)
    along = read_at(section, (0.01, 0.02), 90.0, 0.02)
    assert along[0] == pytest.approx(60.0 + 10.0 + 500.0 * 0.03)
    slanting = read_at(section, (0.01, 0.02), 60.0, 0.02)
    lean = math.radians(60.0)
    expected = 80.0 + 0.01 * (1000.0 * math.cos(lean) + 500.0 * math.sin(lean))
    assert slanting[0] == pytest.approx(expected)


def test_what_is_too_high_is_too_early(cook: SectionResult) -> None:
    """10 mm across is 10 K more, which the middle has ten minutes later."""
    answer = probe_error(known(cook), 0.01, 0.0, tip_m=0.0, at_core_c=75.0)
    assert answer.over_k == pytest.approx(10.0)
    assert answer.early_s == pytest.approx(600.0)
    assert answer.core_s == pytest.approx(900.0)
    assert answer.best_m == (0.0, 0.0)
    assert answer.best_over_k == pytest.approx(0.0)
    first = answer.others[0]
    assert (first.way, first.off_m) == ("across", 0.005)
    assert first.over_k == pytest.approx(5.0)
    assert first.early_s == pytest.approx(300.0)
    text = answer.sentence.shown("C") if not isinstance(answer.sentence, str) else ""
    assert "When the slowest point has 75 °C, a probe here reads 10.0 K higher" in text
    assert "shows 75 °C 10 min too early" in text


def test_the_best_place_has_the_middle_of_the_tip_at_the_slowest_point(
    cook: SectionResult,
) -> None:
    answer = probe_error(cook, 0.01, 0.02, angle_deg=30.0, tip_m=0.02, at_core_c=65.0)
    lean = math.radians(30.0)
    assert answer.best_m == pytest.approx((-0.01 * math.cos(lean), -0.01 * math.sin(lean)))
    assert 0.0 <= answer.best_over_k < answer.over_k
    over = [one.over_k for one in answer.others if one.way == "across"]
    assert over == sorted(over)
    assert answer.slowest_m == (0.0, 0.0)


def test_it_is_said_drawn_and_written(cook: SectionResult) -> None:
    answer = probe_error(cook, 0.01, 0.02, at_core_c=65.0)
    for units, sign in (("C", "°C"), ("F", "°F")):
        text = cw.document(answer).text(units)
        assert sign in text
        assert "Other places" in text
        assert len(section_figure(answer, units).axes) == 2
        assert sign in section_words(answer, units)
    assert "reading_c" not in str(cw.document(answer).data())
    assert len(section_figure(cook).axes) == 2
    assert "stall" in cw.document(cook).text().lower()


def test_a_dry_piece_has_one_picture() -> None:
    solid = cw.constant_material(0.5, 1000.0, 3500.0)
    piece = cw.Piece(cw.FiniteCylinder(0.08, 0.14), solid, 20.0)
    stage = cw.Stage(cw.Surroundings(120.0, heat_transfer=15.0), duration_s=1800.0)
    done = cw.simulate(piece, stage, engine="section", cells=8)
    assert isinstance(done, SectionResult)
    assert len(section_figure(done).axes) == 1
    assert isinstance(probe_error(done), ProbeError)


def test_what_cannot_be_asked(cook: SectionResult) -> None:
    with pytest.raises(CorewardError, match="outside of the piece"):
        probe_error(cook, 0.035, 0.0, tip_m=0.01)
    with pytest.raises(CorewardError, match="never has 90 °C"):
        probe_error(cook, at_core_c=90.0)
    with pytest.raises(CorewardError, match="must feel over"):
        probe_error(cook, tip_m=0.5)
    with pytest.raises(CorewardError, match="finite"):
        probe_error(cook, angle_deg=math.nan)
    plain = cw.simulate(
        cw.Piece(cw.Slab(0.04), cw.meat("pork shoulder"), 4.0),
        cw.Stage(cw.Surroundings(120.0), duration_s=60.0),
        cells=8,
    )
    with pytest.raises(CorewardError, match="has no section"):
        probe_error(plain)
