"""Random pieces of meat, known at every second, drawn towards the limits of a verdict.

The truth comes from simple lag models of our own: the surroundings follow a target with
one lag, a shell follows them with another, and each probe's point follows the shell. The
steps of a history (cook, fire out, stall, hold, rest, chill, fridge, dwell, reheat) are
drawn at random and then stretched until what a limit counts lies near that limit, so
that margins are tested and not only broad mistakes.
"""

from __future__ import annotations

import dataclasses
from dataclasses import dataclass, field

import numba
import numpy as np

from support import verdict_oracle as oracle

HOUR = 3600.0
BOILING_C = 99.0
QUICKEST_SHELL_S, QUICKEST_CORE_S = 60.0, 300.0
LONGEST_S = 48 * HOUR

MEATS = (
    (("beef",), 0.24),
    (("pork",), 0.14),
    (("lamb",), 0.09),
    (("chicken",), 0.15),
    (("turkey",), 0.11),
    (("other meat",), 0.07),
    (("beef", "pork"), 0.06),
    (("beef", "chicken"), 0.05),
    (("other meat", "pork"), 0.05),
    (("chicken", "turkey"), 0.04),
)
STATES = (
    (("intact",), 0.62),
    (("tenderised",), 0.09),
    (("rolled",), 0.08),
    (("ground",), 0.07),
    (("stuffed",), 0.06),
    (("rolled", "stuffed"), 0.05),
    (("tenderised", "rolled"), 0.03),
)


@dataclass(frozen=True)
class Step:
    """One stretch of what surrounds a piece.

    Attributes
    ----------
    kind : str
    target_c, pit_lag_s : float
        Where the surroundings go, and how fast.
    longest_s : float
        The step ends after this time,
    until_c : float
        or when the first point passes this (upwards if the target is higher, else down).
    ease : float
        Share of the piece's own lag: below one where heat passes better, as in ice water.
    stall_k : float
        How far evaporation keeps the shell from the surroundings near 65 °C.
    """

    kind: str
    target_c: float
    longest_s: float
    until_c: float = np.nan
    pit_lag_s: float = 300.0
    ease: float = 1.0
    stall_k: float = 0.0


@numba.njit(cache=True)
def follow(steps, start_c, shell_lag_s, core_lag_s, longest_s):
    """March points, shells and surroundings second by second through the steps."""
    points = start_c.size
    out = np.empty((points, int(longest_s)))
    around = np.empty(int(longest_s))
    at = np.empty(steps.shape[0], dtype=np.int64)
    shell = start_c.copy()
    core = start_c.copy()
    air = start_c[0]
    seconds = 0
    for k in range(steps.shape[0]):
        target, longest, until, pit_lag = steps[k, 0], steps[k, 1], steps[k, 2], steps[k, 3]
        ease, stall = steps[k, 4], steps[k, 5]
        at[k] = seconds
        upwards = target >= core[0]
        here = 0
        while here < longest and seconds < int(longest_s):
            for p in range(points):
                out[p, seconds] = core[p]
            around[seconds] = air
            air += (target - air) / pit_lag
            for p in range(points):
                hold_back = 0.0
                if air > shell[p]:
                    off = (shell[p] - 66.0) / 6.0
                    hold_back = stall * np.exp(-off * off)
                    if hold_back > air - shell[p]:
                        hold_back = air - shell[p]
                shell_lag = max(shell_lag_s[p] * ease, QUICKEST_SHELL_S)
                core_lag = max(core_lag_s[p] * ease, QUICKEST_CORE_S)
                shell[p] += (air - hold_back - shell[p]) / shell_lag
                if shell[p] > BOILING_C:
                    shell[p] = BOILING_C
                core[p] += (shell[p] - core[p]) / core_lag
            seconds += 1
            here += 1
            if upwards and core[0] >= until:
                break
            if not upwards and core[0] <= until:
                break
    return out[:, :seconds], around[:seconds], at


@dataclass
class Draft:
    """A piece while it is being drawn."""

    steps: list[Step]
    start_c: np.ndarray
    shell_lag_s: np.ndarray
    core_lag_s: np.ndarray
    delay_s: float = 0.0
    fact: str = ""
    points_c: np.ndarray = field(default_factory=lambda: np.empty((0, 0)))
    air_c: np.ndarray = field(default_factory=lambda: np.empty(0))
    at_s: np.ndarray = field(default_factory=lambda: np.empty(0))

    def march(self) -> None:
        """Make the truth from the steps."""
        table = np.array(
            [
                (s.target_c, s.longest_s, s.until_c, s.pit_lag_s, s.ease, s.stall_k)
                for s in self.steps
            ]
        )
        self.points_c, self.air_c, self.at_s = follow(
            table, self.start_c, self.shell_lag_s, self.core_lag_s, LONGEST_S
        )

    def stretch(self, kinds: tuple[str, ...], factor: float, *, ease: bool) -> bool:
        """Stretch the steps of some kinds, in time or in how slowly heat passes."""
        found = False
        for k, step in enumerate(self.steps):
            if step.kind in kinds:
                found = True
                if ease:
                    self.steps[k] = dataclasses.replace(
                        step, ease=float(np.clip(step.ease * factor, 0.02, 6.0))
                    )
                else:
                    longest = float(np.clip(step.longest_s * factor, 10.0, 30 * HOUR))
                    self.steps[k] = dataclasses.replace(step, longest_s=longest)
        return found


def pick(rng: np.random.Generator, choices):
    """Return one of several choices by weight."""
    weights = np.array([weight for _, weight in choices])
    return choices[int(rng.choice(len(choices), p=weights / weights.sum()))][0]


def finish_core_c(rng: np.random.Generator, meats: tuple[str, ...], states: tuple[str, ...]):
    """Draw the core at which a cook ends: usual, or near a row of a deciding table."""
    rules = oracle.deciding_rules(meats, states)
    highest = max(min(rule.rows_c) for rule in rules)
    if rng.random() < 0.45:
        rows = [c for rule in rules for c in rule.rows_c if c >= 58.0]
        return float(rng.choice(rows) + rng.uniform(-0.8, 3.5))
    if rng.random() < 0.2:
        return float(rng.uniform(52.0, 70.0))
    return float(max(highest, rng.uniform(66.0, 93.0)) + rng.uniform(0.5, 6.0))


def cook(rng, finish_c: float) -> list[Step]:
    """Cook to a core, steadily or with a stall and damper troubles."""
    air = float(max(finish_c + 8.0, rng.choice([rng.uniform(95, 140), rng.uniform(140, 190)])))
    lag = float(rng.uniform(120, 1500))
    stall = float(rng.uniform(5, 40)) if rng.random() < 0.3 else 0.0
    steps = []
    if rng.random() < 0.25:
        part = float(rng.uniform(20.0, 60.0))
        steps.append(Step("cook", air, 20 * HOUR, part, lag, stall_k=stall))
        low = float(rng.uniform(45.0, 80.0))
        steps.append(Step("damper", low, float(rng.uniform(0.3, 3.0)) * HOUR, pit_lag_s=900.0))
    steps.append(Step("cook", air, 20 * HOUR, finish_c, lag, stall_k=stall))
    return steps


def hold(rng, finish_c: float) -> list[Step]:
    """Hold at about the core that was reached."""
    level = finish_c + float(rng.uniform(-1.0, 3.0))
    longest = float(np.exp(rng.uniform(np.log(30.0), np.log(3 * HOUR))))
    return [Step("hold", level, longest, pit_lag_s=120.0, ease=0.5)]


def warm_hold(rng) -> list[Step]:
    """Hold hot, at a level that is right or a little too low."""
    level = float(rng.choice([rng.uniform(60, 72), rng.uniform(53.0, 60.5)]))
    return [Step("hot hold", level, float(rng.uniform(0.5, 8.0)) * HOUR, pit_lag_s=900.0)]


def chill(rng) -> list[Step]:
    """Chill to the cold and keep it there."""
    cold = float(rng.uniform(0.3, 4.2))
    ease = float(rng.uniform(0.15, 1.2))
    until = float(cold + 0.4) if rng.random() < 0.85 else float(rng.uniform(5.5, 25.0))
    return [Step("chill", cold, 14 * HOUR, until, 120.0, ease)]


def fridge(rng) -> list[Step]:
    """Keep it in the cold."""
    return [Step("fridge", float(rng.uniform(0.3, 4.6)), float(rng.uniform(0.5, 10)) * HOUR)]


def dwell(rng) -> list[Step]:
    """Let it stand where bacteria grow."""
    level = float(rng.choice([rng.uniform(24, 50), rng.uniform(8, 24)]))
    return [Step("dwell", level, float(np.exp(rng.uniform(np.log(0.4), np.log(14)))) * HOUR)]


def reheat(rng) -> list[Step]:
    """Heat it again, to 74 °C, to less or to more, in about two hours."""
    finish = float(rng.choice([rng.uniform(73.0, 78.0), rng.uniform(60.0, 90.0)]))
    ease = float(rng.uniform(0.2, 1.2))
    air = float(max(finish + 5.0, rng.uniform(80.0, 180.0)))
    return [Step("reheat", air, 15 * HOUR, finish, 300.0, ease)]


def fire_out(rng, finish_c: float) -> list[Step]:
    """Cook a part, lose the fire, light it again."""
    part = float(rng.uniform(25.0, 64.0))
    out = Step(
        "fire out",
        float(rng.uniform(4.0, 42.0)),
        float(np.exp(rng.uniform(np.log(0.5), np.log(12)))) * HOUR,
        pit_lag_s=float(rng.uniform(600, 5000)),
    )
    first = cook(rng, finish_c)[-1]
    return [dataclasses.replace(first, until_c=part), out, first]


def draw_steps(rng, meats, states, plain: bool) -> tuple[list[Step], str]:
    """Draw the steps of one piece and how they are called."""
    finish = finish_core_c(rng, meats, states)
    if plain:
        finish = max(finish, 77.0 + float(rng.uniform(0.0, 12.0)))
        steps = [*cook(rng, finish)[-1:], Step("hold", finish, 300.0)]
        more = rng.random()
        if more < 0.3:
            steps += chill(rng)
        if more < 0.1:
            steps += [*fridge(rng), *reheat(rng)]
        return steps, "plain"
    name = pick(
        rng,
        (
            ("cook", 0.12),
            ("cook and hold", 0.14),
            ("fire out", 0.13),
            ("hot hold", 0.08),
            ("chill", 0.2),
            ("chill and dwell", 0.08),
            ("dwell and reheat", 0.08),
            ("chill and reheat", 0.1),
            ("two cooks of one piece", 0.07),
        ),
    )
    steps: list[Step] = []
    if name == "cook":
        steps = cook(rng, finish)
    elif name == "cook and hold":
        steps = cook(rng, finish) + hold(rng, finish)
    elif name == "fire out":
        steps = fire_out(rng, finish)
    elif name == "hot hold":
        steps = cook(rng, finish) + hold(rng, finish) + warm_hold(rng)
    elif name == "chill":
        steps = cook(rng, finish) + hold(rng, finish)[:1] + chill(rng)
    elif name == "chill and dwell":
        steps = cook(rng, finish) + hold(rng, finish) + chill(rng) + dwell(rng)
    elif name == "dwell and reheat":
        steps = cook(rng, finish) + hold(rng, finish) + dwell(rng) + reheat(rng)
    elif name == "chill and reheat":
        steps = cook(rng, finish) + hold(rng, finish) + chill(rng) + fridge(rng) + reheat(rng)
    else:
        part = float(rng.uniform(45.0, 68.0))
        first = dataclasses.replace(cook(rng, finish)[-1], until_c=part)
        steps = [first, *chill(rng), *fridge(rng), *cook(rng, finish)]
    for more, share in ((dwell, 0.06), (reheat, 0.06), (chill, 0.1), (fridge, 0.1)):
        if rng.random() < share:
            steps += more(rng)
    if rng.random() < 0.25:
        rest = Step("rest", float(rng.uniform(15, 60)), float(rng.uniform(0.1, 1.5)) * HOUR)
        steps.append(rest)
    return steps, name


def draw_piece(rng, meats, states, *, probes: int, plain: bool) -> Draft:
    """Draw one piece and stretch it towards a limit."""
    steps, name = draw_steps(rng, meats, states, plain)
    start = float(rng.uniform(1.0, 9.0))
    if rng.random() < 0.12 and not plain:
        start = float(rng.uniform(9.0, 24.0))
    core = float(np.exp(rng.uniform(np.log(900.0), np.log(9000.0))))
    shell = core * float(rng.uniform(0.15, 0.7))
    spread = np.array([1.0, *rng.uniform(0.45, 1.15, probes - 1)])
    draft = Draft(
        steps,
        np.full(probes, start) + np.array([0.0, *rng.uniform(-1.0, 1.0, probes - 1)]),
        shell * spread,
        core * spread,
        fact=name,
    )
    draft.march()
    aims = [("none", 0.25), ("come-up", 0.35 if not plain else 0.2)]
    if any(step.kind == "chill" for step in steps):
        aims += [("upper", 0.35), ("whole", 0.3)]
    if any(step.kind in ("dwell", "fire out") for step in steps):
        aims += [("dwell", 0.5)]
    if any(step.kind == "reheat" for step in steps):
        aims += [("reheat", 0.3)]
    aim = pick(rng, tuple(aims))
    if aim != "none":
        draft.fact += f", drawn towards the limit of {aim}"
        towards(rng, draft, aim, meats, states, easy=plain)
    return draft


def towards(rng, draft: Draft, aim: str, meats, states, *, easy: bool) -> None:
    """Stretch a piece until what a limit counts lies near that limit."""
    share = float(rng.uniform(0.55, 0.85) if easy else rng.uniform(0.7, 1.12))
    for _ in range(3):
        factor = _factor_towards(draft, aim, share, meats, states)
        if factor is None:
            return
        factor = float(np.clip(factor, 0.15, 6.0))
        if aim == "come-up":
            factor = float(np.clip(factor, 600.0 / draft.core_lag_s[0], None))
            draft.shell_lag_s = draft.shell_lag_s * factor
            draft.core_lag_s = draft.core_lag_s * factor
        elif aim == "dwell":
            draft.stretch(("dwell", "fire out"), factor, ease=False)
        elif aim == "reheat":
            draft.stretch(("reheat",), factor, ease=True)
        else:
            draft.stretch(("chill",), factor, ease=True)
        draft.march()


def _factor_towards(draft: Draft, aim: str, share: float, meats, states) -> float | None:
    """Return by what the steps that an aim moves should be stretched."""
    if aim == "reheat":
        for k, step in enumerate(draft.steps):
            if step.kind == "reheat":
                begin = int(draft.at_s[k])
                end = int(draft.at_s[k + 1]) if k + 1 < len(draft.steps) else None
                part = draft.points_c[0, begin:end]
                inside = float(np.sum((part > 5.0) & (part < 74.0)))
                return share * 2 * HOUR / inside if inside > 60.0 else None
        return None
    truth = oracle.judge_piece(oracle.TruePiece("draft", draft.points_c), meats, states)
    if aim == "come-up":
        return share * 6 * HOUR / truth.come_up_s if truth.come_up_s > 60.0 else None
    if truth.lethality_s is None and aim != "dwell":
        return None
    if aim == "upper":
        return share * 2 * HOUR / truth.upper_s if truth.upper_s > 60.0 else None
    if aim == "whole":
        return share * 6 * HOUR / truth.whole_s if truth.whole_s > 60.0 else None
    after = truth.lethality_s is not None and any(s.kind == "dwell" for s in draft.steps)
    if after:
        # Whichever limit is nearer.
        near = max(truth.upper_s / (2 * HOUR), truth.whole_s / (6 * HOUR))
    else:
        near = truth.come_up_s / (6 * HOUR)
    # Only a part of what is counted lies in the dwell: approach in steps.
    return float(np.clip((share / near) ** 1.3, 0.3, 3.0)) if near > 0.01 else None


def in_words(draft: Draft) -> str:
    """Return the steps of a piece with their times, in words."""
    parts = []
    for k, step in enumerate(draft.steps):
        begin = int(draft.at_s[k])
        end = int(draft.at_s[k + 1]) if k + 1 < len(draft.steps) else draft.points_c.shape[1]
        if end <= begin:
            continue
        core = draft.points_c[0, min(end, draft.points_c.shape[1]) - 1]
        parts.append(f"{step.kind} {(end - begin) / HOUR:.2f} h to {core:.1f} °C")
    return ", ".join(parts)
