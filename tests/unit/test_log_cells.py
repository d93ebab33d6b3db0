"""A jump between two units stands between calm readings, up or down."""

from __future__ import annotations

import numpy as np
import pytest

from coreward import tables
from coreward.logs.cells import _calm_around as calm_around
from coreward.logs.cells import _CellReader as CellReader
from coreward.logs.cells import _unit_jumps as unit_jumps
from coreward.logs.cells import _without_zeros as without_zeros
from coreward.logs.cells import check_unit_jumps, read_column
from coreward.logs.headings import _check_header as check_header
from coreward.logs.long_rows import _changes as changes
from coreward.logs.long_rows import _keys as keys_of
from coreward.logs.long_rows import _name as name_of
from coreward.logs.meat_like import is_meat_like
from coreward.logs.parts import (
    Column,
    LogReadError,
    Reading,
    Table,
    metadata_of,
    short,
    time_cell,
)

LIMITS = tables.load("log_reading")
CALM = LIMITS["unit_jump_calm"]
ROWS = int(LIMITS["unit_jump_rows"])


@pytest.mark.parametrize("role", ["air", "meat"])
@pytest.mark.parametrize(
    ("before", "calm"),
    [(0.0, True), (CALM, True), (-CALM, True), (CALM + 1.0, False), (-CALM - 1.0, False)],
)
def test_the_reading_before_a_jump_is_calm_either_way(role, before, calm) -> None:
    """From 60 to 140, and as far before it as is calm, or a kelvin more."""
    values = np.array([60.0 - before, 60.0, *[140.0] * (ROWS + 1)])
    assert calm_around(values, 1, role, LIMITS) is calm
    assert calm_around(values[1:], 0, role, LIMITS) is True


def test_the_air_stays_at_the_new_level_and_meat_may_come_back() -> None:
    back = np.array([60.0, 60.0, 140.0, 60.0, 60.0, 60.0, 60.0, 60.0])
    assert calm_around(back, 1, "meat", LIMITS)
    assert not calm_around(back, 1, "air", LIMITS)
    assert not calm_around(np.array([60.0, 60.0, 140.0, 100.0]), 1, "meat", LIMITS)
    assert calm_around(np.array([60.0, 60.0, 140.0]), 1, "meat", LIMITS)
    short = np.array([60.0, 60.0, *[140.0] * ROWS])
    assert not calm_around(short, 1, "air", LIMITS)


# -- one cell ------------------------------------------------------------------------------


def column(role: str = "meat", unit: str = "C", scale: float = 1.0) -> Column:
    return Column(0, "core", role, unit, scale)


@pytest.mark.parametrize(
    ("cell", "role", "unit", "scale", "value"),
    [
        ("71.5", "meat", "C", 1.0, 71.5),
        ("71,5 °C", "meat", "C", 1.0, 71.5),
        ("160 f", "meat", "F", 1.0, 160.0),
        # Meat from -40 to 150 °C, air to 450 °C; what is just there still counts.
        ("150", "meat", "C", 1.0, 150.0),
        ("-40", "meat", "C", 1.0, -40.0),
        ("302", "meat", "F", 1.0, 302.0),
        ("-40", "meat", "F", 1.0, -40.0),
        ("450", "air", "C", 1.0, 450.0),
        ("842 °F", "air", "F", 1.0, 842.0),
        ("715", "meat", "C", 0.1, 71.5),
        ("1500", "meat", "C", 0.1, 150.0),
    ],
)
def test_a_cell_is_a_reading_up_to_the_range_of_its_probe(cell, role, unit, scale, value):
    assert CellReader(column(role, unit, scale), LIMITS).read(cell) == (value, None)


@pytest.mark.parametrize(
    ("cell", "role", "unit", "scale", "kind", "reason"),
    [
        ("150.1", "meat", "C", 1.0, "absurd", "outside -40 to 150 °C"),
        ("-40.1", "meat", "C", 1.0, "absurd", "outside -40 to 150 °C"),
        ("302.1", "meat", "F", 1.0, "absurd", "outside -40 to 302 °F"),
        ("450.1", "ambient", "C", 1.0, "absurd", "outside -40 to 450 °C"),
        ("1501", "meat", "C", 0.1, "absurd", "outside -40 to 150 °C"),
        ("  ", "meat", "C", 1.0, "no reading", "the cell is empty"),
        ("7_1", "meat", "C", 1.0, "not a number", "the cell holds no temperature"),
        ("ok", "meat", "C", 1.0, "not a number", "the cell holds no temperature"),
        ("Open ", "meat", "C", 1.0, "unplugged",
         "open circuit: the probe is unplugged or its wire broken"),
        ("71.5 F", "meat", "C", 1.0, "mixed units",
         "The cell '71.5 F' is in °F, but the column is in °C: mixed units."),
        ("160 °C", "meat", "F", 1.0, "mixed units",
         "The cell '160 °C' is in °C, but the column is in °F: mixed units."),
    ],
)  # fmt: skip
def test_a_cell_that_gives_no_reading_says_why(cell, role, unit, scale, kind, reason) -> None:
    value, fault = CellReader(column(role, unit, scale), LIMITS).read(cell)
    assert np.isnan(value)
    assert (fault.kind, fault.reason) == (kind, reason)


@pytest.mark.parametrize("cell", ["-127", "999.9", "-127.0 °C", "32767"])
def test_a_number_that_stands_for_no_probe_is_no_reading(cell: str) -> None:
    """Within the range of a pit too; in tenths it is told before it is made small."""
    for one in (column("meat"), column("air"), column("meat", scale=0.1)):
        value, fault = CellReader(one, LIMITS).read(cell)
        assert np.isnan(value)
        assert fault.kind == "unplugged"


# -- a column ------------------------------------------------------------------------------


def read(cells: list[str], one: Column | None = None, own: bool = False):
    reading = Reading("log.csv", LIMITS)
    count = len(cells)
    table = Table(("core",), 1, [[cell] for cell in cells], np.arange(2, count + 2), False)
    numbers = np.arange(2, count + 2)
    values = read_column(one or column(), table, np.arange(count), numbers, own, reading)
    return values, reading


def test_runs_of_one_fault_are_listed_once_with_their_rows() -> None:
    values, reading = read(["60", "", "", "61", "", "err", "62", "63"])
    assert values.tolist()[:1] + values.tolist()[3:4] == [60.0, 61.0]
    assert np.flatnonzero(np.isnan(values)).tolist() == [1, 2, 4, 5]
    assert [(r.row, r.last_row, r.kind) for r in reading.repairs] == [
        (3, 4, "no reading"),
        (6, 6, "no reading"),
        (7, 7, "unplugged"),
    ]
    # In our own format an empty cell is what it is.
    _, own = read(["60", "", "", "61", "", "err", "62", "63"], own=True)
    assert [r.kind for r in own.repairs] == ["unplugged"]


def test_a_column_of_which_more_than_half_is_absurd_is_refused() -> None:
    half = ["60", "61", "700", "701"]
    assert np.isnan(read(half)[0]).sum() == 2
    with pytest.raises(LogReadError) as refused:
        read([*half, "702"])
    assert refused.value.row == 4
    assert "More than half of its cells are no temperatures in °C, for example '700'." in str(
        refused.value
    )
    # What no probe wrote is not absurd.
    assert np.isfinite(read(["60", "err", "", "open", "61"])[0]).sum() == 2


def test_a_cell_in_another_unit_is_refused_with_its_row() -> None:
    with pytest.raises(LogReadError) as refused:
        read(["60", "61", "142 F", "62"])
    assert (refused.value.row, refused.value.column) == (4, "core")


@pytest.mark.parametrize(
    ("values", "unit", "gone"),
    [
        # Beside a zero, 15 K are too far for meat or air; a little less may be.
        ([15.0, 0.0, 15.0], "C", [1]),
        ([14.9, 0.0, 14.9], "C", [1][:0]),
        ([14.9, 0.0, 15.0], "C", [1]),
        ([27.0, 0.0, 27.0], "F", [1]),
        ([26.9, 0.0, 26.9], "F", []),
        ([32.0, 59.0, 59.0], "F", [0]),
        # A run of five rows is no slip of the tongue: 3 K are enough.
        ([3.0, *[0.0] * 5, 2.9], "C", [1, 2, 3, 4, 5]),
        ([2.9, *[0.0] * 5, 2.9], "C", []),
        ([3.0, *[0.0] * 4, 3.0], "C", []),
        # Nothing but zero is never a reading, one zero alone may be.
        ([0.0, 0.0], "C", [0, 1]),
        ([-17.8, np.nan, -17.8], "C", [0, 2]),
        ([0.0, np.nan], "C", []),
        # The last rows have neighbours on one side.
        ([60.0, 60.0, 0.0], "C", [2]),
    ],
)
def test_zeros_far_from_what_stands_beside_them_are_no_readings(values, unit, gone) -> None:
    reading = Reading("log.csv", LIMITS)
    given = np.array(values)
    numbers = np.arange(10, 10 + given.size)
    found = without_zeros(given, column("meat", unit), numbers, reading)
    lost = np.flatnonzero(np.isnan(found) & np.isfinite(given)).tolist()
    assert lost == gone
    if gone:
        assert (reading.repairs[0].row, reading.repairs[-1].last_row) == (
            10 + gone[0],
            10 + gone[-1],
        )
    assert bool(reading.repairs) is bool(gone)
    # The yard may be at zero.
    kept = without_zeros(given, column("ambient", unit), numbers, reading)
    np.testing.assert_array_equal(kept, given)


# -- units that change ---------------------------------------------------------------------


@pytest.mark.parametrize(
    ("before", "after", "mark"),
    [
        (60.0, 140.0, 1),
        (140.0, 60.0, -1),
        (60.0, 141.0, 1),
        (60.0, 141.1, 0),
        (60.0, 139.0, 1),
        (60.0, 138.9, 0),
        (141.7, 60.0, -1),
        (142.0, 60.0, 0),
        # A step of less than 15 tells nothing: -22 °C are -7.6 °F.
        (-22.0, -7.6, 0),
        (-21.0, -5.8, 1),
        (np.nan, 140.0, 0),
    ],
)
def test_a_step_between_the_scales_is_told_to_a_degree(before, after, mark) -> None:
    assert unit_jumps(np.array([before, after]), LIMITS).tolist() == [mark]


def jumping(to: float = 140.0, rows: int = 6) -> np.ndarray:
    return np.array([60.0] * 6 + [to] * rows)


def test_a_jump_between_the_scales_is_asked_about_with_its_row() -> None:
    numbers = np.arange(2, 14)
    meat, other = Column(0, "core", "meat", "C"), Column(1, "other", "meat", "C")
    reading = Reading("log.csv", LIMITS)
    with pytest.raises(LogReadError) as refused:
        check_unit_jumps([(meat, jumping())], numbers, False, reading)
    assert (refused.value.row, refused.value.column) == (8, "core")
    assert "jump from 60 to 140, just as from °C to °F: mixed units." in str(refused.value)
    assert "Likewise" not in str(refused.value)
    both = [(meat, jumping()), (other, jumping()[::-1].copy())]
    with pytest.raises(LogReadError, match="Likewise 'other' row 8"):
        check_unit_jumps(both, numbers, False, reading)
    check_unit_jumps([(meat, jumping())], numbers, True, reading)
    (warning,) = reading.warnings
    assert warning == (
        "Row 8, column 'core': The readings jump from 60 to 140, just as from °C to °F: mixed "
        "units. Taken as real, as stated."
    )
    # Neither a jump of another size nor air that does not stay there.
    check_unit_jumps([(meat, jumping(120.0))], numbers, False, reading)
    air = np.array([60.0] * 6 + [140.0, 120.0, 100.0, 80.0, 70.0, 60.0])
    check_unit_jumps([(Column(0, "pit", "air", "C"), air)], numbers, False, reading)
    check_unit_jumps([], numbers, False, reading)


# -- columns that move as meat does --------------------------------------------------------

WARMING = np.linspace(5.0, 95.0, 200)


@pytest.mark.parametrize(
    ("values", "meat"),
    [
        (WARMING, True),
        (np.append(WARMING, np.nan), True),
        ([60.0, 60.0], False),
        ([60.0], False),
        ([60.0, 61.0], True),
        # Nine in ten between a freezer and boiling.
        (np.linspace(-25.0, 105.0, 50), True),
        ([*np.linspace(60.0, 61.0, 9), 105.1], True),
        ([*np.linspace(60.0, 61.0, 8), 105.1, -25.1], False),
        # Set by a hand: hardly ever, and by 2 K or more.
        ([60.0] * 50 + [62.0] * 50, False),
        ([60.0] * 50 + [61.9] * 50, True),
        ([60.0] * 21 + [62.0] * 19 + [64.0], False),
        ([60.0] * 21 + [62.0] * 18 + [64.0, 66.0], True),
        # Up and down three times its span, and 0.6 K for each reading.
        (60.0 + 20.0 * (np.arange(200) // 50 % 2) + 0.5 * (np.arange(200) % 2), True),
        (60.0 + 20.0 * (np.arange(200) % 2), False),
    ],
)
def test_a_column_moves_as_meat_does_or_not(values, meat: bool) -> None:
    assert is_meat_like(np.array(values, dtype=float)) is meat


@pytest.mark.parametrize(("step_k", "meat"), [(0.62, True), (0.63, False)])
def test_a_probe_may_wander_by_its_noise(step_k: float, meat: bool) -> None:
    """A hundred readings to and fro: 99 steps are at most three spans and 100 of 0.6 K."""
    assert is_meat_like(60.0 + step_k * (np.arange(100) % 2)) is meat


# -- rows of one probe each ----------------------------------------------------------------


def table_of(cells: list[str]) -> Table:
    return Table(("time", "probe"), 1, [["0", cell] for cell in cells], np.arange(99), False)


@pytest.mark.parametrize(
    ("cells", "keys"),
    [
        (["1", "2", "1", " 2 "], ["1", "2"]),
        (["1", "2", "3", "1"], []),  # more than half of the rows differ
        (["0", "99"] * 2, ["0", "99"]),
        (["0", "100"] * 2, []),
        (["1.5", "2"] * 2, []),
        (["pit", "core", ""] * 2, ["pit", "core"]),
        (["x" * 40, "y"] * 2, ["x" * 40, "y"]),
        (["x" * 41, "y"] * 2, []),
        ([str(n) for n in range(16)] * 2, [str(n) for n in range(16)]),
        ([str(n) for n in range(18)] * 2, []),
        ([str(n) for n in range(17)] * 2, [str(n) for n in range(17)]),
    ],
)
def test_a_column_names_probes_where_few_cells_repeat(cells, keys) -> None:
    assert keys_of(table_of(cells), 1) == keys


def test_names_of_probes_say_their_unit_once() -> None:
    assert name_of("core", "probe", "C") == "core (°C)"
    assert name_of("core °F", "probe", "F") == "core °F"
    assert name_of("2", "probe", "F") == "probe 2 (°F)"
    assert name_of("2", "probe", None) == "probe 2"
    assert changes(["a", "a", "b", "a"]) == 2


def test_small_texts_of_a_file() -> None:
    assert short("x" * 40) == f"'{'x' * 40}'"
    assert short("x" * 41) == f"'{'x' * 39}…'"
    assert short("a\x07b") == "'a?b'"
    assert metadata_of(
        ["cook: Ann", " pit : kettle : blue", "plain", ": no", f"{'k' * 61}: v"]
    ) == (
        ("cook", "Ann"),
        ("pit", "kettle : blue"),
    )
    assert time_cell([" 2026-10-24", "18:30 "], [0, 1]) == "2026-10-24 18:30"
    assert time_cell(["2026-10-24"], [0, 1]) == ""


@pytest.mark.parametrize(
    ("header", "words"),
    [
        (("time",), "It does not look like a table of columns."),
        (
            tuple(f"c{n}" for n in range(65)),
            "65 columns are more than the 64 that can be read.",
        ),
        (("time", "Core", "core"), "Columns 2 and 3 have the same heading."),
        (("time", "", ""), None),
        (tuple(f"c{n}" for n in range(64)), None),
    ],
)
def test_headings_are_those_of_a_table(header, words: str | None) -> None:
    table = Table(header, 3, [], np.arange(0), False)
    if words is None:
        check_header(table, {}, Reading("log.csv", LIMITS))
        return
    with pytest.raises(LogReadError, match=words) as refused:
        check_header(table, {}, Reading("log.csv", LIMITS))
    assert refused.value.row == 3
