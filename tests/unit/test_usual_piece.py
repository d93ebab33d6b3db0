"""A piece from its weight: proportions, tape measurements, bone, names and slips."""

from __future__ import annotations

import math

import numpy as np
import pytest

import coreward as cw
from coreward import tables
from coreward.cook.usual_piece import assumed_words, cut_names, find_cut, piece_code
from coreward.errors import InputError
from coreward.physics.body import FiniteShape
from coreward.physics.meat import with_bone
from coreward.questions.forecast.fit import stated_prior
from coreward.words import shown


def test_every_cut_of_the_meat_table_has_proportions() -> None:
    assert set(cut_names()) == set(tables.names("cut"))
    for cut in cut_names():
        usual = tables.load("piece", cut)
        piece = cw.piece(cut, usual["mass"], bone=True)
        assert isinstance(piece.shape, FiniteShape)
        weighed = piece.shape.volume_m3 * piece.material.raw_density
        assert weighed == pytest.approx(usual["mass"])
        for end in (piece.assumed.thin, piece.assumed.thick):
            assert end.volume_m3 == pytest.approx(piece.shape.volume_m3)
        assert piece.assumed.thin.size < piece.shape.size < piece.assumed.thick.size


def test_a_shoulder_by_hand() -> None:
    """A block of 1 : 1.45 : 2; 3.5 kg."""
    piece = cw.piece("pork shoulder", 3.5)
    thick = (3.5 / piece.material.raw_density / (1.45 * 2.0)) ** (1.0 / 3.0)
    assert piece.shape.thickness_m == pytest.approx(thick)
    assert piece.shape.width_m == pytest.approx(1.45 * thick)
    assert piece.shape.length_m == pytest.approx(2.0 * thick)


def test_a_tape_measurement_keeps_the_weight() -> None:
    thick = cw.piece("pork shoulder", 5.2, thickness_m=0.13)
    assert thick.shape.thickness_m == pytest.approx(0.13)
    assert thick.shape.width_m * 2.0 == pytest.approx(1.45 * thick.shape.length_m)
    both = cw.piece("pork shoulder", 5.2, thickness_m=0.13, length_m=0.25)
    assert (both.shape.thickness_m, both.shape.length_m) == pytest.approx((0.13, 0.25))
    for piece in (thick, both):
        assert piece.shape.volume_m3 * piece.material.raw_density == pytest.approx(5.2)
        assert piece.assumed.thickness_spread < 0.04
    guess = cw.piece("pork shoulder", 5.2).assumed
    assert guess.thickness_spread == pytest.approx(np.log(1.25 / 0.78) / (2 * 1.6449))


def test_the_middle_of_the_range_is_the_piece_and_its_ends_the_ends() -> None:
    piece = cw.piece("beef brisket whole", 6.0)
    guess = piece.assumed
    for deviations, shape in ((0.0, piece.shape), (1.6449, guess.thick), (-1.6449, guess.thin)):
        body = guess.shape_at(piece.shape, deviations)
        assert body.volume_per_area == pytest.approx(shape.volume_per_area)
        assert body.half_size == pytest.approx(shape.half_size)


@pytest.mark.parametrize(
    ("name", "cut"),
    [
        ("Boston butt", "pork shoulder"),
        ("packer", "beef brisket whole"),
        ("St-Louis ribs", "pork spare ribs"),
        ("leg of lamb", "lamb leg"),
    ],
)
def test_names_of_the_trade(name: str, cut: str) -> None:
    assert find_cut(name) == cut


def test_no_name_means_two_cuts() -> None:
    names = [
        name
        for cut in cut_names()
        for name in (cut, *tables.load("piece", cut).text("aliases").split(", "))
    ]
    assert len(names) == len(set(names))


@pytest.mark.parametrize(
    ("given", "words"),
    [
        (("pork loin", 20.0), "A pork loin of 20.0 kg is no weight that is sold"),
        (("pork shoulder", float("nan")), "nan is no weight"),
        (("unicorn", 3.0), "No cut is called 'unicorn'"),
    ],
)
def test_slips(given, words: str) -> None:
    with pytest.raises(InputError, match=words):
        cw.piece(*given)


def test_a_thickness_that_contradicts_the_weight() -> None:
    with pytest.raises(InputError) as caught:
        cw.piece("pork shoulder", 3.5, thickness_m=0.25)
    # (250 mm / 104.6 mm)³ times 3.5 kg
    assert "would weigh about 46.8 kg" in str(caught.value)
    assert "lb" in caught.value.shown("F")
    with pytest.raises(InputError, match="would weigh about"):
        cw.piece("pork shoulder", 5.0, thickness_m=0.06, length_m=0.12)


def test_bone_warms_and_loses_nothing() -> None:
    plain = cw.meat("pork shoulder")
    boned = with_bone(plain, 0.2)
    meat_volume, bone_volume = 0.8 / plain.raw_density, 0.2 / 1250.0
    assert boned.raw_density == pytest.approx(1.0 / (meat_volume + bone_volume))
    # The water of 0.8 kg of meat, in a kilogram.
    assert boned.constants.raw_water / boned.raw_density == pytest.approx(
        0.8 * plain.constants.raw_water / plain.raw_density
    )
    thin, whole = boned.constants, plain.constants
    ratio = whole.raw_water / whole.solids_density
    assert thin.raw_water / thin.solids_density == pytest.approx(ratio)
    assert with_bone(plain, 0.0) is plain
    with pytest.raises(InputError, match="share of bone"):
        with_bone(plain, 0.9)


def test_what_was_assumed_is_said_in_the_readers_units() -> None:
    piece = cw.piece("butt", 5.2, bone=True, thickness_m=0.11)
    text = shown(assumed_words(piece), "C")
    assert text.startswith("Pork shoulder of 5.2 kg is taken for a block: thickness 110 mm, ")
    assert "Measured, so thickness 104 mm to 117 mm" in text
    assert "Bone is taken for 12 % of it." in text
    assert "11.5 lb" in shown(assumed_words(piece), "F")
    assert assumed_words(cw.Piece(cw.Slab(0.05), cw.meat(), 4.0)) == ""


def test_the_code_makes_the_piece_again() -> None:
    piece = cw.piece("butt", 5.2, bone=True, thickness_m=0.11, start_c=6.0)
    assert eval(piece_code(piece), {"cw": cw}) == piece


def test_a_draw_of_a_weighed_piece_moves_its_proportions_at_its_weight() -> None:
    piece = cw.piece("pork shoulder", 4.0)
    prior = stated_prior(piece)
    spread = piece.assumed.thickness_spread
    rest = tables.load("forecast", "prior")["size_weighed"]
    assert prior.spread["size"] == pytest.approx(np.hypot(spread, rest))
    z = np.zeros(15)
    middle = prior.shape(prior.member(z))
    acts = math.exp(tables.load("forecast", "prior")["size_middle"])
    assert prior.member(z).size_factor == pytest.approx(acts)
    assert acts * piece.shape.half_size < middle.half_size < piece.shape.half_size
    measured = stated_prior(cw.piece("pork shoulder", 4.0, thickness_m=0.11))
    assert measured.member(z).size_factor == 1.0
    z[0] = 1.0
    thicker = prior.shape(prior.member(z))
    assert thicker.half_size > middle.half_size
    assert stated_prior(piece, size=0.03).spread["size"] == 0.03
    simple = cw.Piece(cw.Slab(0.05), cw.meat(), 4.0)
    assert stated_prior(simple).shape(prior.member(z)) == cw.Slab(
        0.05 * prior.member(z).size_factor
    )
