"""Forecasts of cooks of another making, whose end is known.

From them it is learned what the physics may count beside past cooks, and how wide the
bands must be (table ``forecast``, sets ``pool`` and ``stretch``):
``python tests/verification/learn_pool.py``.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy import optimize, special

from coreward import tables
from coreward.cook.stages import Piece
from coreward.cook.usual_piece import piece
from coreward.errors import InputError
from coreward.events.found import Event, find_events
from coreward.evidence.backtest import MadeUpCook, finish_shown_s, known_events
from coreward.experience.past_cook import PastCook
from coreward.logs.log import Channel, ProbeLog
from coreward.logs.read import read_log
from coreward.physics.body import SHAPES
from coreward.physics.meat import meat
from coreward.questions.forecast.answer import Forecast, Target, forecast_from
from coreward.questions.forecast.fit import Fitted, fit

# Of what a witness said by itself, and what is as good as now. [s]
_PERCENTILES = np.arange(1, 40) / 40.0
_BRIEF_S = 60.0
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


@dataclass(frozen=True)
class Hearing:
    """What both witnesses said at one moment of a cook whose end is known.

    Attributes
    ----------
    making : str
        The structure; empty for a cook of the model's own making.
    stage : str
        See `coreward.questions.forecast.pooled.stage_of`.
    surprise : tuple of float
        What the trust is reckoned from, see `MEASURES`.
    truth_s, low_s, middle_s, high_s : float
        Time left, and the pool's percentiles 5, 50 and 95. [s]
    trust : float
        What the physics counted. [-]
    physics_s, witness_s : tuple of float
        What each said by itself: evenly spaced percentiles, infinite for never. [s]
    """

    making: str
    stage: str
    surprise: tuple[float, ...]
    truth_s: float
    low_s: float
    middle_s: float
    high_s: float
    trust: float
    physics_s: tuple[float, ...] = ()
    witness_s: tuple[float, ...] = ()

    @property
    def never(self) -> bool:
        """Whether it was said that it would more likely than not never be ready."""
        return not math.isfinite(self.middle_s)


MEASURES = ("typical", "residual", "slope", "far")
"""Of surprise, as table ``forecast`` names what each takes off the trust."""


def hearing_of(answer: Forecast, truth_s: float, making: str = "") -> Hearing | None:
    """Return what was said, beside what came; None where it was there already."""
    pooled = answer.pooled
    if pooled is None or truth_s <= 0.0:
        return None
    low, middle, high = (answer.quantile_s(p) - answer.now_s for p in (5.0, 50.0, 95.0))
    measures = tuple(pooled.surprise.measures[name] for name in MEASURES)
    alone = (
        tuple(np.quantile(said, _PERCENTILES, method="inverted_cdf").tolist())
        if len(said)
        else ()
        for said in (pooled.physics_left_s, pooled.witness_left_s)
    )
    return Hearing(
        making, pooled.stage, measures, truth_s, low, middle, high, pooled.trust, *alone
    )


def hear(
    cook: PastCook,
    shares: Sequence[float] = (0.4, 0.6, 0.8),
    *,
    members: int | None = None,
    cores: int | None = None,
) -> Iterator[Hearing]:
    """Forecast a past cook at shares of its time, its own making left out."""
    if cook.finish_s is None:
        return
    for share in shares:
        try:
            fitted = fit_at(cook, share * cook.finish_s, cores)
        except InputError:
            # A thin piece has too few readings at the beginning.
            continue
        answer = forecast_from(
            fitted,
            Target("core", cook.target_c),
            members=members,
            cores=cores,
            left_out=cook.structure or None,
        )
        said = hearing_of(answer, cook.finish_s - answer.now_s, cook.structure)
        if said is not None:
            yield said


def hear_own_making(
    cook: MadeUpCook, shares: Sequence[float] = (0.4, 0.6, 0.8), *, members: int | None = None
) -> Iterator[Hearing]:
    """Forecast an invented cook of the model's own making, as the backtest does."""
    log = read_log(cook.path)
    finish = finish_shown_s(cook, log)
    if finish is None:
        return
    for share in shares:
        now = cook.meat_on_s + share * (finish - cook.meat_on_s)
        fitted = fit(
            log,
            cook.piece(),
            until_s=now,
            events=known_events(cook, log, now, True),
            fire=cook.stated["fire"],
        )
        answer = forecast_from(fitted, Target("core", cook.target_c), members=members)
        said = hearing_of(answer, finish - answer.now_s)
        if said is not None:
            yield said


def learn_trust(heard: Sequence[Hearing], *, worth: float = 1.0) -> dict[str, float]:
    """Learn how much surprise takes off the trust, by the pools that come nearest to the truth.

    Near by the continuous ranked probability score of the logarithm of the time left; the
    values are those of table ``forecast``, set ``pool``, and ``most`` of it stands.

    Parameters
    ----------
    heard : sequence of Hearing
        Of both kinds, with what each witness said.
    worth : float
        How many times all other makings together count against the model's own.
    """
    both = [one for one in heard if one.physics_s and one.witness_s]
    own = np.array([not one.making for one in both])
    if not 0 < own.sum() < len(own):
        raise InputError("Give cooks of other makings and of the model's own.")
    count = np.where(own, 1.0 / own.sum(), worth / (~own).sum())
    most = tables.load("forecast", "pool")["most"]
    cases = [_Case.of(one) for one in both]

    def cost(values: NDArray[np.float64]) -> float:
        scores = [case.score(most * special.expit(values[0] - case.measures @ values[1:]))
                  for case in cases]  # fmt: skip
        # A measure that tells nothing is to count nothing.
        return float(count @ scores + 0.002 * np.sum(values[1:] ** 2))

    start = np.array([-1.0, *np.full(len(MEASURES), 0.5)])
    found = optimize.minimize(cost, start, method="Nelder-Mead", options={"maxiter": 1500}).x
    return dict(zip(("middle", *MEASURES), found.tolist(), strict=True))


@dataclass(frozen=True)
class _Case:
    """Draws of both witnesses in one order, and where the truth lies. [ln s]."""

    draws: NDArray[np.float64]
    of_physics: NDArray[np.bool_]
    sound: float
    measures: NDArray[np.float64]
    truth: float

    @classmethod
    def of(cls, one: Hearing) -> _Case:
        physics = np.array(one.physics_s)
        ends = np.isfinite(physics)
        draws = np.concatenate((physics[ends], one.witness_s))
        order = np.argsort(draws, kind="stable")
        mine = np.arange(len(draws)) < ends.sum()
        return cls(
            np.log(np.maximum(draws[order], _BRIEF_S)),
            mine[order],
            float(ends.mean()),
            np.array(one.surprise),
            math.log(one.truth_s),
        )

    def score(self, trust: float) -> float:
        """Continuous ranked probability score of the pool; 0 is a certain truth."""
        count = self.of_physics.sum()
        share = trust * self.sound if count else 0.0
        weight = np.where(
            self.of_physics, share / max(count, 1), (1.0 - share) / (~self.of_physics).sum()
        )
        below = np.cumsum(weight)[:-1]
        apart = np.sum(below * (1.0 - below) * np.diff(self.draws))
        return float(weight @ np.abs(self.draws - self.truth) - apart)


def learn_stretch(
    heard: Sequence[Hearing], stage: str, share: float = 0.945
) -> dict[str, float]:
    """Learn how far bands of a stage must be widened, towards sooner and later.

    Conformal in kind: the least factor with which a share of the truths lies inside each
    end. It is learned with the stretch that is in force, and multiplies it.

    Parameters
    ----------
    heard : sequence of Hearing
        Those of other makings count.
    stage : str
    share : float
        Of the truths inside of each end.
    """
    mine = [one for one in heard if one.making and one.stage == stage and not one.never]
    if len(mine) < 20:
        raise InputError(f"There are {len(mine)} forecasts of stage {stage!r}; 20 are needed.")
    sooner, later = [], []
    for one in mine:
        off = math.log(one.truth_s / one.middle_s)
        high = math.log(one.high_s / one.middle_s) if math.isfinite(one.high_s) else math.inf
        later.append(max(off, 0.0) / max(high, 1e-6))
        sooner.append(max(-off, 0.0) / max(math.log(one.middle_s / one.low_s), 1e-6))
    return {
        "sooner": float(np.quantile(sooner, share)),
        "later": float(np.quantile(later, share)),
    }


def score(heard: Sequence[Hearing]) -> dict[str, float]:
    """Return miss, coverage and width of the wide band, and how often "never" was said.

    Miss and width are medians, as shares of the time that was truly left.
    """
    truth = np.array([one.truth_s for one in heard])
    low, middle, high = (
        np.array([getattr(one, name) for one in heard])
        for name in ("low_s", "middle_s", "high_s")
    )
    return {
        "forecasts": float(len(heard)),
        "miss": float(np.median(np.abs(middle - truth) / truth)),
        "inside": float(np.mean((low <= truth) & (truth <= high))),
        "width": float(np.median((high - low) / truth)),
        "never": float(np.mean([one.never for one in heard])),
    }
