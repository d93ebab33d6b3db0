"""The sentences of a plan."""

from __future__ import annotations

import datetime as dt
import math

from coreward import tables
from coreward.cook.rest import BOX
from coreward.cook.usual_piece import assumed_words
from coreward.questions.plan.cooks import cut_pace
from coreward.questions.plan.day import PieceOutlook, Plan
from coreward.questions.plan.inputs import PitPlan, PlannedPiece
from coreward.questions.plan.late import LateSign
from coreward.words import (
    Degrees,
    Difference,
    Held,
    Lasting,
    MissingDifference,
    Needed,
    Opening,
    Published,
    Say,
    Text,
    say,
    together,
)

_HOUR = 3600.0


def chances(chance: float) -> str:
    """Return a chance in words, such as "89 in 100"; never surer than it is.

    Tenths would do for one chance, but of two that differ little they make one or two tenths.
    """
    hundredths = math.floor(100.0 * chance + 1e-9)
    return f"{min(hundredths, 99)} in 100" if hundredths >= 10 else "less than 10 in 100"


def risk(chance: float) -> str:
    """Return the chance of what is not wanted in words; never smaller than it is."""
    hundredths = math.ceil(100.0 * chance - 1e-9)
    return f"{min(hundredths, 99)} in 100" if hundredths >= 10 else "less than 10 in 100"


def clock_text(moment: dt.datetime, near: dt.datetime) -> str:
    """Clock time, with the day and the clock's name where they are not those of `near`."""
    day = "" if moment.date() == near.date() else f"{moment:%a} "
    name = "" if moment.utcoffset() == near.utcoffset() else f" {moment.tzname()}"
    return f"{day}{moment:%H:%M}{name}"


def serving_text(serve: dt.datetime) -> str:
    """Clock time of the serving hour, with the clock's name where it comes twice."""
    twice = serve.utcoffset() != serve.replace(fold=1 - serve.fold).utcoffset()
    return f"{serve:%H:%M} {serve.tzname()}" if twice else f"{serve:%H:%M}"


# -- what stands beside a step ----------------------------------------------------------


def pull_words(item: PlannedPiece, core_c: float, then_s: float, *, softened: bool) -> Say:
    """Say at what a piece is pulled: the core that is counted on, and what else."""
    wish_c = item.wanted.core_c
    parts: list[Text] = [say("core {0}", Published(core_c))]
    if softened and item.wanted.tenderness is not None:
        parts.append(" and tender")
    if then_s > 0.0:
        parts.append(say(" and {0} more, for the hold tables", Needed(then_s)))
    elif core_c > wish_c:
        parts.append(say(" ({0} was wanted; the hold tables ask for more)", Published(wish_c)))
    elif core_c < wish_c:
        parts.append(say(" ({0} was wanted and cannot be)", Published(wish_c)))
    return together(parts, "")


def wrap_words(item: PlannedPiece) -> Say:
    """Say how and when a piece is wrapped."""
    return say("in {0}, core {1}", item.wrap or "", Degrees(item.wrap_at_core_c or math.nan))


def hold_words(item: PlannedPiece) -> Say:
    """Say where and how long it rests at least."""
    if item.hold.least_s <= 0.0:
        return say("{0}, no rest asked for", item.hold.place)
    return say("{0}, at least {1}", item.hold.place, Needed(item.hold.least_s))


def hold_note(item: PlannedPiece, limit_c: float, hot_s: float) -> Say:
    """Say that a hold falls below the hot-holding limit before its end."""
    hold = item.hold
    if hot_s < 60.0:
        when: Text = "from the start: that is a rest and no hot hold"
    elif hot_s < hold.least_s:
        when = say(
            "after {0}, within its rest of {1}: that is a rest and no hot hold",
            Held(hot_s),
            Lasting(hold.least_s),
        )
    else:
        when = say("after {0}, not the {1} asked for", Held(hot_s), Lasting(hold.most_s))
    return say(
        "{0} in its {1} falls below the hot-holding limit ({2} with the probe's error) {3}.",
        Opening(item.name),
        hold.place,
        Published(limit_c),
        when,
    )


# -- what cannot be -----------------------------------------------------------------------


def cannot_be(item: PlannedPiece, pit: PitPlan, share: float, nearest_c: float) -> Say:
    """Say that a core cannot be had, why, and what is nearest."""
    wish_c = item.wanted.core_c
    hottest_c = max(pit.air_c, pit.turn_up_c or pit.air_c)
    if hottest_c <= wish_c:
        why = say(
            "the pit of {0} is {1} colder than that",
            Degrees(hottest_c),
            MissingDifference(wish_c - hottest_c),
        )
    else:
        why = say(_LONGEST, f"{share:.0%}", _horizon())
    return say(
        "{0} cannot be at {1} with the chance wanted: {2}. Nearest possible in this pit: a "
        "core of {3}, {4} short; or a hotter pit, an earlier wrap or a smaller piece.",
        Opening(item.name),
        Published(wish_c),
        why,
        Published(nearest_c),
        MissingDifference(wish_c - nearest_c),
    )


_LONGEST = "in {0} of the draws it is not ready within the longest cook ({1})"


def _horizon() -> Lasting:
    return Lasting(tables.load("plan", "numerics")["horizon"])


def cannot_have(item: PlannedPiece, share: float, softening: float) -> Say:
    """Say that a piece cannot be as soft, or held as long, as is wanted."""
    what = "hold"
    if item.wanted.tenderness is not None and softening < item.wanted.tenderness:
        percent = math.floor(100.0 * softening)
        what = f"softening ({percent} % of the way to tender is what it reaches)"
    return say(
        "{0} cannot have the {1} that is wanted: {2}. Nearest possible: the core of {3} "
        "without it; or a hotter pit.",
        Opening(item.name),
        what,
        say(_LONGEST, f"{share:.0%}", _horizon()),
        Published(item.wanted.core_c),
    )


def uncomputed(item: PlannedPiece, failures: int, members: int) -> Say:
    """Say that no time can be named for a piece."""
    return say(
        "{0} is never ready in what was computed ({1} of {2} draws failed): no time can be "
        "named for it. Check its size and start, and plan the others without it.",
        Opening(item.name),
        failures,
        members,
    )


def past_words(serve: dt.datetime, not_before: dt.datetime | None) -> tuple[Text, ...]:
    """Say that the serving hour is past when the fire can first be lit, if it is."""
    if not_before is None or not_before.timestamp() < serve.timestamp():
        return ()
    first = clock_text(not_before.astimezone(serve.tzinfo), serve)
    return (f"Too late for {serving_text(serve)}: the fire cannot be lit before {first}.",)


# -- the plan -----------------------------------------------------------------------------


def sentences(p: Plan) -> tuple[Text, ...]:
    """Say the plan: what warns first."""
    serve = p.serve_at
    at = serving_text(serve)
    text: list[Text] = [together(p.warnings)] if p.warnings else []
    text.append(
        f"Light the fire at {clock_text(p.light.planned, serve)} to serve at {at} on "
        f"{serve:%A} {serve.day} {serve:%B}: "
        f"ready by then in {chances(p.chance_ready)}{_too_early(p)}."
    )
    text += [_raised(one) for one in p.pieces if one.possible and _is_raised(one)]
    if p.light.latest > p.light.earliest:
        text.append(
            f"Lit between {clock_text(p.light.earliest, serve)} and "
            f"{clock_text(p.light.latest, serve)} the odds stay at {chances(p.chance_wanted)} "
            "or better."
        )
    text += shifted(p)
    for one in p.pieces:
        text += _of_piece(one, p, serve)
    if p.nearest_serve_at is not None:
        text.append(
            f"{at} cannot be kept with the chance wanted. Nearest possible: serve "
            f"at {clock_text(p.nearest_serve_at, serve)}."
        )
    text += [one.hold_note for one in p.pieces if one.hold_note]
    return (*text, *waits(p))


def _too_early(p: Plan) -> str:
    """Say how often something is done before its hold could keep it until then."""
    if p.chance_too_early <= 0.0:
        return ""
    whose = "it is" if len(p.pieces) == 1 else "a piece is"
    return f"; {whose} done too early for its hold in {risk(p.chance_too_early)}"


def shifted(p: Plan) -> list[Text]:
    """Say what becomes of the odds when the fire is lit an hour earlier or later."""
    text: list[Text] = []
    for shift, words in ((-_HOUR, "an hour earlier"), (_HOUR, "an hour later")):
        moved = p.light.planned.timestamp() + shift
        if p.not_before is not None and moved < p.not_before.timestamp():
            continue
        ready, _, early = p.curve.at(shift)
        text.append(
            f"Lit {words}: ready in {chances(ready)}, too early for a hold in {risk(early)}."
        )
    return text


def _is_raised(one: PieceOutlook) -> bool:
    return one.pull_core_c > one.item.wanted.core_c or one.pull_then_s > 0.0


def _raised(one: PieceOutlook) -> Say:
    """Say that the hold tables ask for more than the core wanted."""
    if one.pull_then_s > 0.0:
        return say(
            "{0} is pulled {1} after a core of {2}: only then are the hold tables met in "
            "every draw.",
            Opening(one.item.name),
            Needed(one.pull_then_s),
            Published(one.pull_core_c),
        )
    return say(
        "{0} is pulled at a core of {1} and not of {2}: only there are the hold tables met "
        "in every draw.",
        Opening(one.item.name),
        Published(one.pull_core_c),
        Published(one.item.wanted.core_c),
    )


def _of_piece(one: PieceOutlook, p: Plan, serve: dt.datetime) -> list[Text]:
    """Say what is not as it should be with a piece that can be ready."""
    name, text = Opening(one.item.name), []
    if one.possible and one.chance_ready < p.chance_wanted and one.item.not_before is not None:
        text.append(
            say(
                "{0} comes late: with it the hour is kept in {1} only.",
                name,
                chances(one.chance_ready),
            )
        )
    pull = one.step("pull")
    if pull is not None and pull.planned.timestamp() > serve.timestamp():
        text.append(
            say(
                "{0} is pulled at about {1}, after the serving hour.",
                name,
                clock_text(pull.planned, serve),
            )
        )
    if one.possible and one.chance_as_wanted < p.chance_wanted:
        text.append(_not_as_wanted(one))
    return [*text]


# -- early, late, cannot tell ---------------------------------------------------------------


def slips(p: Plan) -> tuple[Text, ...]:
    """Say what to do when it is early or late, and which ends no table could judge."""
    found: list[Text] = []
    early = max(p.pieces, key=_early_s)
    if _early_s(early) >= _EARLY_S:
        found.append(_early(early, p))
    late = min(p.pieces, key=lambda one: one.chance_ready)
    if late.late is not None:
        found.append(_late(late, late.late, p))
    unsure = [one for one in p.pieces if one.unsure]
    if len(unsure) == 1:
        found.append(unsure[0].unsure)
    elif unsure:
        # In full, each stands in its own entry of the calendar and at the end of the page.
        names = ", ".join(one.item.name for one in unsure)
        found.append(f"The hold tables cannot tell whether the ends of {names} are enough.")
    return tuple(found)


# Less is no earliness: a piece may rest that much longer.
_EARLY_S = 900.0


def _early_s(one: PieceOutlook) -> float:
    """How long a piece most likely waits beyond its rest. [s]."""
    pull, cut = one.step("pull"), one.step("slice")
    if not one.possible or pull is None or cut is None:
        return 0.0
    return cut.planned.timestamp() - one.item.hold.least_s - pull.planned.timestamp()


def _about(seconds: float) -> Lasting:
    return Lasting(round(seconds / 600.0) * 600.0)


def _early(one: PieceOutlook, p: Plan) -> Say:
    """Say how early a piece most likely is, what keeps it, and how much later to light."""
    pull, cut = one.step("pull"), one.step("slice")
    assert pull is not None
    assert cut is not None
    serve, place = p.serve_at, one.item.hold.place
    until = pull.planned + dt.timedelta(seconds=0.0 if math.isnan(one.hot_s) else one.hot_s)
    # A minute that it may not last is not promised.
    keeps = clock_text(until.replace(second=0), serve)
    if not one.hot_s >= 60.0:
        keep: Text = say("nothing here keeps it hot that long in the {0}", place)
    elif until < cut.planned:
        keep = say(
            "in the {0} it stays above {1} only until {2}{3}",
            place,
            Published(one.hot_limit_c),
            keeps,
            _oven_keeps(one),
        )
    else:
        keep = say(
            "keep it in the {0}, where it stays above {1} until {2}",
            place,
            Published(one.hot_limit_c),
            keeps,
        )
    early_s = _early_s(one)
    if len(p.pieces) > 1:
        on = one.step("on")
        assert on is not None
        later = clock_text(on.planned + dt.timedelta(seconds=early_s), serve)
        instead = say("put it on at {0}, then as likely late as not", later)
    else:
        # As far as the odds were counted.
        i = int((p.curve.shift_s <= early_s).nonzero()[0][-1])
        later = clock_text(
            p.light.planned + dt.timedelta(seconds=float(p.curve.shift_s[i])), serve
        )
        instead = say(
            "light at {0}, ready then in {1}", later, chances(float(p.curve.ready[i]))
        )
    return say(
        "Most likely {0} is off about {1}, {2} early: {3}; or {4}.",
        one.item.name,
        clock_text(pull.planned, serve),
        _about(early_s),
        keep,
        instead,
    )


def _oven_keeps(one: PieceOutlook) -> Text:
    """Name what keeps a piece longer; bare it would dry, and be as cool as what dries is."""
    oven_c = tables.load("rest", "warm oven")["air_c"]
    if one.item.hold.place != BOX or one.item.wrap is None or oven_c <= one.hot_limit_c:
        return ""
    return say(" (an oven of {0} would keep it longer, wrapped)", Degrees(oven_c))


def _late(one: PieceOutlook, sign: LateSign, p: Plan) -> Say:
    """Say how to see in time that a piece will be late, and what can be promised then."""
    serve = p.serve_at

    def clock(seconds: float) -> str:
        moment = dt.datetime.fromtimestamp(seconds, dt.UTC).astimezone(serve.tzinfo)
        return clock_text(moment, serve)

    then: Text = "My log says what helps"
    if math.isfinite(sign.serve_s):
        then = say(
            "promise {0}, or see in My log what helps",
            clock(sign.serve_s),
        )
    return say(
        "Still below {0} at {1}? Then {2} is kept in {3} only: {4}.",
        Degrees(sign.below_c),
        clock(sign.check_s),
        serving_text(serve),
        chances(sign.keeps),
        then,
    )


def waits(p: Plan) -> tuple[Text, ...]:
    """Say which pieces may have to wait longer than their hold."""
    short = [one for one in p.pieces if one.wait_s > one.most_hold_s]
    if p.keeps_chance or not short:
        return ()
    longest = together(
        (
            say(
                "{0} may have to wait {1} and its hold allows {2}",
                one.item.name,
                Needed(one.wait_s),
                Held(one.most_hold_s),
            )
            for one in short
        ),
        "; ",
    )
    if p.chance_ready < p.chance_wanted:
        return (say("Lit then, {0}.", longest),)
    return (
        say(
            "To be ready with the chance wanted, {0}. A log narrows that: plan again when the "
            "cook is under way, or measure the pieces and the pit.",
            longest,
        ),
    )


def _not_as_wanted(one: PieceOutlook) -> Say:
    wanted, parts = one.item.wanted, []
    if wanted.most_loss is not None:
        parts.append(
            f"loss {one.loss[0]:.0%} to {one.loss[2]:.0%}, wanted {wanted.most_loss:.0%}"
        )
    if wanted.crust_activity is not None:
        low, _, high = one.crust_activity
        parts.append(
            f"water activity of the crust {low:.2f} to {high:.2f}, wanted "
            f"{wanted.crust_activity:.2f}"
        )
    if wanted.lethality and one.chance_come_up < 1.0:
        parts.append(f"come-up within the published limit in {chances(one.chance_come_up)}")
    return say(
        "{0} is as wanted in {1} only: {2}.",
        Opening(one.item.name),
        chances(one.chance_as_wanted),
        "; ".join(parts),
    )


def assumptions(
    pit: PitPlan, items: tuple[PlannedPiece, ...], members: int
) -> tuple[Text, ...]:
    """Say what a plan takes for granted."""
    level = pit.doubt.get("pit_level", tables.load("plan")["pit_level"])
    text: list[Text] = [
        f"{members} draws of piece, meat, pit and weather (tables forecast and plan); pieces "
        "of a draw share the pit's level, air and dampness.",
        say(
            "The pit is held within {0} of {1} in the mean (two draws in three). {2} are left "
            "for it to warm up.",
            Difference(level),
            Degrees(pit.air_c),
            Lasting(pit.warm_up_s),
        ),
        "A piece is pulled when its coldest point is there. Pieces do not shade each other.",
        "Loss, crust and tenderness are those at the pull; softening in the hold comes on top.",
        "The tables judge intact pieces up to the pull, without the rest.",
        "How long a hold keeps hot is computed for a thinner piece, alone in it.",
    ]
    for item in items:
        words = assumed_words(item.piece)
        if words:
            text.append(say("{0}: {1}", Opening(item.name), words))
    usual = [item.name for item in items if cut_pace(item) is not None]
    if usual and pit.turn_up_c is None:
        text.append(
            say(
                "How long such pieces usually take (common practice, no source; cooks of the "
                "library, all invented) counts beside the physics for {0}.",
                together(usual, ", "),
            )
        )
    if pit.turn_up_c is not None:
        text.append(
            "The pit is turned up so long after the first piece went on; the odds of lighting "
            "earlier or later keep that."
        )
    if any(i.wrap is None and i.hold.place == BOX for i in items):
        text.append("A bare piece is wrapped in foil for the box.")
    return tuple(text)
