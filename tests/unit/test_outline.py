"""The drawing of a piece beside its numbers: to scale, in the reader's units."""

from __future__ import annotations

import re
import xml.etree.ElementTree as ElementTree

import pytest

import coreward as cw
from coreward.cook.usual_piece import cut_names
from coreward.drawing.outline import outline
from coreward.words import as_units

SVG = "{http://www.w3.org/2000/svg}"


@pytest.mark.parametrize("cut", cut_names())
def test_every_cut_is_drawn_within_its_frame(cut: str) -> None:
    piece = cw.piece(cut, cw.tables.load("piece", cut)["mass"])
    picture = ElementTree.fromstring(outline(piece, as_units("C")))
    width, height = (float(picture.get(name)) for name in ("width", "height"))
    for text in picture.iter(f"{SVG}text"):
        assert 0.0 < float(text.get("x")) < width
        assert 0.0 < float(text.get("y")) < height
    assert width <= 262.0


def test_a_brick_is_to_scale() -> None:
    piece = cw.Piece(cw.Block(0.1, 0.15, 0.25), cw.meat("pork shoulder"), 4.0)
    picture = outline(piece, as_units("C"))
    boxes = re.findall(r"M[\d.]+,[\d.]+ h([\d.]+) v([\d.]+)", picture)
    (wide, up), (long, also_up) = [(float(a), float(b)) for a, b in boxes]
    assert wide / up == pytest.approx(1.5, abs=0.01)
    assert long / up == pytest.approx(2.5, abs=0.01)
    assert up == also_up
    # The hand's breadth of 100 mm is as long as the piece is thick.
    start, end = (
        float(x) for x in re.search(r"M([\d.]+),[\d.]+ v8 m0,-4 H([\d.]+)", picture).groups()
    )
    assert end - start == pytest.approx(up, abs=0.1)


def test_it_is_told_in_the_readers_units_and_to_those_who_do_not_see_it() -> None:
    piece = cw.piece("pork shoulder", 5.0, thickness_m=0.127)
    assert "127 mm thick" in outline(piece, as_units("C"))
    inches = outline(piece, as_units("F"))
    assert "5.00 in thick" in inches
    assert 'aria-label="block, to scale: ' in inches
    assert "11.0 lb" in inches


def test_what_has_no_ends_is_not_drawn() -> None:
    assert outline(cw.Piece(cw.Slab(0.05), cw.meat(), 4.0), as_units("C")) == ""
