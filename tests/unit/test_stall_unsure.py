"""What sets the length of a standstill: one number at a time, to the ends of its range."""

from __future__ import annotations

import pytest

from coreward import tables
from coreward.questions.stall.unsure import Turned, how_unsure, unsure_text


@pytest.fixture(scope="module")
def rows() -> tuple[Turned, ...]:
    return how_unsure()


def test_every_number_goes_both_ways(rows: tuple[Turned, ...]) -> None:
    assert rows[0].name == "as it is"
    names = [row.name for row in rows[1:]]
    assert names == sorted(names, key=names.index)
    assert all(names.count(name) == 2 for name in names)
    low, high = tables.load("ventilation", "tight").record("fresh_air_nearly_closed").range
    assert [str(row.value) for row in rows[-2:]] == [
        f"{low:.1f} kg an hour",
        f"{high:.1f} kg an hour",
    ]


def test_the_damp_sets_the_height_and_the_stock_the_length(rows: tuple[Turned, ...]) -> None:
    usual = rows[0].stall
    by_name: dict[str, list[Turned]] = {}
    for row in rows[1:]:
        by_name.setdefault(row.name, []).append(row)
    little, much = (row.stall for row in by_name["fresh air"])
    assert little.level
    assert not much.level
    assert little.core_begin_c > usual.core_end_c
    assert usual.core_begin_c > much.core_begin_c
    thin, thick = (row.stall for row in by_name["thickness"])
    assert thin.duration_s < usual.duration_s < thick.duration_s
    # Meat that lets water through less freely lets it go for longer, and at last too slowly
    # to keep the surface wet: then it is the supply that holds it, and it climbs.
    tight, loose = (row.stall for row in by_name["water flows through the meat"])
    assert tight.duration_s > usual.duration_s > loose.duration_s
    assert not tight.level
    assert loose.level
    for name in ("the drying surface draws bound water", "water that stays on the surface"):
        for row in by_name[name]:
            middle = 0.5 * (row.stall.core_begin_c + row.stall.core_end_c)
            assert middle == pytest.approx(68.0, abs=1.0)


def test_each_is_one_line_in_the_readers_units(rows: tuple[Turned, ...]) -> None:
    lines = unsure_text(rows, "F").splitlines()
    assert len(lines) == len(rows)
    assert lines[0].startswith("as it is: stands still for 2 h")
    for word in ("°C", "kg an", "mm"):
        assert word not in "\n".join(lines)
    assert Turned("wall", "brick", None).sentence.shown("C") == "wall brick: no stall."
    assert unsure_text(rows) == unsure_text(rows, "C") != unsure_text(rows, "F")
