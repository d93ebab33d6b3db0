"""Forty layouts: most are read unaided and right, and none is read wrongly in silence."""

from __future__ import annotations

import numpy as np
import pytest

from coreward.errors import LogError
from coreward.logs import ProbeLog, read_log
from support.log_zoo import PIT_C, ROWS, SECONDS, Animal, zoo
from support.second_zoo import second_zoo

pytestmark = pytest.mark.quick

ANIMALS = {animal.name: animal for animal in zoo()}
ASKED = {"tenths unsaid", "numbers alone", "no unit", "json lists", "words unknown"}
"""What no reader can know: the unit, tenths, which probe is the air, which word is time."""


def is_right(log: ProbeLog, animal: Animal) -> bool:
    """Tell whether times, roles and readings are those of the cook."""
    if log.time_s.size != ROWS or not np.allclose(log.time_s, SECONDS, rtol=0.0, atol=0.01):
        return False
    air = log.by_role("air")
    expected = [(air[0].temperature_c, PIT_C)] if air else []
    if bool(air) != animal.has_air or len(log.meats) != len(animal.meats):
        return False
    meats = [(c.temperature_c, m) for c, m in zip(log.meats, animal.meats, strict=True)]
    return all(
        np.allclose(got, true, rtol=0.0, atol=animal.within_c, equal_nan=True)
        for got, true in (*expected, *meats)
    )


def outcome(animal: Animal, folder) -> str:
    path = folder / animal.file
    path.write_bytes(animal.data)
    try:
        log = read_log(path)
    except LogError:
        return "asked"
    return "right" if is_right(log, animal) else "wrong"


def test_there_are_forty():
    assert len(ANIMALS) == 40
    assert len({animal.data for animal in ANIMALS.values()}) == 40


@pytest.mark.parametrize("name", ANIMALS)
def test_read_right_or_asked_about(name, tmp_path):
    """Before, 18 of the forty were read right, and two wrongly in silence."""
    assert outcome(ANIMALS[name], tmp_path) == ("asked" if name in ASKED else "right")


def test_two_thirds_are_read_unaided(tmp_path):
    found = [outcome(animal, tmp_path) for animal in ANIMALS.values()]
    assert found.count("wrong") == 0
    assert 3 * found.count("right") >= 2 * len(found)


def test_what_is_left_out_of_the_zoo(tmp_path):
    """Set points, fan and battery are listed, and none may be taken for meat."""
    animal = ANIMALS["set points and a fan"]
    path = tmp_path / animal.file
    path.write_bytes(animal.data)
    log = read_log(path)
    assert [(one.name, one.meat_like, one.temperature_c.size) for one in log.left_out] == [
        ("pit set_c", False, ROWS),
        ("fan %", False, 0),
        ("flat target_c", False, ROWS),
        ("battery V", False, ROWS),
    ]
    animal = ANIMALS["32 °F for no probe"]
    path.write_bytes(animal.data)
    assert [one.name for one in read_log(path).left_out] == ["third_f"]


# -- forty more, thought out after the reader was settled on the first ---------------------

MORE = {animal.name: animal for animal in second_zoo()}
MORE_ASKED = {
    "t alone",
    "tenths of °F unsaid",
    "hundredths unsaid",
    "long with numbers",
    "restart elapsed",
    "restart header",
    "a number sign for a header",
    "kelvin",
    "the unit in a title",
    "minutes and seconds",
    "fractions of a day",
    "cook and food",
}
WARNED = "swapped names"
"""Headed the wrong way round, in one unit: read as headed, and not in silence."""


def test_there_are_forty_more():
    assert len(MORE) == 40
    assert not {animal.data for animal in MORE.values()} & {a.data for a in ANIMALS.values()}


@pytest.mark.parametrize("name", sorted(set(MORE) - {WARNED}))
def test_more_are_read_right_or_asked_about(name, tmp_path):
    """Before, 23 of these forty were read right: no bar, no "degC" behind one, no "0h05m"."""
    animal = MORE[name]
    path = tmp_path / animal.file
    path.write_bytes(animal.data)
    try:
        log = read_log(path)
    except LogError:
        assert name in MORE_ASKED
        return
    assert name not in MORE_ASKED
    np.testing.assert_allclose(log.time_s, SECONDS, rtol=0.0, atol=60.0)
    assert np.allclose(log.by_role("air")[0].temperature_c, PIT_C, rtol=0.0, atol=0.06)
    for channel, true in zip(log.meats, animal.meats, strict=True):
        known = channel.plugged
        assert known.sum() >= ROWS - 25  # 0 and 32 °F of no probe are no readings
        assert np.allclose(channel.temperature_c[known], true[known], rtol=0.0, atol=0.06)


def test_what_is_headed_the_wrong_way_round_is_warned_of(tmp_path):
    path = tmp_path / "log.csv"
    path.write_bytes(MORE[WARNED].data)
    assert any("wet meat stays below boiling" in str(one) for one in read_log(path).warnings)


def test_two_thirds_of_the_others_are_read_unaided():
    assert 3 * (len(MORE) - len(MORE_ASKED) - 1) >= 2 * len(MORE)
