"""The lesson of the notebook rest-and-carryover."""

from __future__ import annotations

from collections.abc import Sequence
from functools import lru_cache

from coreward.cook.rest import rest_stage
from coreward.cook.stages import Liquid, Piece, Stage, Surroundings
from coreward.lessons.lesson import Exercise, Finding, Lesson, Question
from coreward.physics.body import Cylinder, Slab
from coreward.physics.meat import meat
from coreward.questions.rest.carryover import (
    CarryoverRow,
    PullAnswer,
    TwoCarryovers,
    carryover_by_size_and_pit,
    carryover_of,
    pull_for_peak,
)
from coreward.questions.rest.wrapping import WrapMoment, wrap_moments
from coreward.words import Degrees, Difference, Lasting, say, together

_HOUR = 3600.0
_MINUTE = 60.0
_LONGEST_S = 10 * _HOUR
_PEAK_C = 60.0
_BIG, _SMALL = (0.16, 180.0), (0.05, 95.0)


def roast() -> Piece:
    """Return the roast of the story."""
    return Piece(Cylinder(0.1), meat("beef rib roast"), start_c=4.0)


def oven() -> Surroundings:
    """Return the hot oven of the story."""
    return Surroundings(180.0, dew_point_c=35.0)


def brisket() -> Piece:
    """Return the brisket of the story."""
    return Piece(Slab(0.07), meat("beef brisket flat"), start_c=4.0)


def pit() -> Surroundings:
    """Return the pit of the story."""
    return Surroundings(110.0, dew_point_c=35.0)


@lru_cache(maxsize=1)
def _rows() -> tuple[CarryoverRow, ...]:
    sizes, pits = (_SMALL[0], _BIG[0]), (_SMALL[1], _BIG[1])
    return tuple(carryover_by_size_and_pit(roast(), oven(), "kitchen", 55.0, sizes, pits))


@lru_cache(maxsize=1)
def _both() -> TwoCarryovers:
    kitchen = rest_stage("kitchen", 2 * _HOUR, piece=roast())
    return carryover_of(
        roast(), Stage(oven(), duration_s=_LONGEST_S, until_core_c=55.0), kitchen
    )


@lru_cache(maxsize=2)
def _pulled(place: str) -> PullAnswer:
    return pull_for_peak(roast(), oven(), place, _PEAK_C, band=False)


@lru_cache(maxsize=1)
def _moments() -> tuple[WrapMoment, ...]:
    return tuple(wrap_moments(brisket(), pit(), 90.0, (55.0, 70.0, None), wrap="foil"))


def _five(rows: Sequence[CarryoverRow] | None = None) -> Finding:
    rise = {(row.size_m, row.pit_c): row.rise_k for row in (_rows() if rows is None else rows)}
    ratio = rise[_BIG] / rise[_SMALL]
    return Finding(
        "alike" if ratio < 1.5 else "twice" if ratio < 4.0 else "many",
        say(
            "The big one from the hot oven rises by {0}, the small one from the low pit by "
            "{1}.",
            Difference(rise[_BIG], 1),
            Difference(rise[_SMALL], 1),
        ),
    )


def _dry(both: TwoCarryovers | None = None) -> Finding:
    both = _both() if both is None else both
    ratio = both.dry.rise_k / both.wet.rise_k
    return Finding(
        "less" if ratio < 0.9 else "same" if ratio < 1.1 else "more",
        say(
            "It rises by {0}, a dry solid by {1}.",
            Difference(both.wet.rise_k, 1),
            Difference(both.dry.rise_k, 1),
        ),
    )


def _covered() -> Finding:
    bare, covered = _pulled("kitchen"), _pulled("towels")
    wet = [
        float(answer.carryover.result.surface_water_activity[-1]) if answer.carryover else 0.0
        for answer in (bare, covered)
    ]
    higher, softer = bare.pull_c - covered.pull_c > 1.0, wet[1] - wet[0] > 0.1
    choice = "both" if higher and softer else "peak" if higher else "crust" if softer else "no"
    return Finding(
        choice,
        say(
            "For a peak of {0} it is pulled at {1} in the kitchen and at {2} under foil and "
            f"towels; the water activity of its surface is {wet[0]:.2f} and {wet[1]:.2f} in "
            "the end.",
            Degrees(_PEAK_C),
            Degrees(bare.pull_c),
            Degrees(covered.pull_c),
        ),
    )


def _when(moments: Sequence[WrapMoment] | None = None) -> Finding:
    known = dict(zip(("early", "late", "never"), moments or _moments(), strict=True))
    words = together(
        (
            say(f"{name} {{0}} and {each.crust.driest:.2f}", Lasting(each.done_s))
            for name, each in known.items()
        ),
        ", ",
    )
    return Finding(
        min(known, key=lambda name: known[name].done_s),
        say("Done after, and the water activity of the crust at its driest: {0}.", words),
    )


def _pull() -> float:
    return _pulled("kitchen").pull_c


def _sooner(moments: Sequence[WrapMoment] | None = None) -> float:
    early, _, never = moments or _moments()
    return (never.done_s - early.done_s) / _HOUR


def _broth() -> float:
    cup = Liquid(0.25, 20.0, piece_kg=3.0)
    (dry,) = wrap_moments(brisket(), pit(), 90.0, (55.0,))
    (poured,) = wrap_moments(brisket(), pit(), 90.0, (55.0,), liquid=cup)
    return (poured.done_s - dry.done_s) / _MINUTE


LESSON = Lesson(
    name="rest-and-carryover",
    title="When should it be pulled?",
    case=(
        "For the supper in our invented village hall somebody has brought two roasts: a big "
        "one, {160 mm} thick, that goes into an oven at {180 C}, and a small one of {50 mm} "
        "for the pit at {95 C}. 'Pull them five degrees early, it is always five degrees,' "
        "says a neighbour."
    ),
    questions=(
        Question(
            "five",
            "The big roast from the oven at {180 C} and the small one from the pit at {95 C} "
            "are pulled at the same core. How far does each still rise?",
            {
                "alike": "Both by about five degrees",
                "twice": "The big one two or three times as far",
                "many": "The big one four times as far or more",
            },
            _five,
            "Carryover is heat on its way: the more, the hotter the rim and the thicker the "
            "piece.",
        ),
        Question(
            "dry",
            "If no water could evaporate, would the core rise less, the same, or more?",
            {"less": "Less", "same": "The same", "more": "More"},
            _dry,
            "Evaporation keeps the rim cooler in the oven, and goes on cooling it in the rest.",
        ),
        Question(
            "covered",
            "Foil and towels round the resting roast: does the peak come higher, and what "
            "happens to the crust?",
            {
                "peak": "A higher peak, and the crust stays as it is",
                "crust": "The same peak, and a softer crust",
                "both": "A higher peak, and a softer crust",
                "no": "Neither changes",
            },
            _covered,
            "A closed cover keeps the heat in, and the vapour too.",
        ),
        Question(
            "when",
            "A brisket is wrapped in foil when its core is at {55 C}, or at {70 C}, or never. "
            "Which is done first?",
            {
                "early": "The one wrapped at {55 C}",
                "late": "The one wrapped at {70 C}",
                "never": "The one that is never wrapped",
            },
            _when,
            "The moment of the wrap trades time and weight against the crust.",
        ),
    ),
    exercises=(
        Exercise(
            "pull",
            "The roast, {100 mm} thick, from the oven at {180 C} should come to {60 C} in the "
            "kitchen. At which core is it pulled?",
            "°C",
            _pull,
            within=1.5,
            too_low="It does not rise quite so far: a bare roast loses heat to the room.",
            too_high="Five degrees is not enough for a hot oven: the rim holds more than that.",
            because="Twice what the neighbour allows: a hot oven, a thick piece.",
        ),
        Exercise(
            "sooner",
            "How many hours sooner is the brisket done that is wrapped at {55 C} than the one "
            "that is never wrapped?",
            "h",
            _sooner,
            share=0.15,
            too_low="The whole stall is saved, and that takes hours.",
            too_high="The piece is bare until its core has {55 C}; only the rest is saved.",
            because="In foil nothing evaporates: no stall.",
        ),
        Exercise(
            "broth",
            "A cup of broth, 250 g at {20 C}, is poured into the foil round the brisket, which "
            "weighs {3 kg}. By how many minutes is it done later?",
            "min",
            _broth,
            share=0.25,
            digits=0,
            too_low="The broth must be warmed by the same few watts that warm the piece.",
            too_high="A cup is a twelfth of the piece, and it comes from {20 C}, not {4 C}.",
            because="Warming it takes heat that the piece would have had.",
        ),
    ),
    equation=(
        "rho c dT/dt = div(k grad T)\n"
        "rise of the core  <  mean temperature - core temperature, at the pull\n"
        "dS/dt = squeezed out + poured - w evaporated - drip      (w = 0 in foil)"
    ),
    takeaways=(
        "Carryover is heat on its way. Big and hot: several degrees. Small and low: hardly "
        "any.",
        "Evaporation decides it, in the oven and after.",
        "The moment of the wrap trades time and weight against the crust.",
    ),
)
