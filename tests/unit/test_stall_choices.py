"""What can be done about a stall: the same cook up to the moment, then each its own."""

from __future__ import annotations

import numpy as np
import pytest

import coreward as cw
from coreward.cook.result import Result
from coreward.errors import InputError
from coreward.questions.stall import usual
from coreward.questions.stall.choices import (
    Choice,
    Choices,
    _each,
    _shifted,
    _times,
    table_rows,
    what_to_do,
)
from coreward.reports.document import Table
from coreward.reports.things import document_of
from coreward.words import shown

HOUR = 3600.0


def cooked(**pit: float) -> Result:
    return cw.simulate(usual.piece(), cw.Stage(usual.pit(**pit), duration_s=9 * HOUR))


@pytest.fixture(scope="module")
def tight() -> Result:
    return cooked(water_kg_h=0.1)


@pytest.fixture(scope="module")
def choices(tight: Result) -> Choices:
    return what_to_do(tight)


def test_all_choices_of_a_chamber_with_a_pan(choices: Choices) -> None:
    assert [row.name for row in choices.rows] == [
        "wait", "more air", "less air", "pan out", "hotter", "foil", "paper", "foil later",
    ]  # fmt: skip


def test_each_changes_what_it_says_of_the_chamber(choices: Choices) -> None:
    """A tenth of a kilogram from the pan, 1.5 kg of fresh air, 107 °C: each by itself."""
    around = {row.name: row.result.stages[1].surroundings for row in choices.rows}
    plain = (0.1, 1.5, 107.0)
    changed = {
        "more air": (0.1, 4.5, 107.0),
        "less air": (0.1, 0.5, 107.0),
        "pan out": (0.0, 1.5, 107.0),
        "hotter": (0.1, 1.5, 122.0),
    }
    for name, one in around.items():
        found = (one.water_kg_h, one.fresh_air_kg_h, one.air_c)
        assert found == pytest.approx(changed.get(name, plain))


def test_they_begin_where_the_stall_does(tight: Result, choices: Choices) -> None:
    stall = max(cw.explain(tight).stalls, key=lambda each: each.duration_s)
    assert choices.at_s == stall.begin_s
    for row in choices.rows:
        before = tight.time_s < choices.at_s
        core = np.interp(tight.time_s[before], row.result.time_s, row.result.core_c)
        # Fewer nodes; otherwise the same cook.
        assert core == pytest.approx(tight.core_c[before], abs=0.3)
        assert row.result.core_c[-1] == pytest.approx(90.0, abs=0.01)
        assert row.takes_s == pytest.approx(row.result.duration_s - choices.at_s)
        assert row.loss == row.result.mass_loss_fraction[-1]
        assert row.crust == row.result.surface_water_activity[-1]


def test_foil_is_quickest_and_the_vents_hardly_matter(choices: Choices) -> None:
    takes = {row.name: row.takes_s for row in choices.rows}
    assert min(takes, key=lambda name: takes[name]) == "foil"
    assert takes["foil"] < takes["foil later"] < takes["wait"]
    assert takes["hotter"] < 0.75 * takes["wait"]
    # Drier air holds the core lower but leaves the water to be boiled off the same.
    assert takes["more air"] == pytest.approx(takes["wait"], rel=0.05)
    assert takes["less air"] < takes["wait"]
    assert choices.row("foil").loss < choices.row("wait").loss
    assert choices.row("foil").crust > 0.95 > choices.row("wait").crust
    dew = {row.name: float(row.result.dew_point_c.max()) for row in choices.rows}
    assert dew["more air"] <= dew["wait"] < dew["less air"]


def test_it_says_so_with_its_numbers(choices: Choices) -> None:
    page = document_of(choices)
    text, customary = page.text("C"), page.text("F")
    assert "quickest here is foil" in text
    assert "three times the fresh air" in text
    assert f"{100.0 * choices.row('paper').loss:.0f} %" in text
    assert "°C" not in customary
    # Below stand the names of authors, with their initials.
    said, sources, _ = customary.partition("\nSources\n")
    assert sources
    assert " K " not in said
    data = page.data()
    assert data["choices"][0]["takes_s"] == choices.rows[0].takes_s
    # Whole cooks are no part of the data of a choice.
    assert "result" not in data["choices"][0]
    with pytest.raises(InputError, match=r"no choice 'oil'.*wait, more air"):
        choices.row("oil")


def test_its_report_has_a_row_for_each(choices: Choices) -> None:
    page = document_of(choices)
    tables = [block for block in page.blocks if isinstance(block, Table)]
    (table,) = (one for one in tables if shown(one.title, "C").startswith("What can be"))
    assert len(table.rows) == len(choices.rows)
    assert shown(page.lead, "C").startswith("From ")
    text = page.text("C")
    for words in ("air 107 °C", "dew point outside 8 °C", "fresh air 1.5 kg an hour", "0.1 kg"):
        assert words in text
    customary = page.text("F")
    assert "fresh air 3.3 lb an hour" in customary
    assert "°C" not in customary


def test_the_times_of_a_series_are_moved() -> None:
    """A pit that is made hotter by a series goes on as it would have."""
    air = ([0.0, 4 * HOUR, 5 * HOUR], [107.0, 107.0, 125.0])
    result = cw.simulate(usual.piece(), cw.Stage(usual.pit(air), duration_s=9 * HOUR))
    found = what_to_do(result, 4.5 * HOUR, 80.0)
    wait, hotter = found.row("wait").result, found.row("hotter").result
    for r, more in ((wait, 0.0), (hotter, 15.0)):
        at = [4.75 * HOUR, 5.5 * HOUR]
        assert np.interp(at, r.time_s, r.environment[:, 0]) == pytest.approx(
            [120.5 + more, 125.0 + more], abs=0.2
        )
    assert wait.duration_s == pytest.approx(result.time_at_core(80.0), abs=0.1 * HOUR)


def test_given_damp_is_made_drier_and_damper() -> None:
    pit = cw.Surroundings(107.0, dew_point_c=5.0, heat_transfer=8.0)
    result = cw.simulate(usual.piece(), cw.Stage(pit, duration_s=9 * HOUR))
    rows = {row.name: row for row in what_to_do(result).rows}
    assert set(rows) == {
        "wait",
        "more air",
        "less air",
        "hotter",
        "foil",
        "paper",
        "foil later",
    }
    assert rows["less air"].result.dew_point_c[-1] == pytest.approx(15.0, abs=0.01)
    assert rows["more air"].result.dew_point_c[-1] == pytest.approx(0.0, abs=0.01)


def test_a_wrapped_piece_is_not_wrapped_again() -> None:
    stages = (
        cw.Stage(usual.pit(), until_core_c=66.0),
        cw.Stage(usual.pit(), duration_s=HOUR, wrap="paper"),
    )
    result = cw.simulate(usual.piece(), stages)
    found = what_to_do(result, result.duration_s, 85.0)
    assert [row.name for row in found.rows] == ["wait", "hotter"]
    assert found.rows[0].result.records[-1].wrap == "paper"


def test_done_before_the_foil_of_later_goes_on(tight: Result) -> None:
    """A stage in a chamber that is over as it begins has nothing to balance."""
    found = what_to_do(tight, 7 * HOUR, 78.0)
    wait, later = found.row("wait"), found.row("foil later")
    assert wait.takes_s < 2 * HOUR
    assert later.takes_s == pytest.approx(wait.takes_s, abs=60.0)
    assert later.result.balance.vapour < 1e-8


def test_what_cannot_be_chosen_is_refused(tight: Result) -> None:
    shut = cooked(evaporation=False)
    with pytest.raises(InputError, match="does not stall"):
        what_to_do(shut)
    with pytest.raises(InputError, match=r"from its start to 9 h; it is 10 h"):
        what_to_do(tight, 10 * HOUR)
    with pytest.raises(InputError, match=r"60 °C is wanted: there is nothing to wait for"):
        what_to_do(tight, 5 * HOUR, 60.0)


# -- rows written down ---------------------------------------------------------------------


def told(*takes_h: float | None) -> Choices:
    names = ("wait", "foil", "hotter")
    rows = [
        Choice(name, f"{name} it", None, None if takes is None else takes * HOUR, 0.255, 0.876)
        for name, takes in zip(names, takes_h, strict=False)
    ]
    return Choices(5 * HOUR, 66.4, 45.0, 90.0, tuple(rows))


@pytest.mark.parametrize(
    ("takes_h", "wait", "best"),
    [
        ((6.0, 4.0, 5.0), "6 h", "quickest here is foil: 4 h"),
        ((6.0, 5.5, 5.0), "6 h", "quickest here is hotter: 5 h"),
        ((6.0, None, 5.0), "6 h", "quickest here is hotter: 5 h"),
        # As quick is not quicker; what never gets there is no choice.
        ((6.0, 6.0, 7.0), "6 h", "nothing here is quicker"),
        ((6.0, None, None), "6 h", "nothing here is quicker"),
        ((6.0,), "6 h", "nothing here is quicker"),
        ((None, 20.0, 21.0), "more than a day", "quickest here is foil: 20 h"),
        ((None, None, None), "more than a day", "nothing here is quicker"),
    ],
)
def test_the_quickest_is_named_where_it_is_quicker(takes_h, wait: str, best: str) -> None:
    assert shown(told(*takes_h).sentence, "C") == (
        f"From 5 h on, the core at 66 °C, it takes {wait} to 90 °C if nothing is done; {best}."
    )


def test_the_cells_of_a_choice() -> None:
    cells = [[shown(cell, "C") for cell in row] for row in table_rows(told(None, 4.0))]
    assert cells == [
        ["wait: wait it", "more than a day", "26 %", "0.88"],
        ["foil: foil it", "4 h", "26 %", "0.88"],
    ]


def test_a_series_that_begins_later_keeps_what_is_to_come() -> None:
    def later(seconds: float):
        return _shifted(
            ([0.0, 100.0, 200.0], [10.0, 20.0, 40.0]), lambda t, v: (t - seconds, v)
        )

    times, values = later(150.0)
    assert (times.tolist(), values.tolist()) == ([0.0, 50.0], [30.0, 40.0])
    times, values = later(100.0)
    assert (times.tolist(), values.tolist()) == ([0.0, 100.0], [20.0, 40.0])
    # Beyond its end it is a number.
    assert later(200.0) == later(500.0) == 40.0
    assert _each(0.5, lambda v: 2.0 * v) == 1.0
    times, values = _each(([0.0, 10.0], [1.0, 2.0]), lambda v: 2.0 * v)
    assert (times.tolist(), values.tolist()) == ([0.0, 10.0], [2.0, 4.0])


def test_fresh_air_stays_within_what_a_chamber_takes() -> None:
    assert _times(3.0)(np.array([0.0, 1.0, 2000.0])).tolist() == [0.0, 3.0, 5000.0]
    assert _times(1.0 / 3.0)(np.array([3.0])).tolist() == [1.0]
