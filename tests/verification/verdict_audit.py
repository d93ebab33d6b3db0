"""Judge random histories with the package and with the oracle, and list where they part.

A program, not a test (`tests/verification/test_verdict_oracle.py` runs a few hundred):
``python tests/verification/verdict_audit.py [--count N] [--seed FIRST] [--one SEED]``.
It ends with 1 if the package says "met" anywhere where the truth does not confirm it, or
if more than a tenth of the histories that are met with a margin, told in full by healthy
probes, are lost.
"""

from __future__ import annotations

import argparse
import signal
import sys
import threading
import time
import warnings
from collections import Counter
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).parents[1]))

from support import verdict_oracle as oracle
from support.random_histories import make_history
from support.verdict_comparing import Tally, compare, run

HISTORIES = 20_000
MOST_LOST = 0.10


def say(tally: Tally, seconds: float, listed: int) -> None:
    """Print what came of it."""
    states = ", ".join(f"{number} {state}" for state, number in tally.states.most_common())
    print(f"{tally.counts['histories']} histories in {seconds:.0f} s: {states}")
    print(f'\n"met" that the truth does not confirm: {len(tally.unconfirmed)}')
    for kind, number in Counter(r.kind for r in tally.unconfirmed).most_common():
        print(f"  {number:5} {kind}")
    for result in tally.unconfirmed[:listed]:
        print(f"  seed {result.seed}: {'; '.join(text for _, text in result.broken)}")
    print(
        f'\n"met" that holds only if a short early heating is not yet the kill: '
        f"{len(tally.withheld)} {[r.seed for r in tally.withheld[:listed]]}"
    )
    print(
        f'\n"met" beyond the rule, not true since a probe was pulled out unseen: '
        f"{len(tally.pulled_out)} {[r.seed for r in tally.pulled_out[:listed]]}"
    )
    print(f'\n"met", and true, but a question stood open: {len(tally.passed_over)}')
    over = Counter(doubt for r in tally.passed_over for doubt in r.passed_over)
    for doubt, number in over.most_common():
        seeds = [r.seed for r in tally.passed_over if doubt in r.passed_over]
        print(f"  {number:5} {doubt} {seeds[:listed]}")
    print('\ntrue "met" that is lost by caution:')
    for name, words in (
        ("expected", "met with the margin, all answered, healthy probes, no gaps"),
        ("met_with_margin", "met with the margin, whatever the probes and the answers"),
        ("truly_met", "met, however narrowly"),
    ):
        of, lost = tally.counts[name], tally.counts[name + ", lost"]
        print(f"  {lost:5} of {of:5} ({lost / max(of, 1):6.1%})  {words}")
    for state, number in Counter(r.answer.state for r in tally.lost).most_common():
        print(f"  {number:5} of those first lost are {state!r}")
    for result in tally.lost[:listed]:
        print(f"  seed {result.seed}: {result.answer.state}: {str(result.answer.text)[:110]}")


def show_one(seed: int) -> None:
    """Print one history's judgement by both, in detail."""
    history = make_history(seed)
    result = compare(history)
    print(f"seed {seed}")
    for fact in history.facts:
        print(f"  {fact}")
    print(
        f"  probe error {history.probe_error_c} K, step {history.step_s:.0f} s, "
        f"cooling asked: {history.cooling_asked}"
    )
    told = {k: v for k, v in history.arguments.items() if k != "humidity"}
    print(f"  told: {told}; answers: {history.answers}; open: {history.open_questions}")
    if history.log is not None:
        print(
            f"  log: {history.log.time_s.size} samples to {history.log.duration_s:.0f} s, "
            f"{[c.name for c in history.log.channels]}, spans {history.log.unknown_spans}"
        )
    margin = oracle.stated_margin(history.probe_error_c, history.step_s)
    for numbers, words in ((None, "truth"), (margin, "truth with the margin")):
        for truth in oracle.judge_pieces(
            history.truth,
            history.meats,
            history.states,
            cooling_asked=history.cooling_asked,
            numbers=numbers,
        ):
            lethal = "never" if truth.lethality_s is None else f"{truth.lethality_s:.0f} s"
            print(
                f"  {words}, {truth.name}: {'met' if truth.met else 'NOT MET'}; "
                f"lethality {lethal}, come-up {truth.come_up_s / 3600:.3f} h, later stays "
                f"{truth.upper_s / 3600:.3f} h and {truth.whole_s / 3600:.3f} h"
            )
            for kind, text in truth.broken:
                print(f"    {kind}: {text}")
    print(
        f"  withheld credit forgives: {result.withheld}; expected: {result.expected}; "
        f"NOT CONFIRMED: {result.unconfirmed}; passed over: {result.passed_over}"
    )
    print(f"  package: {result.answer.state}: {result.answer.text!s}")
    whole = result.answer.whole
    for piece in getattr(whole, "pieces", ()) or (() if whole is None else (whole,)):
        name = getattr(piece, "name", "record")
        channels = getattr(piece, "channels", "")
        print(f"    {name} {channels}: {piece.state}: {piece.headline.shown('C')}")
        for standard in getattr(piece, "standards", ()):
            if standard.counts:
                print(f"      {standard.name}: {standard.state}: {standard.governing!s}")
        for limit in getattr(piece, "limits", ()):
            print(f"      {limit.name} {limit.kind}: {limit.state}: {limit.text!s}")
    for doubt in getattr(whole, "doubts", ()):
        print(f"    doubt: {getattr(doubt, 'text', doubt)!s}")


def main() -> int:
    """Run, print, and return an exit code."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--count", type=int, default=HISTORIES)
    parser.add_argument("--seed", type=int, default=0, help="the first seed")
    parser.add_argument("--one", type=int, help="print one history in detail")
    parser.add_argument("--listed", type=int, default=40, help="how many of a kind to list")
    asked = parser.parse_args()
    warnings.simplefilter("error")
    np.seterr(all="raise", under="ignore")
    if asked.one is not None:
        show_one(asked.one)
        return 0
    began = time.monotonic()
    stop = threading.Event()
    # Whoever ends a long run early still gets what it has found.
    signal.signal(signal.SIGTERM, lambda *_: stop.set())
    tally = run(asked.count, asked.seed, progress=True, stopped=stop.is_set)
    say(tally, time.monotonic() - began, asked.listed)
    return 1 if tally.unconfirmed or tally.lost_share >= MOST_LOST else 0


if __name__ == "__main__":
    sys.exit(main())
