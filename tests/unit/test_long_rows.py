"""Which columns of a long table tell the time."""

from __future__ import annotations

from array import array

import pytest

from coreward.logs.long_rows import _time_of as time_of
from coreward.logs.parts import Table


@pytest.mark.parametrize(
    ("header", "times", "stated", "found"),
    [
        (("date", "clock", "elapsed", "value"), [0, 1, 2], {}, [0, 1]),
        (("clock", "date", "value"), [0, 1], {}, [1, 0]),
        (("clock", "elapsed", "value"), [0, 1], {}, [0]),
        (("date", "day", "value"), [0], {}, [0]),
        (("a", "b", "value"), [0, 1], {"b": "date"}, [1, 0]),
        (("a", "b", "value"), [0, 1], {"a": "date", "b": "date"}, [0]),
        (("a", "b", "clock"), [0, 1, 2], {"a": "date", "b": "date"}, [0, 2]),
    ],
)
def test_a_date_and_one_time_tell_it(header, times, stated, found) -> None:
    table = Table(header, 1, [], array("i"), False)
    assert time_of(table, times, stated) == found
