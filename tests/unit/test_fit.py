"""Which number of a guess does what, and what of a log a fit is given."""

from __future__ import annotations

from types import SimpleNamespace

import numpy as np
import pytest

import coreward as cw
from coreward.events.found import Event
from coreward.logs.log import Channel, ProbeLog
from coreward.questions.forecast import fit as module
from coreward.questions.forecast.fit import (
    NAMES,
    depths,
    fit,
    offsets,
    prepare_past,
    stated_prior,
)

HOUR = 3600.0
PIECE = cw.Piece(cw.Slab(0.06), cw.meat(), 5.0)
# The fields of a member, in the order of the unknowns.
FIELDS = (
    "size_factor", "heat_transfer_factor", "air_offset", "dampness", "surface_share",
    "hold_midpoint_c", "hold_drop", "release", "start_c", "depth", "bias",
    "wrap_leak", "wrap_resistance", "wall_offset", "wrap_emissivity",
)  # fmt: skip


def straight(hours: float = 3.0, step_s: float = 60.0) -> ProbeLog:
    time = np.arange(0.0, hours * HOUR + 1.0, step_s)
    core = 5.0 + 15.0 * time / HOUR
    channels = (
        Channel("pit", "air", np.full(time.size, 110.0)),
        Channel("flat", "meat", core),
    )
    return ProbeLog(time, None, channels)


@pytest.mark.parametrize(("place", "field"), list(enumerate(FIELDS)))
def test_each_unknown_moves_its_own_number_and_no_other(place: int, field: str) -> None:
    prior = stated_prior(PIECE, dew_point_c=25.0)
    middle = prior.member(np.zeros(len(NAMES)))
    guess = np.zeros(len(NAMES))
    guess[place] = 0.5
    moved = prior.member(guess)
    changed = [name for name in middle._fields if getattr(moved, name) != getattr(middle, name)]
    assert changed == [field]


def test_scatter_of_five_readings_is_known_and_of_four_is_not() -> None:
    # Second differences 1, -2, 1: their middle size is 1.
    by_hand = 1.4826 * 1.0 / np.sqrt(6.0)
    assert module._scatter(np.array([0.0, 0.0, 1.0, 0.0, 0.0])) == pytest.approx(by_hand)
    assert module._scatter(np.array([0.0, 0.0, 1.0, 0.0])) == 0.0


def test_the_reading_at_the_very_end_and_beginning_is_within() -> None:
    log = straight()
    whole = prepare_past(log, until_s=2.0 * HOUR, begin_s=HOUR)
    # Blocks of five minutes: the middle of 0 to 4 min, and the last reading alone in its own.
    assert (whole.time_s[0], whole.time_s[-1]) == (120.0, HOUR)
    assert (whole.reading_c[0], whole.reading_c[-1]) == (20.5, 35.0)


def test_a_fit_is_given_what_happened_until_then(monkeypatch: pytest.MonkeyPatch) -> None:
    given: list[module.Past] = []

    def stopped(past: module.Past, prior: object, **_: object) -> None:
        given.append(past)

    monkeypatch.setattr(module, "fit_past", stopped)
    events = (
        Event("meat_on", 600.0, 1200.0),
        Event("wrapped", 1.5 * HOUR, 1.5 * HOUR),
        Event("wrapped", 2.0 * HOUR, 2.0 * HOUR, confidence=0.4),
        Event("pulled", 2.8 * HOUR, 2.8 * HOUR),
    )
    fit(straight(), PIECE, events=events, wrap="paper")
    # It begins when the meat is on and ends when it is pulled.
    assert (given[0].begin_s, given[0].now_s) == (1200.0, 2.8 * HOUR)
    assert given[0].wraps == ((1.5 * HOUR - 1200.0, "paper"),)
    fit(straight(), PIECE, events=events, until_s=1.4 * HOUR)
    assert (given[1].begin_s, given[1].now_s, given[1].wraps) == (1200.0, 1.4 * HOUR, ())
    # What happens at the very moment is known.
    fit(straight(), PIECE, events=events[2:], until_s=2.8 * HOUR)
    assert (given[2].begin_s, given[2].now_s) == (0.0, 2.8 * HOUR)
    with pytest.raises(cw.InputError, match="a fit needs at least"):
        fit(straight(), PIECE, events=events, until_s=1300.0)


def test_what_a_log_settles_is_what_it_narrows_by_a_fifth() -> None:
    names = NAMES[:3]
    fitted = SimpleNamespace(
        names=names,
        spread={names[0]: 0.1, names[1]: module._DETERMINED, names[2]: 0.99},
    )
    assert module.Fitted.determined(fitted) == names[:1]  # type: ignore[arg-type]
    assert module.Fitted.undetermined(fitted) == names[1:]  # type: ignore[arg-type]


def test_a_probe_that_was_moved_has_a_place_and_an_offset_of_its_own() -> None:
    """Behind the names: for each move how deep it then sat, and how far it is off more."""
    prior = SimpleNamespace(
        spread={"bias": 0.5, "moved": 2.0, "moved_depth": 0.4},
        member=lambda z: SimpleNamespace(depth=0.1),
    )
    z = np.zeros(len(NAMES) + 4)
    z[NAMES.index("bias")] = 1.0
    z[len(NAMES) :] = (0.0, 1.5, np.inf, -0.5)
    segment = np.array([0, 0, 1, 2])
    assert offsets(prior, z, segment).tolist() == [0.5, 0.5, 3.5, -0.5]
    # Of a bell curve's middle half of the range, of its end all of it.
    assert depths(prior, z, segment).tolist() == [0.1, 0.1, 0.2, 0.4]
    # Without moves all is as at first, whatever segment it is.
    assert offsets(prior, z[: len(NAMES)], segment).tolist() == [0.5] * 4
    assert depths(prior, z[: len(NAMES)], segment).tolist() == [0.1] * 4
