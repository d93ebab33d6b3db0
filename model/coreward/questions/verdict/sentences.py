"""The headline, and what an answer assumed and warns of."""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np

from coreward.physics.lethality import CREDIT_FROM_C, kinetics_names, load_kinetics
from coreward.questions.verdict.answer import (
    CANNOT_TELL,
    CAUTION,
    MET,
    NOT_MET,
    Doubt,
    IntegralView,
    LimitVerdict,
    PieceVerdict,
    StandardVerdict,
    State,
)
from coreward.questions.verdict.authorities import limit_name
from coreward.questions.verdict.case import Case
from coreward.questions.verdict.kill import hidden_fall
from coreward.questions.verdict.record import Read
from coreward.words import Difference, Published, Rate, Text, say, together

_POINTS = {
    "intact": "Intact: bacteria sit on the surface, so the surface decides what is at risk; "
    "the standards still ask for the coldest point.",
    "tenderised": "Tenderised: needles or blades carry the surface inwards; the coldest point "
    "decides.",
    "injected": "Injected: needles carry the surface inwards; the coldest point decides.",
    "rolled": "Rolled: the former surface lies inside; the coldest point decides.",
    "stuffed": "Stuffed: the stuffing is asked for as well; the coldest point of meat and "
    "stuffing decides.",
    "ground": "Ground: the surface is everywhere; the coldest point decides.",
}


def piece_headline(
    state: State,
    standards: Sequence[StandardVerdict],
    limits: Sequence[LimitVerdict],
    case: Case,
    by_meat: Sequence[tuple[str, State]],
) -> Text:
    """Return one sentence about one piece: target and assumptions."""
    under = say(
        "for {0}, {1}, at {2}, with {3} of probe error",
        " and ".join(case.meats),
        case.condition,
        case.record.point,
        Difference(case.probe_error_c),
    )
    if len({found for _, found in by_meat}) > 1:
        parts = "; ".join(f"as {meat}: {found}" for meat, found in by_meat)
        return say(
            f"Cannot tell, because the meat is not stated ({parts}), judged {{0}}. Name the "
            "meat to get one answer.",
            under,
        )
    deciding: list[tuple[Text, State]] = [(i.title, i.state) for i in standards if i.counts]
    deciding += [(limit_name(item), item.state) for item in limits if item.counts]
    fitting = together(
        dict.fromkeys(title for title, found in deciding if found == state), "; "
    )
    if state == MET:
        return say("Meets {0}, under these assumptions: {1}.", fitting, under)
    if state == NOT_MET:
        return say("Does not meet {0}, judged {1}.", fitting, under)
    return say(
        "Cannot tell under {0}, judged {1}.",
        fitting if fitting.values else "any standard chosen",
        under,
    )


def headline(
    state: State,
    worst: PieceVerdict,
    pieces: Sequence[PieceVerdict],
    doubts: Sequence[Doubt],
) -> Text:
    """Return the sentence of the whole answer: the worst piece, and what is open."""
    said = worst.headline
    if len(pieces) > 1:
        said = say("{0} (the piece that decides, of {1}): {2}", worst.name, len(pieces), said)
    open_doubts = [doubt for doubt in doubts if doubt.blocks]
    if open_doubts and state == CANNOT_TELL:
        questions = together([doubt.text for doubt in open_doubts])
        return say(
            "Cannot tell until a person has answered: {0} As the rest reads: {1}",
            questions,
            said,
        )
    return said


def assumptions(
    case: Case,
    how: Text,
    read: Read,
    pieces: int,
) -> tuple[Text, ...]:
    """Return what the answer rests on."""
    record = case.record
    found: list[Text] = [
        say("Point: {0}. {1}", record.point, " ".join(_POINTS[s] for s in case.states)),
        say(
            "Limits are target plus {0} of probe error"
            + (" plus {1} for placement." if case.placement_error_c else "."),
            Difference(case.probe_error_c),
            Difference(case.placement_error_c),
        ),
        "Holds: unbroken time at or above the row; crossings between samples earn nothing.",
        "Time between two limits: every step that could lie between them counts, whatever the "
        "probe's error; a gap counts whole.",
        say("No kill is credited below {0} (come-up).", Published(CREDIT_FROM_C)),
    ]
    if math.isfinite(record.longest_gap_s):
        longest = f"{record.longest_gap_s:.0f} s"
        found.append(
            say("A step above {0} between samples is a gap and earns nothing.", longest)
        )
    if hidden_fall(case) > 0.0:
        fall = Rate(case.rules["hidden_fall"], "min")
        found.append(say("Integral: between samples the meat is taken to fall at {0}.", fall))
    if record.kind == "cook":
        found.append(
            "The temperatures are simulated: they say what to expect, and only a thermometer "
            "in the piece says what happened."
        )
    if not case.stated:
        found.append(
            "The meat is not stated: judged as beef and as poultry; where the two differ it "
            "cannot be told."
        )
    elif len(case.meats) > 1:
        found.append("A mixture: the rules of all its meats are asked for.")
    if case.growth_log:
        found.append(f"{case.growth_log:g} log of growth are added to the lethality required.")
    if len(read.ways) > 1:
        found.append(say("Read in {0} ways; the worst holds: {1}.", len(read.ways), how))
    if pieces > 1:
        found.append("Each piece is judged by its own whole history; the worst decides.")
    return (*found, *read.said)


def cautions(
    case: Case,
    worst: PieceVerdict,
    integrals: Sequence[IntegralView],
    *,
    asked_cooling: bool,
) -> tuple[Text, ...]:
    """Return what to beware of."""
    found: list[Text] = [CAUTION]
    if case.record.kind != "cook":
        found.append(
            "The probe may not sit at the coldest point: check a second place, or say how much "
            "colder that point may be, or how thick and of what shape the piece is and how "
            "deep the probe sat."
        )
    cooling = [item for item in worst.limits if item.kind == "cooling"]
    if not asked_cooling and any(item.state == CANNOT_TELL for item in cooling):
        found.append(
            "The cooling is not judged: the record ends before it is over. Chill in time, "
            "log it, and ask for the cooling to be judged."
        )
    for view in integrals:
        if view.name in kinetics_names():
            kinetics = load_kinetics(view.name)
            if not any(kinetics.serves(meat) for meat in case.meats):
                found.append(
                    f"{kinetics.organism} was measured in {kinetics.food}, which says nothing "
                    f"sure about {' and '.join(case.meats)}."
                )
    weak = [view.name for view in integrals if view.state == NOT_MET]
    met: list[Text] = [
        item.title if item.counts else say("{0} (which does not decide here)", item.title)
        for item in worst.standards
        if item.state == MET
    ]
    if weak and met:
        found.append(
            say(
                f"The integral at 95 % confidence falls short for {', '.join(weak)}, although "
                "the rows are met of {0}: they are more lenient there than the kinetics.",
                together(met, ", "),
            )
        )
    if case.record.surface_activity is not None:
        driest = float(np.nanmin(case.record.surface_activity))
        found.append(
            f"The simulated surface dries to a water activity of {driest:.2f}; kinetics and "
            "tables hold for a moist surface."
        )
    return tuple(found)
