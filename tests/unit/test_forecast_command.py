"""``coreward forecast``: options, answers, following, readable errors."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

import coreward as cw
from coreward import cli, person
from coreward.forecast_command import change_of, piece_of
from coreward.questions.forecast.answer import KEEP
from coreward.units import read_temperature

pytestmark = pytest.mark.quick

SUPPER = Path(__file__).parents[2] / "data" / "demo" / "harvest-supper.csv"
PIECE = "pork shoulder, cylinder, 125 mm, 6.5 C"
QUICK = ("--members", "30", "--until", "5")


@pytest.fixture(autouse=True)
def own_settings(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Keep the person's own cooks out of the tests."""
    monkeypatch.setenv(person.FOLDER_VARIABLE, str(tmp_path))


def run(*more: str) -> int:
    return cli.main(["forecast", str(SUPPER), "--target", "90", "--piece", PIECE, *more])


def test_text(capsys: pytest.CaptureFixture[str]) -> None:
    assert run(*QUICK) == 0
    said = capsys.readouterr().out
    assert said.startswith("Ready about ")
    assert "then the probe shows 90 °C." in said.splitlines()[0]
    assert "Assumed from now on: hold as now" in said


def test_json_is_json(capsys: pytest.CaptureFixture[str]) -> None:
    assert run(*QUICK, "--json", "--change", "foil@now") == 0
    answer = json.loads(capsys.readouterr().out)
    assert answer["target"] == {"kind": "core", "value": 90.0, "name": None}
    ready = answer["ready_s"]
    assert ready["p5"] <= ready["p50"] <= ready["p95"]
    assert answer["changes"] == ["wrap in foil now"]
    assert len(answer["curve"]["time_s"]) == len(answer["curve"]["p50_c"])


def test_a_growing_file_is_followed_to_its_end(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    lines = SUPPER.read_text(encoding="utf-8").splitlines(keepends=True)
    growing = tmp_path / "growing.csv"
    growing.write_text("".join(lines[:500]), encoding="utf-8")
    code = cli.main(
        [
            *("forecast", str(growing), "--target", "90", "--piece", PIECE),
            *("--follow", "--idle", "0.5", "--every", "0.1", "--json", "--members", "20"),
        ]
    )
    assert code == 0
    answers = [json.loads(line) for line in capsys.readouterr().out.splitlines()]
    assert answers
    assert answers[-1]["ready_s"]["p50"] > answers[-1]["now_s"]


@pytest.mark.parametrize(
    ("text", "expected"), [("93", 93.0), ("93C", 93.0), ("200 °F", 93.3333), ("199.4f", 93.0)]
)
def test_temperatures(text: str, expected: float) -> None:
    assert read_temperature(text) == pytest.approx(expected, abs=1e-3)


def test_pieces() -> None:
    piece = piece_of("beef brisket flat, slab, 2.4 in, 40F")
    assert isinstance(piece.shape, cw.Slab)
    assert piece.shape.size == pytest.approx(0.06096)
    assert piece.start_c == pytest.approx(4.444, abs=1e-3)


def test_changes() -> None:
    assert change_of("foil@now").wrap == "foil"
    assert change_of("bare@2h").wrap is None
    later = change_of("250F@30min")
    assert (later.in_s, later.wrap) == (1800.0, KEEP)
    assert later.pit_c == pytest.approx(121.11, abs=0.01)
    assert change_of("paper@66C").at_core_c == 66.0


@pytest.mark.parametrize(
    ("options", "words"),
    [
        (("--change", "foil"), "WHAT@WHEN"),
        (("--change", "lead@now"), "not a temperature"),
        (("--change", "foil@soonish"), "not a temperature"),
        (("--until", "0.01"), "Wait a little"),
        (("--meat", "7"), "no meat probe 7"),
        (("--fire", "dragon"), "dragon"),
    ],
)
def test_errors_are_one_sentence(
    options: tuple[str, ...], words: str, capsys: pytest.CaptureFixture[str]
) -> None:
    assert run("--members", "20", *options) == cli.EXIT_ERROR
    said = capsys.readouterr().err
    assert words in said
    assert said.count("\n") == 1


@pytest.mark.parametrize(
    ("piece", "words"),
    [
        ("brisket", "four parts"),
        ("beef brisket flat, cube, 60 mm, 5 C", "no shape"),
        ("beef brisket flat, slab, thick, 5 C", "no size"),
        ("unicorn, slab, 60 mm, 5 C", "unicorn"),
    ],
)
def test_a_piece_that_cannot_be_is_refused(piece: str, words: str) -> None:
    with pytest.raises(cw.CorewardError, match=words):
        piece_of(piece)


def test_a_piece_that_was_weighed() -> None:
    piece = piece_of("boston butt, 11 lb, 4.5 in, bone, 40F")
    assert piece.mass_kg == pytest.approx(4.98952)
    assert piece.shape.thickness_m == pytest.approx(0.1143)
    assert piece.assumed.bone_share > 0.0
    plain = piece_of("pork shoulder, 5.2 kg, 5 C")
    assert plain == cw.piece("pork shoulder", 5.2, start_c=5.0)
    for text, words in (
        ("pork shoulder, many kg, 5 C", "no weight"),
        ("pork shoulder, 5 kg, 90 mm, 200 mm, 5 C", "one thickness"),
        ("pork shoulder, 50 kg, 5 C", "no weight that is sold"),
    ):
        with pytest.raises(cw.CorewardError, match=words):
            piece_of(text)
