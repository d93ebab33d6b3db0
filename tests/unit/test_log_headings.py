"""Why a column is taken for meat: its heading, its unit, its readings."""

from __future__ import annotations

from array import array

import pytest

from coreward.logs.headings import _proposal as proposal
from coreward.logs.parts import Table

MEAT = [4.0 + 1.5 * n for n in range(40)]
SET = [60.0] * 20 + [70.0] * 20
BY_CURVE = "because its readings move as those of meat do"


@pytest.mark.parametrize(
    ("name", "values", "role", "why"),
    [
        # A word for meat and readings that move as it does.
        ("brisket point fan side", MEAT, "meat", f"by its heading, and {BY_CURVE}"),
        # The word alone is not enough, where it also names a fan.
        ("brisket point fan side", SET, "", ""),
        # No word for meat: its unit and its readings say so.
        ("fan side °C", MEAT, "meat", f"by its unit, and {BY_CURVE}"),
        ("fan side", MEAT, "", ""),
        ("fan side °C", SET, "", ""),
        # Air by its heading, and no word for meat beside it.
        ("pit °C", MEAT, "air", "by its heading"),
        ("turkey oven side", MEAT, "meat", f"by its heading, and {BY_CURVE}"),
        ("turkey oven side", SET, "air", "by its heading"),
    ],
)
def test_why_a_column_is_taken_for_what_it_is(name, values, role, why) -> None:
    rows = [[str(60 * n), f"{value:.1f}"] for n, value in enumerate(values)]
    table = Table(("time_s", name), 1, rows, array("i", range(2, 42)), False)
    found = proposal(table, 1, name, None)
    assert (found.role, found.why) == (role, why)
