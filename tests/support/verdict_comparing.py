"""Judge a random history by the package and by the oracle, and count where they part."""

from __future__ import annotations

import inspect
import time
from collections import Counter
from collections.abc import Callable
from dataclasses import dataclass, field

import coreward
from coreward.errors import CorewardError
from support import verdict_oracle as oracle
from support.random_histories import History, make_history

PROGRESS_S = 20.0

Judge = Callable[[History], "Answer"]


@dataclass(frozen=True)
class Answer:
    """What a judge says of one history: its state, and its first sentence."""

    state: str
    text: str = ""
    whole: object = None


@dataclass(frozen=True)
class Compared:
    """One history judged by both.

    Attributes
    ----------
    seed : int
    answer : Answer
    broken : tuple of (str, str)
        What the truth does not meet: kind and sentence, with the piece's name in it.
    withheld : bool
        Broken only if a short early heating counts as the kill; met if it does not.
    passed_over : tuple of str
        Doubts nobody answered although the package says "met".
    expected : bool
        Met with the stated margin, everything answered, every probe healthy, no gap.
    truly_met, met_with_margin : bool
    pulled_out : bool
        Whether a probe was pulled out of hot meat unseen: counted apart, as the rule does
        not name it.
    facts : tuple of str
    """

    seed: int
    answer: Answer
    broken: tuple[tuple[str, str], ...]
    withheld: bool
    passed_over: tuple[str, ...]
    expected: bool
    truly_met: bool
    met_with_margin: bool
    pulled_out: bool
    facts: tuple[str, ...]

    @property
    def unconfirmed(self) -> bool:
        """Whether the package says "met" and no reading of the truth agrees."""
        return (
            self.answer.state == "met"
            and bool(self.broken)
            and not self.withheld
            and not self.pulled_out
        )

    @property
    def kind(self) -> str:
        """What is broken, in a few words."""
        return " + ".join(sorted({kind for kind, _ in self.broken}))


def package_judge(history: History) -> Answer:
    """Ask the package, leaving out what an older one does not know."""
    known = inspect.signature(coreward.verdict).parameters
    arguments = dict(history.arguments)
    condition: object = history.states
    if "pieces" not in known:
        # Before states were a set: one of them, and none for stuffed meat.
        plain = [state for state in history.states if state != "stuffed"]
        condition = plain[0] if plain else "rolled"
    elif len(history.states) == 1:
        condition = history.states[0]
    for name, value in history.answers.items():
        if name in known:
            arguments[name] = value
    record = history.log if history.log is not None else history.plain
    meat: object = history.meats if len(history.meats) > 1 else history.meats[0]
    try:
        answer = coreward.verdict(record, meat=meat, condition=condition, **arguments)
    except CorewardError as error:
        return Answer("refused", str(error))
    if answer.state == "met" and getattr(answer, "exit_code", 0) != 0:
        return Answer("cannot tell", "met, but its exit code is not 0", answer)
    return Answer(answer.state, answer.headline, answer)


def compare(history: History, judge: Judge = package_judge) -> Compared:
    """Judge one history by both."""
    answer = judge(history)
    truths = oracle.judge_pieces(
        history.truth, history.meats, history.states, cooling_asked=history.cooling_asked
    )
    broken = tuple(
        (kind, f"{truth.name}: {text}") for truth in truths for kind, text in truth.broken
    )
    margin = oracle.stated_margin(history.probe_error_c, history.step_s)
    withheld = (
        answer.state == "met"
        and bool(broken)
        and all(
            truth.met
            or oracle.judged_with_credit_withheld(
                piece,
                history.meats,
                history.states,
                margin,
                cooling_asked=history.cooling_asked,
            )
            is not None
            for truth, piece in zip(truths, history.truth, strict=True)
        )
    )
    with_margin = not broken and all(
        truth.met
        for truth in oracle.judge_pieces(
            history.truth,
            history.meats,
            history.states,
            cooling_asked=history.cooling_asked,
            numbers=margin,
        )
    )
    return Compared(
        seed=history.seed,
        answer=answer,
        broken=broken,
        withheld=withheld,
        passed_over=history.open_questions if answer.state == "met" else (),
        expected=with_margin and history.healthy and history.answered and history.whole,
        truly_met=not broken,
        met_with_margin=with_margin,
        pulled_out=history.pulled_out,
        facts=history.facts,
    )


@dataclass
class Tally:
    """What came of many histories."""

    states: Counter[str] = field(default_factory=Counter)
    unconfirmed: list[Compared] = field(default_factory=list)
    withheld: list[Compared] = field(default_factory=list)
    pulled_out: list[Compared] = field(default_factory=list)
    passed_over: list[Compared] = field(default_factory=list)
    lost: list[Compared] = field(default_factory=list)
    counts: Counter[str] = field(default_factory=Counter)

    def add(self, result: Compared) -> None:
        """Count one history."""
        self.counts["histories"] += 1
        self.states[result.answer.state] += 1
        met = result.answer.state == "met"
        for name in ("truly_met", "met_with_margin", "expected"):
            if getattr(result, name):
                self.counts[name] += 1
                self.counts[name + ", lost"] += not met
        if result.expected and not met:
            self.lost.append(result)
        if result.unconfirmed:
            self.unconfirmed.append(result)
        elif met and result.broken and result.pulled_out:
            self.pulled_out.append(result)
        elif met and result.withheld:
            self.withheld.append(result)
        if result.passed_over and not result.unconfirmed:
            self.passed_over.append(result)

    @property
    def lost_share(self) -> float:
        """Share of what should be met that the package does not call met."""
        return self.counts["expected, lost"] / max(self.counts["expected"], 1)


def run(
    count: int,
    first: int,
    judge: Judge = package_judge,
    progress: bool = False,
    stopped: Callable[[], bool] = lambda: False,
) -> Tally:
    """Judge many histories, all of them or until somebody stops it."""
    tally = Tally()
    began = said = time.monotonic()
    for seed in range(first, first + count):
        if stopped():
            break
        try:
            result = compare(make_history(seed), judge)
        except Exception as error:
            error.add_note(f"history of seed {seed}")
            raise
        tally.add(result)
        if progress and result.unconfirmed:
            print(f"seed {seed} is not confirmed: {result.kind}", flush=True)
        now = time.monotonic()
        if progress and now - said > PROGRESS_S:
            said = now
            done = seed - first + 1
            print(
                f"{done} of {count}, {len(tally.unconfirmed)} not confirmed, "
                f"{(now - began) / done * (count - done) / 60:.0f} min to go",
                flush=True,
            )
    return tally
