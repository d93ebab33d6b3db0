"""The same thing has the same words, range reasons and units in every panel."""

from __future__ import annotations

import pytest

from coreward.questions.forecast.panel import ForecastState
from coreward.questions.plan.panel import PlanState
from coreward.questions.rest.panel import RestState
from coreward.questions.stall.panel import StallState
from coreward.questions.verdict.panel import VerdictState
from coreward.widgets import shared
from coreward.widgets.controls import Choice, Number
from coreward.widgets.panel import PanelState
from coreward.words import CUSTOMARY, METRIC

STATES = (StallState, VerdictState, RestState, PlanState)
SHARED = {
    "cut": shared.cut("beef brisket whole"),
    "shape": shared.shape(),
    "thickness": shared.thickness(0.1, low=0.01, thinner="cooks fast"),
    "start": shared.start(),
    "mass": shared.mass(1.0, low=0.1, high=9.0, reason="so it is"),
    "pit": shared.pit(110.0),
    "dew-point": shared.dew_point(),
    "wrap-core": shared.wrap_core(66.0),
    "wrap-after": shared.wrap_after(3600.0, high=7200.0),
}
# An oven may be meant, and the words say so.
OTHER_WORDS = {(VerdictState, "pit")}
# In the sentence of each panel: "wrapped at", "is wrapped when the core is at".
OTHER_WORDS |= {(PlanState, "wrap-core"), (RestState, "wrap-core")}


@pytest.mark.parametrize("state", STATES, ids=lambda state: state.__name__)
def test_a_control_that_panels_share_is_the_same_everywhere(state: type[PanelState]) -> None:
    found = {
        trait.control_name: trait
        for name, trait in state.class_traits().items()
        if isinstance(trait, (Number, Choice)) and name in state.input_names
    }
    common = found.keys() & SHARED.keys()
    assert {"cut", "shape", "thickness"} <= common
    for name in common:
        ours, theirs = SHARED[name], found[name]
        assert type(theirs) is type(ours)
        if (state, name) not in OTHER_WORDS:
            assert theirs.label == ours.label
        if isinstance(ours, Number):
            for units in (METRIC, CUSTOMARY):
                assert theirs.quantity.text(1.0, units) == ours.quantity.text(1.0, units)
            assert theirs.reason[0].islower()
            assert theirs.reason[-1] not in ".!"
        else:
            words = {key: ours.options[key] for key in theirs.options.keys() & ours.options}
            assert {key: theirs.options[key] for key in words} == words


@pytest.mark.parametrize("name", ["pit", "dew-point", "wrap-core", "wrap-after"])
def test_a_shared_range_has_one_reason(name: str) -> None:
    reasons = {
        trait.reason
        for state in STATES
        for trait in state.class_traits().values()
        if isinstance(trait, Number) and trait.control_name == name
    }
    assert reasons == {SHARED[name].reason}


def test_a_wrap_and_a_place_are_the_same_thing_in_every_panel() -> None:
    def keys(trait: Choice, without: str) -> set[str]:
        return set(trait.options) - {without}

    worn = {"foil", "paper"}
    for state in (StallState, RestState, PlanState):
        assert keys(state.class_traits()["wrap"], shared.BARE) == worn
    for state, name in ((RestState, "cook_wrap"), (ForecastState, "wrapped_in")):
        assert keys(state.class_traits()[name], shared.BARE) == worn
    rests, held = (s.class_traits()["place"].options for s in (RestState, PlanState))
    assert held.items() <= rests.items()
