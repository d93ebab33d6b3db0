"""The person's own cooks: one open file each, nothing lost, nothing kept for many."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from coreward import person
from coreward.errors import InputError
from coreward.experience import own_cooks
from coreward.experience.own_cooks import OwnCook, cook_text, keep, read_cook, shelf
from coreward.logs import read_log
from support.own_shelf import past_cook

pytestmark = pytest.mark.quick


@pytest.fixture
def folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.setenv(person.FOLDER_VARIABLE, str(tmp_path / "own"))
    for name in (person.SERVES, person.LAB_PAGE, person.APP_PAGE):
        monkeypatch.delenv(name, raising=False)
    return tmp_path / "own" / "cooks"


def cook(number: int = 1, **more: float) -> OwnCook:
    day = f"2026-05-{number:02d}T08:00:00"
    return OwnCook(past_cook(number, **more), day, ("0 min: meat on. It began.",))


def test_what_is_kept_is_found_again(folder: Path) -> None:
    gap = past_cook(1, 0.1)
    core = gap.core_c.copy()
    core[4:7] = np.nan
    own = OwnCook(
        replace(gap, core_c=core, wrap="paper", wrap_s=9000.0, mass_kg=4.5), "2026-05-01T08:00"
    )
    kept, file = keep(own)
    assert file == folder / "cook 01.csv"
    (found,) = own_cooks.own_cooks()
    for name in ("cut", "pit", "target_c", "finish_s", "wrap", "wrap_s", "mass_kg", "start_c"):
        assert getattr(found, name) == getattr(own.cook, name)
    assert found.name == "cook 01"
    assert found.origin == "own"
    np.testing.assert_array_equal(np.isnan(found.core_c), np.isnan(core))
    np.testing.assert_allclose(found.core_c, core, atol=0.0051)
    np.testing.assert_array_equal(found.time_s, own.cook.time_s)
    assert kept.cook.name == "cook 01"


def test_the_file_is_a_log_that_anybody_reads(folder: Path) -> None:
    _, file = keep(cook())
    log = read_log(file)
    assert [channel.role for channel in log.channels] == ["air", "meat"]
    np.testing.assert_allclose(log.meats[0].temperature_c[0], 5.0)
    assert '# pit: "drum"' in file.read_text(encoding="utf-8")


def test_they_come_in_the_order_in_which_they_were_cooked(folder: Path) -> None:
    for number in (3, 1, 2):
        keep(cook(number, pace=0.01 * number))
    assert [one.name for one in own_cooks.own_cooks()] == ["cook 01", "cook 02", "cook 03"]


def test_the_same_curve_is_not_kept_twice_and_a_name_is_never_taken_over(folder: Path) -> None:
    keep(cook())
    with pytest.raises(InputError, match="kept already, as 'cook 01'"):
        keep(cook())
    other = cook(pace=0.2)
    kept, file = keep(other)
    assert kept.cook.name == "cook 01 (2)"
    assert file.name == "cook 01 (2).csv"
    assert len(own_cooks.own_cooks()) == 2


def test_a_name_that_no_disk_takes_becomes_one(folder: Path) -> None:
    kept, file = keep(replace(cook(), cook=replace(cook().cook, name="../a/b: *c*\n")))
    assert file.parent == folder
    assert kept.cook.name == "a b c"


@pytest.mark.parametrize(
    ("was", "becomes", "why"),
    [
        ("# coreward cook, format 1", "# something else", "first line"),
        ('"pork shoulder"', '"dragon"', "no cut is called 'dragon'"),
        ("target_c: 93.0", "target_c: NaN", "target_c is nan"),
        ("# wrap_s: null", "# wrap_s: 400.0", "wrap is None at 400.0 s"),
        ("time_s,air_c,core_c", "time_s,core_c", "columns"),
        ("\n600,", "\n650,", "do not begin at 0 and go on evenly"),
        ("# pit: ", "# pit ", "is not a name and a value"),
        ("\n600,", "\n600", "cut short"),
        ("\n600,", "\nsix,", "could not convert"),
    ],
)
def test_a_damaged_file_is_told_by_name_passed_over_and_left(
    folder: Path, was: str, becomes: str, why: str
) -> None:
    keep(cook(1))
    _, file = keep(cook(2, pace=0.1))
    text = file.read_text(encoding="utf-8")
    assert was in text
    file.write_text(text.replace(was, becomes, 1), encoding="utf-8")
    found = shelf()
    assert [one.name for one in found.cooks] == ["cook 01"]
    ((name, told),) = found.damaged
    assert name == "cook 02.csv"
    assert why in told
    assert "--forget 'cook 02'" in told
    assert file.exists()
    assert len(own_cooks.own_cooks()) == 1


def test_bytes_that_are_no_text_are_told_of(folder: Path) -> None:
    keep(cook())
    (folder / "broken.csv").write_bytes(b"\xff\xfe\x00")
    assert [name for name, _ in shelf().damaged] == ["broken.csv"]


def test_one_is_forgotten_by_its_name_alone(folder: Path) -> None:
    keep(cook(1))
    keep(cook(2, pace=0.1))
    (folder / "bad.csv").write_text("nothing")
    with pytest.raises(InputError, match=r"No cook of yours is called 'cook'; there are 'bad'"):
        own_cooks.forget("cook")
    own_cooks.forget("Cook 01")
    own_cooks.forget("bad.csv")
    assert sorted(file.name for file in folder.iterdir()) == ["cook 02.csv"]


def test_an_export_is_a_copy_and_overwrites_nothing(folder: Path, tmp_path: Path) -> None:
    with pytest.raises(InputError, match="nothing to export"):
        own_cooks.export(tmp_path / "out")
    _, file = keep(cook(1))
    (folder / "bad.csv").write_text("nothing")
    written = own_cooks.export(tmp_path / "out")
    assert sorted(one.name for one in written) == ["bad.csv", "cook 01.csv"]
    assert (tmp_path / "out" / "cook 01.csv").read_bytes() == file.read_bytes()
    own_cooks.export(tmp_path / "out")  # the same again does no harm
    (tmp_path / "out" / "cook 01.csv").write_text("mine")
    with pytest.raises(InputError, match="holds something else"):
        own_cooks.export(tmp_path / "out")
    assert (tmp_path / "out" / "cook 01.csv").read_text() == "mine"


@pytest.mark.parametrize("served", ["many", "visitor"])
def test_nothing_is_kept_or_shown_where_several_share_a_server(
    folder: Path, monkeypatch: pytest.MonkeyPatch, served: str
) -> None:
    keep(cook())
    monkeypatch.setenv(person.SERVES, served)
    monkeypatch.setenv(person.APP_PAGE, "/page/my-log")
    assert own_cooks.own_cooks() == ()
    for act in (own_cooks.place, lambda: keep(cook(2, pace=0.3)), shelf):
        with pytest.raises(InputError, match="Several people share this server"):
            act()
    assert len(list(folder.iterdir())) == 1


def test_a_folder_that_cannot_be_made_is_said(
    folder: Path, monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    (tmp_path / "file").write_text("")
    monkeypatch.setenv(person.FOLDER_VARIABLE, str(tmp_path / "file"))
    with pytest.raises(InputError, match="cannot be made"):
        keep(cook())
    assert own_cooks.own_cooks() == ()


def test_a_file_of_more_than_any_cook_is_not_read(folder: Path) -> None:
    _, file = keep(cook())
    file.write_text(cook_text(cook()) + "\n" * 2_000_001)
    with pytest.raises(InputError, match="more than 2000000 bytes"):
        read_cook(file)
