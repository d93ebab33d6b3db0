"""Pictures: labelled, readable in grey, the same whether redrawn in part or whole."""

from __future__ import annotations

import io
import itertools
import zlib
from dataclasses import dataclass, field, replace
from typing import Any

import matplotlib as mpl
import numpy as np
import pytest
from PIL import Image

from coreward.drawing import png, style
from coreward.errors import InputError
from coreward.events.standstill import Stall
from coreward.questions.stall.figure import StallPicture, alt_text, figure_stall, regime_spans
from coreward.words import as_units
from support.greys import SHARED_AXES, lightness

HOUR = 3600.0


STALL = Stall(4 * HOUR, 9 * HOUR, 64.0, 74.0, True)


@dataclass
class Made:
    """Arrays by name: a drawing needs no physics."""

    values: dict[str, Any] = field(default_factory=dict)

    def __getattr__(self, name: str) -> Any:
        try:
            return self.values[name]
        except KeyError:
            raise AttributeError(name) from None


def made(hours: float = 14.0, pit: float = 110.0, *, wet: bool = True) -> tuple[Made, Made]:
    """Return a result and an explanation with plausible curves, invented here."""
    t = np.linspace(0.0, hours * HOUR, 300)
    h = t / HOUR
    core = np.interp(h, [0, 1, 4, 9, 14], [4, 10, 64, 74, 92])
    surface = np.minimum(core + 25.0 * np.exp(-h / 4.0), pit)
    position = np.linspace(0.0, 0.045, 30)
    profile = core[:, None] + np.outer(surface - core, (position / 0.045) ** 2)
    water = 3.0 - np.outer(h / hours, 0.5 + (position / 0.045) ** 2)
    zero = np.zeros_like(t)
    rate = 1e-4 * np.exp(-(((core - 68.0) / 12.0) ** 2)) if wet else zero
    names = ["condensing", "air-limited", "supply-limited"] if wet else ["no evaporation"] * 3
    result = Made(
        {
            "time_s": t,
            "core_c": core,
            "mean_c": 0.5 * (core + surface),
            "surface_c": surface,
            "mass_loss_fraction": 0.3 * h / hours,
            "position_m": position,
            "temperature_c": profile,
            "water": water,
        }
    )
    explanation = Made(
        {
            "time_s": t,
            "air_c": np.full_like(t, pit),
            "dew_point_c": np.full_like(t, 35.0 if wet else np.nan),
            "wet_surface_c": np.full_like(t, 48.0 if wet else np.nan),
            "convection_w_m2": 10.0 * (pit - surface),
            "radiation_w_m2": 8.0 * (pit - surface),
            "evaporation_w_m2": 2.3e6 * rate,
            "conduction_w_m2": 18.0 * (pit - surface) - 2.3e6 * rate,
            "water_supply_kg_m2_s": rate,
            "water_demand_kg_m2_s": 2e-4 * (1.0 - np.exp(-h)) if wet else zero,
            "drip_kg_m2_s": 0.2 * rate,
            "regime": np.select([h < 0.5, h < 3.0], names[:2], names[2]),
            "free_water": 1e3 * rate,
            "stalls": (STALL,) if wet else (),
            "sentence": "It stops because.",
        }
    )
    return result, explanation


def pixels(png: bytes) -> np.ndarray:
    return np.asarray(Image.open(io.BytesIO(png)).convert("RGB")).astype(int)


@pytest.mark.parametrize(("units", "unit", "size"), [("C", "°C", "mm"), ("F", "°F", "in")])
def test_every_axis_says_what_and_in_which_unit(units: str, unit: str, size: str) -> None:
    figure = figure_stall(*made(), units=units)
    labels = {ax.get_ylabel() for ax in figure.axes} | {ax.get_xlabel() for ax in figure.axes}
    assert {
        f"temperature ({unit})",
        f"distance from the centre ({size})",
        "time (h)",
        "W/m²",
        "kg/m² h",
        "water (kg per kg dry)",
        "% of the raw weight",
    } <= labels


def test_fahrenheit_moves_the_curve_and_not_the_time() -> None:
    metric, customary = (figure_stall(*made(), units=units) for units in "CF")
    lines = [
        next(line for line in figure.axes[0].lines if line.get_label() == "core")
        for figure in (metric, customary)
    ]
    np.testing.assert_array_equal(lines[0].get_xdata(), lines[1].get_xdata())
    np.testing.assert_allclose(
        np.asarray(lines[1].get_ydata()), np.asarray(lines[0].get_ydata()) * 9 / 5 + 32
    )


def test_the_stall_is_shaded_and_labelled_only_where_there_is_one() -> None:
    def words(figure: Any) -> str:
        return " ".join(text.get_text() for text in figure.axes[0].texts)

    assert "slow climb\n5 h" in words(figure_stall(*made()))
    result, explanation = made()
    # 10 K in 5 h are a climb, 5 K in 5 h are none (1.5 K/h, table `stall`).
    explanation.values["stalls"] = (replace(STALL, core_end_c=69.0),)
    assert "stands still\n5 h" in words(figure_stall(result, explanation))
    assert words(figure_stall(*made(wet=False))).strip() == ""


def test_the_regime_is_named_in_words_along_the_axis() -> None:
    figure = figure_stall(*made())
    words = " ".join(text.get_text() for ax in figure.axes for text in ax.texts)
    assert "supply-limited" in words
    assert "air-limited" in words


def test_inks_that_share_an_axis_differ_in_grey_and_in_line() -> None:
    # 3.5 of 100 in lightness is a little above what is just seen side by side (about
    # 1 to 2.3, a common figure from memory); line style or marker differs besides.
    for meanings in SHARED_AXES.values():
        for one, other in itertools.combinations(meanings, 2):
            a, b = style.INKS[one], style.INKS[other]
            assert abs(lightness(a.colour) - lightness(b.colour)) > 3.5, (
                one,
                other,
            )
            assert (a.line, a.marker) != (b.line, b.marker) or a.width != b.width, (one, other)


def test_inks_stand_out_from_white_paper() -> None:
    # Lightness 67 is a contrast of about 2.9 to 1 against white.
    for meanings in SHARED_AXES.values():
        for meaning in meanings:
            assert lightness(style.PALETTE[meaning]) < 67.0, meaning


def test_lightness_of_black_white_and_mid_grey() -> None:
    assert lightness("#000000") == pytest.approx(0.0)
    assert lightness("#ffffff") == pytest.approx(100.0, abs=0.01)
    # #777777 has L* 50.0 (CIE 15, from memory).
    assert lightness("#777777") == pytest.approx(50.0, abs=0.3)


def test_a_partial_redraw_gives_the_same_pixels_as_a_whole_one() -> None:
    drags = [made(pit=100.0 + 9.0 * step) for step in range(8)]
    kept_alive = StallPicture()
    for result, explanation in drags:
        last = kept_alive.update(result, explanation)
    kept_alive._background = None  # forces a whole redraw within the same limits
    whole = kept_alive.update(*drags[-1])
    np.testing.assert_array_equal(pixels(last), pixels(whole))


def test_nothing_of_an_earlier_cook_is_left_behind() -> None:
    picture = StallPicture()
    first = picture.update(*made())
    picture.update(*made(wet=False))
    # Limits that still fit are kept on purpose; here they must be found anew.
    picture._scene._limits.clear()
    np.testing.assert_array_equal(pixels(picture.update(*made())), pixels(first))


def test_a_kept_cook_is_drawn_dashed_and_goes_away_again() -> None:
    picture = StallPicture()
    result, explanation = made()
    plain = picture.update(result, explanation)
    compared = picture.update(result, explanation, kept=made(wet=False)[0])
    assert np.any(pixels(plain) != pixels(compared))
    np.testing.assert_array_equal(pixels(picture.update(result, explanation)), pixels(plain))
    assert style.INKS["kept"].line != "-"


def test_the_profile_follows_the_chosen_time() -> None:
    result, explanation = made()
    early, late = (figure_stall(result, explanation, hours * HOUR) for hours in (2.0, 12.0))
    cores = [
        float(np.asarray(figure.axes[4].lines[0].get_ydata())[0]) for figure in (early, late)
    ]
    expected = [float(np.interp(h * HOUR, result.time_s, result.core_c)) for h in (2.0, 12.0)]
    # The profile is interpolated linearly between steps, as np.interp does.
    np.testing.assert_allclose(cores, expected, atol=1e-9)


def test_svg_keeps_its_words_as_text() -> None:
    svg = StallPicture("svg").update(*made()).decode()
    assert svg.lstrip().startswith("<?xml")
    assert "Temperatures" in svg
    assert mpl.rcParams["svg.fonttype"] != "none"  # our setting does not leak


def test_alt_text_says_stall_and_regime() -> None:
    words = alt_text(*made())
    assert "Climbs slowly from 4 h to 9 h," in words
    assert "supply-limited" in words
    assert "147 °F to 165 °F" in alt_text(*made(), units="F")
    assert "No stall" in alt_text(*made(wet=False))


def test_regime_spans_join_what_is_too_short_to_read() -> None:
    time = np.arange(1001.0)
    names = np.array(["air-limited"] * 1001, dtype=object)
    names[400:403] = "dry"
    names[700:] = "supply-limited"
    assert regime_spans(time, names) == [
        (0.0, 700.0, "air-limited"),
        (700.0, 1000.0, "supply-limited"),
    ]


def test_unknown_units_are_refused_with_the_remedy() -> None:
    with pytest.raises(InputError, match='must be "C" or "F"'):
        as_units("K")


@pytest.mark.parametrize(
    ("seconds", "words"),
    [
        (0.0, "0 min"),
        (-20.0, "0 min"),
        (3569.0, "59 min"),
        (3571.0, "1 h"),
        (5415.0, "1 h 30 min"),
        (-3000.0, "-50 min"),
        (np.nan, "unknown"),
    ],
)
def test_format_hours(seconds: float, words: str) -> None:
    assert style.format_hours(seconds) == words


@pytest.mark.parametrize("channels", [3, 4])
def test_png_is_read_back_pixel_by_pixel(channels: int) -> None:
    noise = np.random.default_rng(7).integers(0, 256, (37, 53, channels), dtype=np.uint8)
    np.testing.assert_array_equal(pixels(png.encode(noise)), noise[:, :, :3])
    assert png.size(png.encode(noise)) == noise.shape[1::-1]
    assert png.size(b"GIF89a" + bytes(40)) is None


def test_png_is_opaque_and_the_same_without_the_quick_packer(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    noise = np.random.default_rng(7).integers(0, 256, (37, 53, 4), dtype=np.uint8)
    quick = np.asarray(Image.open(io.BytesIO(png.encode(noise))).convert("RGBA"))
    assert quick[..., 3].min() == 255
    monkeypatch.setattr(png, "_pack", zlib.compress)
    usual = np.asarray(Image.open(io.BytesIO(png.encode(noise))).convert("RGBA"))
    np.testing.assert_array_equal(quick, usual)
