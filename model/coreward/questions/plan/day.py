"""What a plan is: steps, pieces, odds, and the whole day."""

from __future__ import annotations

import datetime as dt
import math
from dataclasses import dataclass, field
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from coreward.errors import InputError
from coreward.plain import apart, told_as
from coreward.questions.plan.inputs import PitPlan, PlannedPiece
from coreward.questions.plan.late import LateSign
from coreward.words import Say, Text, together

Floats = NDArray[np.float64]
Kind = Literal["light", "turn up", "on", "wrap", "pull", "hold", "slice", "serve"]


@dataclass(frozen=True)
class Step:
    """One thing to do."""

    kind: Kind
    piece: str
    """Whose; empty for what concerns the pit or all."""
    planned: dt.datetime
    """When by the plan; for what the meat decides, as likely before as after."""
    earliest: dt.datetime
    latest: dt.datetime
    """Its window."""
    chance: float = 1.0
    """Chance that it falls into the window; 1 for what the person decides. [-]"""
    note: Text = ""


@dataclass(frozen=True, eq=False)
class PieceOutlook:
    """What the plan says of one piece."""

    item: PlannedPiece
    pull_core_c: float
    """Core at which it is pulled, in every draw and in all that is told. [°C]"""
    pull_then_s: float
    """How long it stays on from there; mostly nothing. [s]"""
    pulled: Text
    """The same in words: "core 75 °C"."""
    steps: tuple[Step, ...] = field(metadata=apart())
    """From on to slice."""
    chance_ready: float
    """Of being ready by the hour as wanted. [-]"""
    chance_as_wanted: float
    """That loss, crust and, if hold tables are waited for, come-up are as wanted too, whenever
    it is pulled. [-]"""
    chance_come_up: float
    """That its come-up keeps the published limit. [-]"""
    possible: bool
    """Whether it can be as wanted at all, with the chance wanted, given time."""
    nearest: Text
    """What is nearest, if it is not possible; else empty."""
    warnings: tuple[Text, ...]
    """What has to be said before everything else: an end that is not enough, or that no table
    covers, and a wish that cannot be had."""
    unsure: Text
    """That the tables cannot tell whether its end is enough, and which; else empty."""
    doubt: str
    """The first of that in a few words, where there is no room for a sentence."""
    most_hold_s: float
    """Hold that the plan counts on, after the hot-holding limit. [s]"""
    hold_note: Text
    """Where that limit cuts the hold down: when; else empty."""
    hot_s: float
    hot_limit_c: float
    """How long the hold surely keeps it above that limit with the probe's error, and the limit;
    NaN where no hold is asked for. [s], [°C]"""
    late: LateSign | None
    """How to see in time that it will be late."""
    wait_s: float
    """Longest wait between pull and slice, with the chance wanted, if it is ready. [s]"""
    loss: tuple[float, float, float]
    crust_activity: tuple[float, float, float]
    tenderness: tuple[float, float, float]
    """Fifth, fiftieth and ninety-fifth percentile, see `PieceCooks`. [-]"""
    verdict_state: str = field(metadata=told_as("verdict"))
    verdict_headline: Text
    """Of a cook on the cautious side, up to the pull, whether or not the pull waits for the
    hold tables; see :func:`coreward.verdict`."""

    def step(self, kind: Kind) -> Step | None:
        """Return the step of a kind, if it has one."""
        return next((step for step in self.steps if step.kind == kind), None)


@dataclass(frozen=True, eq=False)
class OddsCurve:
    """The odds if all were lit and put on earlier or later."""

    shift_s: Floats
    """Later than planned; earlier is negative. [s]"""
    ready: Floats
    in_hold: Floats
    too_early: Floats
    """Chance of being ready by the hour; of that and no hold too long; of a hold too long. [-]
    """

    def at(self, shift_s: float) -> tuple[float, float, float]:
        """Ready, in hold and too early at a shift."""
        i = int(np.argmin(np.abs(self.shift_s - shift_s)))
        return float(self.ready[i]), float(self.in_hold[i]), float(self.too_early[i])


@dataclass(frozen=True, eq=False)
class Plan:
    """A day, backward from its serving hour."""

    serve_at: dt.datetime
    pit: PitPlan
    pieces: tuple[PieceOutlook, ...]
    steps: tuple[Step, ...]
    """All steps, by the clock."""
    light: Step
    chance_wanted: float
    chance_ready: float
    """That every piece is ready by the hour, as planned. [-]"""
    chance_in_hold: float
    """That, and no piece waits longer than its hold. [-]"""
    chance_too_early: float
    """That some piece waits longer. [-]"""
    curve: OddsCurve
    keeps_chance: bool
    """Whether `chance_in_hold` is what was wanted."""
    nearest_serve_at: dt.datetime | None
    """The earliest hour with the chance wanted, if this one cannot have it."""
    fuel_hours: float
    """From lighting to the last pull, in the mean. [h]"""
    warnings: tuple[Text, ...]
    """What has to be said before everything else, of the day and of all pieces."""
    sentences: tuple[Text, ...]
    slips: tuple[Text, ...]
    """What to do when it is early or late, and which end no table could judge."""
    assumptions: tuple[Text, ...]
    cautions: tuple[Text, ...]
    """The first of the sentences holds what warns, if anything does; the next says when to
    light."""
    members: int
    seed: int
    not_before: dt.datetime | None = None
    """Before which the fire could not be lit."""

    @property
    def chance_error(self) -> float:
        """How far a chance may be off because the draws are few, one sigma. [-]."""
        p = min(max(self.chance_in_hold, 0.5 / self.members), 1.0 - 0.5 / self.members)
        return math.sqrt(p * (1.0 - p) / self.members)

    @property
    def lead(self) -> Say:
        """What warns, when to light, and what to do when it is early or late."""
        return together((*self.sentences[: 1 + bool(self.warnings)], *self.slips))

    def piece(self, name: str) -> PieceOutlook:
        """Return what is said of a piece.

        Raises
        ------
        InputError
            If there is none of that name.
        """
        for one in self.pieces:
            if one.item.name == name:
                return one
        raise InputError(
            f"The plan has no piece {name!r}; it has "
            f"{', '.join(one.item.name for one in self.pieces)}."
        )
