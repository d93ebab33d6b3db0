"""Pictures of few colours, read back by another library."""

from __future__ import annotations

import io

import numpy as np
import pytest
from numpy.typing import NDArray
from PIL import Image

import coreward.drawing.few_colours as module
from coreward.drawing import png
from coreward.drawing.few_colours import FewColours

Pixels = NDArray[np.uint8]
ROWS, COLUMNS = 90, 120


def read(picture: bytes) -> NDArray[np.int_]:
    return np.asarray(Image.open(io.BytesIO(picture)).convert("RGB")).astype(int)


def sheet(colour: tuple[int, int, int] = (255, 255, 255)) -> Pixels:
    made = np.full((ROWS, COLUMNS, 4), 255, dtype=np.uint8)
    made[..., :3] = colour
    return made


def drawing(shift: int = 0) -> Pixels:
    """Return two surfaces and a curve with soft edges, moved down by some pixels."""
    made = sheet()
    made[10:40, 20:70, :3] = (251, 243, 228)
    made[50:80, 20:110, :3] = (94, 15, 52)
    across = np.arange(ROWS)[:, None] - (30.0 + shift + 0.37 * np.arange(COLUMNS)[None, :])
    cover = np.clip(2.0 - np.abs(across), 0.0, 1.0)[..., None]
    made[..., :3] = np.rint((1.0 - cover) * made[..., :3] + cover * np.array([31, 90, 140]))
    return made


def test_up_to_256_colours_come_back_as_they_were() -> None:
    table = np.random.default_rng(5).permutation(1 << 12)[:256]
    # One colour in each of 256 cells, none in its middle.
    colours = np.stack((table >> 8, (table >> 4) & 15, table & 15), axis=-1) * 16 + 3
    made = sheet()
    made[..., :3] = colours[np.arange(ROWS * COLUMNS).reshape(ROWS, COLUMNS) % 256]
    np.testing.assert_array_equal(read(FewColours().encode(made)), made[..., :3])


def test_surfaces_keep_their_colours_and_edges_nearly() -> None:
    made = drawing()
    writer = FewColours()
    writer.learn(made)
    off = np.abs(read(writer.encode(made)) - made[..., :3]).max(axis=-1)
    surfaces = [(255, 255, 255), (251, 243, 228), (94, 15, 52), (31, 90, 140)]
    for surface in surfaces:
        assert off[(made[..., :3] == surface).all(axis=-1)].max() == 0
    # Of one cell, or of the nearest that is kept: this drawing fills fewer than 256 cells.
    assert off.max() <= 15


@pytest.mark.parametrize("seed", range(3))
def test_what_moved_is_looked_up_and_nothing_is_left_behind(seed: int) -> None:
    shifts = np.random.default_rng(seed).integers(-20, 20, size=6)
    writer, fresh = FewColours(), FewColours()
    for each in (writer, fresh):
        each.learn(drawing())
    for shift in shifts:
        last = writer.encode(drawing(int(shift)))
    assert last == fresh.encode(drawing(int(shifts[-1])))


def test_a_new_surface_is_learnt_and_a_few_odd_pixels_are_not(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    learnt: list[Pixels] = []
    learn = FewColours.learn

    def counted(self: FewColours, pixels: Pixels) -> None:
        learnt.append(pixels)
        learn(self, pixels)

    monkeypatch.setattr(FewColours, "learn", counted)
    writer = FewColours()
    writer.encode(drawing())
    assert len(learnt) == 1
    few = drawing()
    few[0, : int(0.5 * module._STRANGE * ROWS * COLUMNS), :3] = (0, 255, 0)
    writer.encode(few)
    assert len(learnt) == 1
    many = drawing()
    many[:8, :, :3] = (0, 255, 0)
    back = read(writer.encode(many))
    assert len(learnt) == 2
    assert (back[:8] == (0, 255, 0)).all()


def test_another_size_and_no_white_at_all() -> None:
    writer = FewColours()
    writer.encode(drawing())
    dark = sheet((9, 7, 5))[:31, :47]
    np.testing.assert_array_equal(read(writer.encode(dark)), dark[..., :3])


def test_it_is_smaller_than_the_exact_picture() -> None:
    exact, few = png.encode(drawing()), FewColours().encode(drawing())
    assert len(few) < 0.6 * len(exact)
    assert png.size(few) == (COLUMNS, ROWS)
