"""Random histories of one to three pieces, and what a log shows of them.

The log shows the truth (`random_pieces`) with a fixed offset, noise and rounding that stay
within the stated probe error together, at steps of 5 s to 5 min, with gaps, and with
probes that are late, dead, frozen, in the air, never plugged in or left out by their
heading. What the person answers is true, where there is an answer.
"""

from __future__ import annotations

import dataclasses
from dataclasses import dataclass

import numpy as np

from coreward.logs.log import Channel, LeftOutColumn, ProbeLog
from support import verdict_oracle as oracle
from support.random_pieces import (
    HOUR,
    LONGEST_S,
    MEATS,
    STATES,
    Draft,
    Step,
    draw_piece,
    in_words,
    pick,
)

MOST_SAMPLES = 4000
LONGEST_STEP_S = 330.0
"""A longer one is a gap (table `verdict`)."""
STEPS_S = ((5, 0.03), (10, 0.07), (15, 0.08), (30, 0.2), (60, 0.3), (120, 0.14), (300, 0.18))


@dataclass(frozen=True, eq=False)
class History:
    """One history: the truth, what the log shows, and what the person answers.

    Attributes
    ----------
    seed : int
    facts : tuple of str
        What happened, in words.
    log : ProbeLog or None
    plain : tuple of ndarray or None
        (time_s, temperature_c) instead of a log: a history stated without error.
    truth : tuple of TruePiece
    meats, states : tuple of str
    arguments : dict
        What the judge is told besides the record.
    answers : dict
        `pieces`, `probes`, `new_piece_s` where the person gave them.
    healthy, answered, whole : bool
        Whether every probe was healthy; whether everything was answered; whether the log
        has neither gaps nor unknown spans.
    open_questions : tuple of str
        Kinds of doubt that nobody answered: at best "cannot tell", whatever the truth.
    probe_error_c, step_s : float
    cooling_asked : bool
    pulled_out : bool
        Whether a probe was pulled out of hot meat and laid in the cold or in the room: the
        readings then are those of no meat, though the rule names no doubt for it.
    """

    seed: int
    facts: tuple[str, ...]
    log: ProbeLog | None
    plain: tuple[np.ndarray, np.ndarray] | None
    truth: tuple[oracle.TruePiece, ...]
    meats: tuple[str, ...]
    states: tuple[str, ...]
    arguments: dict[str, object]
    answers: dict[str, object]
    healthy: bool
    answered: bool
    whole: bool
    open_questions: tuple[str, ...]
    probe_error_c: float
    step_s: float
    cooling_asked: bool
    pulled_out: bool


def make_history(seed: int) -> History:
    """Draw one history; the same seed always gives the same."""
    rng = np.random.default_rng([20211, seed])
    meats = pick(rng, MEATS)
    states = pick(rng, STATES)
    count = pick(rng, ((1, 0.55), (2, 0.3), (3, 0.15)))
    drafts = []
    easy = rng.random() < 0.25
    for number in range(count):
        probes = pick(rng, ((1, 0.75), (2, 0.2), (3, 0.05)))
        plain = easy or (number > 0 and rng.random() < 0.75)
        drafts.append(draw_piece(rng, meats, states, probes=probes, plain=plain))
    facts = [f"{'+'.join(meats)}, {'+'.join(states)}"]
    second = None
    if count == 1 and rng.random() < 0.1:
        second = draw_piece(
            rng, meats, states, probes=drafts[0].points_c.shape[0], plain=rng.random() < 0.5
        )
        drafts[0] = _without_a_later_part(drafts[0])
    for number in range(1, count):
        if rng.random() < 0.6:
            drafts[number].delay_s = float(int(rng.uniform(0.0, 5.0) * HOUR))
    return _Recorder(rng, seed, meats, states, drafts, second, facts).history()


def _without_a_later_part(draft: Draft) -> Draft:
    """End a piece at the end of its cook: its probe then goes into another."""
    kept = []
    for step in draft.steps:
        if step.kind not in ("cook", "damper", "fire out", "hold"):
            break
        kept.append(step)
    draft.steps = kept or draft.steps[:1]
    draft.march()
    return draft


class _Recorder:
    """Turn drafts into a log with faults, and note what is true of it."""

    def __init__(self, rng, seed, meats, states, drafts, second, facts) -> None:
        self.rng, self.seed, self.meats, self.states = rng, seed, meats, states
        self.drafts, self.second, self.facts = drafts, second, facts
        self.healthy = self.whole = True
        self.open: list[str] = []
        self.begins_late = False
        stated = rng.random() < 0.05 and len(drafts) == 1
        stated = stated and drafts[0].points_c.shape[0] == 1 and second is None
        self.stated = stated
        self.fahrenheit = rng.random() < 0.25
        self.error_c = float(rng.choice([0.3, 0.5, 1.0, 1.0, 1.0, 1.5]))
        if self.fahrenheit:
            self.error_c = max(self.error_c, 0.5)
        if stated:
            self.error_c = 0.0
        self.step_s = float(pick(rng, STEPS_S))
        self.answered = rng.random()

    def history(self) -> History:
        rng = self.rng
        truth, columns, kinds = self._truth_and_columns()
        end = max(column.size for column in columns.values())
        end = min(end, int(LONGEST_S))
        times = self._times(end)
        channels: dict[str, np.ndarray] = {}
        for name, column in columns.items():
            channels[name] = self._readings(column, times)
        probes = {name: "meat" for name in channels}
        fault = self._fault(channels, probes, times, truth)
        left_out = self._left_out(channels, probes, times) if fault is None else None
        times, channels, spans, left = self._gaps(times, channels, left_out)
        pieces_answer: object = {
            piece.name: tuple(kinds[piece.name]) for piece in truth if piece.name in kinds
        }
        if len(kinds) == 1 and rng.random() < 0.8:
            pieces_answer = "one"
        elif all(len(group) == 1 for group in kinds.values()) and rng.random() < 0.7:
            pieces_answer = "each"
        answers: dict[str, object] = {}
        all_answered = self.answered < 0.68
        if all_answered or rng.random() < 0.4:
            answers["pieces"] = pieces_answer
        wanted = {k: v for k, v in probes.items() if v}
        if all_answered or rng.random() < 0.3:
            answers["probes"] = wanted
        elif fault is not None:
            self.open.append(fault)
        if fault == "frozen":
            # Where the meat stood still too, no judge can know.
            self.open = ["frozen"] if self.stuck_wrong_k > 5.0 else []
        if fault == "pulled out":
            self.open = ["pulled out"]
        if self.begins_late and "probes" not in answers:
            self.open.append("late")
        if left_out is not None and "probes" not in answers:
            self.open.append("left out by its heading")
        moved = tuple(self._on_the_log(p.begins_s) for p in truth if p.name.endswith("second"))
        if all_answered or rng.random() < 0.3:
            answers["new_piece_s"] = moved
        elif moved:
            self.open.append("second cook")
        if spans or np.max(np.diff(times)) > LONGEST_STEP_S:
            self.whole = False
        if fault in ("late", "dead") and "probes" in answers:
            truth = self._as_answered(truth, kinds, fault)
        truth = self._until_the_last_row(truth)
        truth, arguments = self._surface_and_arguments(truth)
        cooling = bool(rng.random() < 0.3) and any(
            s.kind == "chill" for d in self.drafts for s in d.steps
        )
        if cooling:
            arguments["cooling"] = True
        answered = all_answered and fault not in ("frozen", "pulled out")
        log = plain = None
        if self.stated:
            only = next(iter(channels.values()))
            plain = (times, only)
            answers = {"new_piece_s": ()}
        else:
            log = self._log(times, channels, spans, left)
        return History(
            seed=self.seed,
            facts=tuple(self.facts),
            log=log,
            plain=plain,
            truth=truth,
            meats=self.meats,
            states=self.states,
            arguments=arguments,
            answers=answers,
            healthy=self.healthy,
            answered=answered or self.stated,
            whole=self.whole,
            open_questions=tuple(self.open),
            probe_error_c=self.error_c,
            step_s=self.step_s,
            cooling_asked=cooling,
            pulled_out=fault == "pulled out",
        )

    def _truth_and_columns(self):
        """Return the pieces, what each probe could see (NaN: not there), and whose it is."""
        rng = self.rng
        end = max(int(d.delay_s) + d.points_c.shape[1] for d in self.drafts)
        if self.second is not None:
            end += self.second.points_c.shape[1]
        end = min(end, int(LONGEST_S))
        truth, columns, kinds = [], {}, {}
        number = 0
        self.pit_c = np.full(end, 20.0)
        self.ends: dict[str, float] = {}
        for k, draft in enumerate(self.drafts):
            delay = int(draft.delay_s)
            seen, air = draft.points_c, draft.air_c
            if self.second is None and delay + seen.shape[1] < end:
                seen, air = self._stay_on(draft, end - delay)
            seen = seen[:, : end - delay]
            air = air[: end - delay]
            if k == 0:
                self.pit_c[: air.size] = air
                self.pit_c[air.size :] = air[-1]
            before = None
            if delay:
                before = rng.choice(["not plugged in", "in the fridge", "lying about"])
                if before == "lying about":
                    # It shows the kitchen first, and nobody can tell that from meat.
                    self.healthy = False
                elif before == "not plugged in" and seen[0, 0] > 11.0 + self.error_c:
                    self.begins_late = True
                self.facts.append(f"piece {k + 1} put on at {delay} s, before that {before}")
            whole = seen
            if before == "in the fridge":
                whole = np.concatenate((np.repeat(seen[:, :1], delay, axis=1), seen), axis=1)
            name = f"piece {k + 1}"
            piece = oracle.TruePiece(
                name, whole, begins_s=0.0 if before == "in the fridge" else float(delay)
            )
            truth.append(piece)
            kinds[name] = []
            for p in range(seen.shape[0]):
                number += 1
                channel = f"T{number}"
                kinds[name].append(channel)
                column = np.full(delay + seen.shape[1], np.nan)
                column[delay:] = seen[p]
                if before == "in the fridge":
                    column[:delay] = seen[p, 0]
                elif before == "lying about":
                    column[:delay] = 20.0
                    for i in range(40):
                        # The probe itself takes half a minute to follow.
                        column[delay + i] = seen[p, i] + (20.0 - seen[p, i]) * np.exp(-i / 10)
                columns[channel] = column
            self.facts.append(f"{name}: {draft.fact}; {in_words(draft)}")
        if self.second is not None:
            self._move_probes(truth, columns, end)
        return tuple(truth), columns, kinds

    def _stay_on(self, draft: Draft, seconds: int):
        """Let a piece that is ready go on until the record ends: hot, or in the cold."""
        now = draft.points_c[0, -1]
        if now > 57.0:
            last = Step("kept hot", float(self.rng.uniform(62, 75)), seconds)
        elif now < 8.0:
            last = Step("kept cold", float(self.rng.uniform(0.5, 3.0)), seconds)
        else:
            last = Step("left", float(self.rng.choice([2.0, 20.0])), seconds)
        draft.steps.append(last)
        draft.march()
        return draft.points_c[:, :seconds], draft.air_c[:seconds]

    def _move_probes(self, truth, columns, end: int) -> None:
        """Let the probes of the first piece go into a second, raw one."""
        first, second = self.drafts[0], self.second
        moved = first.points_c.shape[1]
        later = second.points_c[:, : end - moved]
        truth.append(oracle.TruePiece("piece 1 second", later, begins_s=float(moved)))
        for p, channel in enumerate(columns):
            column = np.full(moved + later.shape[1], np.nan)
            column[:moved] = first.points_c[p]
            column[moved:] = later[p]
            for i in range(min(60, later.shape[1])):
                share = np.exp(-i / 12)
                column[moved + i] += (first.points_c[p, -1] - later[p, i]) * share
            columns[channel] = column
        self.pit_c[moved : moved + later.shape[1]] = second.air_c[: later.shape[1]]
        self.facts.append(
            f"at {moved} s the probes go into a second piece: {second.fact}; {in_words(second)}"
        )

    def _times(self, end: int) -> np.ndarray:
        """Return the seconds at which the logger writes; long records are thinner."""
        for step_s, _ in STEPS_S:
            if step_s > self.step_s and end / self.step_s > MOST_SAMPLES:
                self.step_s = float(step_s)
        times = np.arange(0.0, end, self.step_s)
        if self.rng.random() < 0.2:
            jitter = self.rng.uniform(-0.2, 0.2, times.size) * self.step_s
            jitter[0] = 0.0
            times = np.clip(np.round(times + jitter), 0.0, end - 1.0)
            times = np.unique(times)
        if times.size < 3:
            times = np.linspace(0.0, end - 1.0, 3).round()
        return times

    def _readings(self, column: np.ndarray, times: np.ndarray) -> np.ndarray:
        """Return what the logger shows: truth, offset, noise and rounding within the error."""
        rng = self.rng
        out = np.full(times.size, np.nan)
        inside = times < column.size
        true = column[times[inside].astype(int)]
        if self.stated:
            out[inside] = true
            return out
        quantum = 1.0 / 1.8 if self.fahrenheit else 0.1
        room = self.error_c - quantum / 2
        offset = float(rng.uniform(-1.0, 1.0)) * room
        if rng.random() < 0.2:
            offset = float(np.sign(offset)) * room
        noise = rng.normal(0.0, float(rng.uniform(0.0, 0.25)) * room, true.size)
        seen = true + np.clip(offset + noise, -room, room)
        if self.fahrenheit:
            out[inside] = (np.round(seen * 1.8 + 32.0) - 32.0) / 1.8
        else:
            out[inside] = np.round(seen, 1)
        return out

    def _fault(self, channels, probes, times, truth) -> str | None:
        """Give a probe a fault, or add one that is not in meat; return the kind."""
        rng = self.rng
        if self.stated or rng.random() > 0.2:
            return None
        kind = str(
            rng.choice(
                [
                    "late",
                    "dead",
                    "frozen",
                    "in the air",
                    "never plugged in",
                    "spare",
                    "silent for a while",
                    "pulled out",
                ]
            )
        )
        names = list(channels)
        name = str(rng.choice(names))
        duration = times[-1]
        plugged = np.flatnonzero(np.isfinite(channels[name]))
        if kind in ("late", "dead") and self.second is not None:
            return None
        own_probe = kind not in ("in the air", "never plugged in", "spare")
        if own_probe and (plugged.size < 20 or duration < 3 * HOUR):
            return None
        own = (times[plugged[0]], times[plugged[-1]])
        if kind == "late":
            begin = own[0] + float(rng.uniform(0.15, 0.6)) * (own[1] - own[0])
            if channels[name][np.searchsorted(times, begin)] < 13.0:
                return None
            channels[name][times < begin] = np.nan
            self.cut = (name, float(times[np.searchsorted(times, begin)]))
            self.facts.append(f"{name} plugged in only at {begin:.0f} s")
        elif kind == "dead":
            begin = own[0] + float(rng.uniform(0.2, 0.85)) * (own[1] - own[0])
            if duration - begin < 0.6 * HOUR or len(names) == 1:
                return None
            channels[name][times > begin] = np.nan
            self.cut = (name, float(times[times <= begin][-1]))
            self.facts.append(f"{name} silent from {begin:.0f} s on")
        elif kind == "frozen":
            begin = own[0] + float(rng.uniform(0.1, 0.7)) * (own[1] - own[0])
            length = float(rng.uniform(1.7, 10.0)) * HOUR
            stuck = (times >= begin) & (times <= begin + length)
            stuck &= np.isfinite(channels[name])
            if stuck.sum() < 5:
                return None
            before = channels[name].copy()
            channels[name][stuck] = channels[name][np.flatnonzero(stuck)[0]]
            probes[name] = ""
            self.stuck_wrong_k = float(np.ptp(before[stuck]))
            self.facts.append(f"{name} frozen from {begin:.0f} s for {length:.0f} s")
        elif kind == "silent for a while":
            begin = own[0] + float(rng.uniform(0.05, 0.9)) * (own[1] - own[0])
            length = float(np.exp(rng.uniform(np.log(400.0), np.log(6 * HOUR))))
            channels[name][(times > begin) & (times < min(begin + length, own[1]))] = np.nan
            self.facts.append(f"{name} silent from {begin:.0f} s for {length:.0f} s")
            self.healthy = False
            return None
        elif kind == "pulled out":
            hot = np.flatnonzero(channels[name] >= 60.0)
            if not hot.size or own[1] - times[hot[-1]] < HOUR:
                return None
            begin = times[hot[-1]]
            level = float(rng.choice([rng.uniform(1.0, 4.5), rng.uniform(17.0, 24.0)]))
            after = times > begin
            fall = (channels[name][hot[-1]] - level) * np.exp(-(times[after] - begin) / 40.0)
            there = np.isfinite(channels[name][after])
            channels[name][after] = np.where(there, np.round(level + fall, 1), np.nan)
            probes[name] = ""
            self.facts.append(f"{name} pulled out at {begin:.0f} s and laid at {level:.0f} °C")
        elif kind == "in the air":
            near = self.pit_c[np.minimum(times, self.pit_c.size - 1).astype(int)]
            shift = float(rng.choice([0.0, rng.uniform(-4.0, 4.0)]))
            channels["T9"] = np.round(near + shift, 1)
            probes["T9"] = "in the air"
            self.facts.append("T9 lies in the pit's air")
        elif kind == "never plugged in":
            channels["T9"] = np.full(times.size, np.nan)
            probes["T9"] = "not used"
            self.facts.append("T9 was never plugged in")
        else:
            level = float(rng.uniform(15.0, 28.0))
            wander = np.cumsum(rng.normal(0.0, 0.02, times.size))
            channels["T9"] = np.round(level + wander, 1)
            probes["T9"] = "not used"
            self.facts.append(f"T9 is a spare and lies in the room at {level:.0f} °C")
            kind = "spare in the room"
        self.healthy = False
        return kind

    def _left_out(self, channels, probes, times) -> LeftOutColumn | None:
        """Let a reader leave out a column that was a probe in meat."""
        if self.stated or len(channels) < 2 or self.rng.random() > 0.04:
            return None
        name = str(self.rng.choice(list(channels)))
        self.healthy = False
        self.facts.append(f"the column {name} was left out by its heading")
        return LeftOutColumn(name, "its heading names no probe", channels.pop(name), True)

    def _gaps(self, times, channels, left):
        """Cut gaps, missing readings and spans of unknown length into the log."""
        rng = self.rng
        spans: list[tuple[float, float]] = []
        keep = np.ones(times.size, dtype=bool)
        shift = np.zeros(times.size)
        draw = rng.random()
        if self.stated or times.size < 30:
            draw = 1.0
        if draw < 0.09:
            begin = float(rng.uniform(0.05, 0.9)) * times[-1]
            length = float(np.exp(rng.uniform(np.log(400.0), np.log(6 * HOUR))))
            keep &= (times <= begin) | (times >= begin + length)
            self.whole = False
            self.facts.append(f"nothing written from {begin:.0f} s for {length:.0f} s")
        elif draw < 0.13:
            begin = float(rng.uniform(0.05, 0.85)) * times[-1]
            length = float(np.exp(rng.uniform(np.log(900.0), np.log(8 * HOUR))))
            gone = (times > begin) & (times < begin + length)
            if gone.sum() > 2 and np.any(times >= begin + length):
                keep &= ~gone
                after = int(np.flatnonzero(times >= begin + length)[0])
                before = int(np.flatnonzero(times <= begin)[-1])
                shift[after:] = times[after] - times[before] - self.step_s
                spans.append((float(times[before]), float(times[before]) + self.step_s))
                self.facts.append(
                    f"a restart at {begin:.0f} s hides {length:.0f} s (unknown span)"
                )
        if rng.random() < 0.12 and not self.stated:
            name = str(rng.choice(list(channels)))
            lost = rng.random(times.size) < 0.02
            lost[[0, -1]] = False
            channels[name] = np.where(lost, np.nan, channels[name])
            if self.step_s > 60.0:
                self.whole = False
            self.facts.append(f"{name} misses single readings")
        stay = np.flatnonzero(keep)
        if stay.size < 3:
            stay, spans = np.arange(times.size), []
            shift = np.zeros(times.size)
        new_times = times[stay] - shift[stay]
        channels = {name: values[stay] for name, values in channels.items()}
        if left is not None:
            left = dataclasses.replace(left, temperature_c=left.temperature_c[stay])
        self.shifted = (times[stay], new_times)
        return new_times, channels, tuple(spans), left

    def _on_the_log(self, second: float) -> float:
        """Return what the log's clock says at a second of real time."""
        real, shown = self.shifted
        k = max(int(np.searchsorted(real, second, side="right")) - 1, 0)
        return float(shown[k] + second - real[k] - shown[0])

    def _until_the_last_row(self, truth):
        """End each piece where the record ends: nobody asks what came after."""
        last = self.shifted[0][-1]
        return tuple(
            dataclasses.replace(
                piece, points_c=piece.points_c[:, : max(int(last - piece.begins_s) + 1, 1)]
            )
            for piece in truth
            if piece.begins_s <= last and piece.points_c.shape[1]
        )

    def _as_answered(self, truth, kinds, fault):
        """Begin or end a piece where its only probe does: a person said "it was meat"."""
        name, at = self.cut
        out = []
        for piece in truth:
            if kinds.get(piece.name) == [name]:
                k = max(int(at - piece.begins_s), 1)
                if fault == "late":
                    piece = dataclasses.replace(
                        piece, points_c=piece.points_c[:, k:], begins_s=float(at)
                    )
                else:
                    piece = dataclasses.replace(piece, points_c=piece.points_c[:, : k + 1])
            out.append(piece)
        return tuple(out)

    def _surface_and_arguments(self, truth):
        """Say what kept the surface moist, truly, and what the judge is told of it."""
        rng = self.rng
        arguments: dict[str, object] = {}
        if not self.stated and (self.error_c != 1.0 or rng.random() < 0.5):
            arguments["probe_error_c"] = self.error_c
        draw = rng.random()
        if draw < 0.8 or len(truth) > 1 or self.step_s > 120.0:
            arguments["surface"] = "sealed bag"
            return truth, arguments
        piece = truth[0]
        seconds = piece.points_c.shape[1]
        reached = oracle.judge_piece(piece, self.meats, self.states).lethality_s
        cooked = reached or seconds
        margin = oracle.stated_margin(self.error_c, self.step_s)
        seen = oracle.judge_piece(piece, self.meats, self.states, numbers=margin).lethality_s
        surely = seen or seconds
        if draw < 0.9:
            kind = str(rng.choice(["while cooking", "after the cook", "too short"]))
            spans = {
                "while cooking": (0.0, 0.97 * cooked),
                "after the cook": (min(surely + HOUR, seconds), float(seconds)),
                "too short": (0.1 * cooked, 0.1 * cooked + 1200.0),
            }[kind]
            at = np.arange(0.0, seconds + 60.0, 60.0)
            value = np.where((at >= spans[0]) & (at <= spans[1]), 95.0, 30.0)
            arguments["surface"] = "humid air"
            arguments["humidity"] = (at, value)
            self.facts.append(f"humid air {kind}")
            piece = dataclasses.replace(piece, wet_surface=False, moist_s=(spans,))
        elif draw < 0.95:
            lowest = float(rng.choice([110.0, 123.0, 130.0]))
            mass = float(rng.choice([3.0, 5.0, 7.0]))
            # Only as hot as it truly was: the pit's own lowest air after it was hot.
            air = np.full(seconds, lowest)
            arguments["oven_c"], arguments["mass_kg"] = lowest, mass
            self.facts.append(f"oven never under {lowest:.0f} °C, {mass:.0f} kg")
            piece = dataclasses.replace(piece, wet_surface=False, oven_c=air, mass_kg=mass)
        else:
            self.facts.append("nothing kept the surface moist")
            piece = dataclasses.replace(piece, wet_surface=False)
        return (piece,), arguments

    def _log(self, times, channels, spans, left) -> ProbeLog:
        """Return the log, with the pit's air in most."""
        made = []
        if self.rng.random() < 0.8:
            at = self.shifted[0]
            pit = self.pit_c[np.minimum(at, self.pit_c.size - 1).astype(int)]
            wander = self.rng.normal(0.0, 0.5, at.size)
            made.append(Channel("pit", "air", np.round(pit + wander, 1)))
        made += [Channel(name, "meat", values) for name, values in channels.items()]
        return ProbeLog(
            time_s=times - times[0],
            start=None,
            channels=tuple(made),
            left_out=() if left is None else (left,),
            unknown_spans=spans,
        )
