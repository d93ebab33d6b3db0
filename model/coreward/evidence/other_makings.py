"""Forecasts of cooks of another making, whose end is known."""

from __future__ import annotations

from coreward.cook.stages import Piece
from coreward.cook.usual_piece import piece
from coreward.errors import InputError
from coreward.events.found import Event, find_events
from coreward.experience.past_cook import PastCook
from coreward.logs.log import Channel, ProbeLog
from coreward.physics.body import SHAPES
from coreward.physics.meat import meat
from coreward.questions.forecast.fit import Fitted, fit

_FIRES = {"charcoal": "charcoal", "wood": "wood fire"}


def log_of(cook: PastCook) -> ProbeLog:
    """Return what the probes of a past cook read, as a log."""
    return ProbeLog(
        cook.time_s,
        None,
        (Channel("pit", "air", cook.air_c), Channel("meat", "meat", cook.core_c)),
    )


def piece_of(cook: PastCook) -> Piece:
    """Return the piece as a person would state it: by its weight, else by its thickness."""
    if cook.mass_kg is not None:
        try:
            return piece(
                cook.cut, cook.mass_kg, thickness_m=cook.thickness_m, start_c=cook.start_c
            )
        except InputError:
            pass
    return Piece(SHAPES["cylinder"](cook.thickness_m or 0.1), meat(cook.cut), cook.start_c)


def fit_at(cook: PastCook, now_s: float, cores: int | None = None) -> Fitted:
    """Fit a past cook as it was known at a moment: what is found, and its own wrap."""
    log = log_of(cook)
    name = log.meat(1).name
    known = [e for e in find_events(log, 1, now_s) if e.kind not in ("wrapped", "meat_on")]
    known.append(Event("meat_on", 0.0, 0.0, channel=name))
    if cook.wrap_s is not None and cook.wrap_s <= now_s:
        known.append(Event("wrapped", cook.wrap_s, cook.wrap_s))
    return fit(
        log,
        piece_of(cook),
        until_s=now_s,
        events=tuple(sorted(known, key=lambda e: e.time_s)),
        wrap=cook.wrap or "foil",
        fire=_FIRES.get(cook.pit),
        cores=cores,
    )
