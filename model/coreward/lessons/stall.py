"""The lesson of the notebook why-the-stall."""

from __future__ import annotations

from functools import lru_cache

import numpy as np

from coreward.cook.result import Result
from coreward.cook.simulate import simulate
from coreward.cook.stages import Piece, Stage, Surroundings
from coreward.errors import InputError
from coreward.lessons.lesson import Exercise, Finding, Lesson, Question, Step
from coreward.physics.air import pressure_at_altitude
from coreward.physics.body import Slab
from coreward.physics.meat import meat
from coreward.questions.stall.explain import AIR_LIMITED, DRY, SUPPLY_LIMITED, explain
from coreward.words import Degrees, Lasting, say

_HOUR = 3600.0
_LONGEST_S = 30 * _HOUR
_FROM_C, _TO_C = 65.0, 75.0
"""The stretch of the core's way whose time is compared. [°C]"""
_STRETCH = (Degrees(_FROM_C), Degrees(_TO_C))
_DONE_C = 88.0
_SAME = 0.1
"""A change of the time by less than this share counts as none."""
_THICKNESS_M = 0.08
_PIT_C = 110.0
_DEW_POINT_C, _DRY_DEW_POINT_C = 35.0, 5.0


@lru_cache(maxsize=32)
def cook(
    *,
    thickness_m: float = _THICKNESS_M,
    air_c: float = _PIT_C,
    dew_point_c: float = _DEW_POINT_C,
    evaporation: bool = True,
    altitude_m: float = 0.0,
    wrap: str | None = None,
    wrap_at_c: float = 66.0,
    transport: str | None = None,
    permeability: str | None = None,
) -> Result:
    """Return the brisket of the story, with one thing changed.

    Parameters
    ----------
    thickness_m : float
        [m]
    air_c, dew_point_c : float
        Of the pit. [°C]
    evaporation : bool
        Whether vapour can leave.
    altitude_m : float
        [m]
    wrap : str, optional
        "foil" or "paper", put on when the core has `wrap_at_c`. [°C]
    wrap_at_c : float
    transport, permeability : str, optional
        Sets of those tables: another account of how water moves.
    """
    brisket = meat("beef brisket whole", transport=transport, permeability=permeability)
    piece = Piece(Slab(thickness_m), brisket, start_c=4.0)
    pit = Surroundings(
        air_c=air_c,
        dew_point_c=dew_point_c,
        evaporation=evaporation,
        pressure_pa=float(pressure_at_altitude(altitude_m)),
    )
    if wrap is None:
        return simulate(piece, [Stage(pit, duration_s=_LONGEST_S)])
    bare = Stage(pit, duration_s=_LONGEST_S, until_core_c=wrap_at_c)
    return simulate(piece, [bare, Stage(pit, duration_s=_LONGEST_S, wrap=wrap)])


def hours_between(result: Result, from_c: float = _FROM_C, to_c: float = _TO_C) -> float:
    """Return the time the core takes from one temperature to another. [h].

    Raises
    ------
    InputError
        If it does not get there.
    """
    begin, end = result.time_at_core(from_c), result.time_at_core(to_c)
    if begin is None or end is None:
        raise InputError(
            say(
                "The core does not get from {0} to {1} in this cook, which ends at {2}.",
                Degrees(from_c, None),
                Degrees(to_c, None),
                Degrees(float(result.core_c[-1])),
            )
        )
    return (end - begin) / _HOUR


def _hours_until(result: Result, core_c: float) -> float:
    return hours_between(result, float(result.core_c[0]) + 0.01, core_c)


def _without_vapour() -> Finding:
    shut, bare = cook(evaporation=False), cook()
    stalls = explain(shut).stalls
    if not stalls:
        choice = "no"
    elif stalls[0].core_begin_c < _FROM_C - 10.0:
        choice = "earlier"
    else:
        choice = "yes"
    return Finding(
        choice,
        say(
            "From {0} to {1} the core takes {2} when it is shut to vapour and {3} when it can "
            "dry.",
            *_STRETCH,
            Lasting(hours_between(shut) * _HOUR),
            Lasting(hours_between(bare) * _HOUR),
        ),
    )


def _limit() -> Finding:
    told = explain(cook())
    stall = max(told.stalls, key=lambda each: each.duration_s)
    inside = (told.time_s >= stall.begin_s) & (told.time_s <= stall.end_s)
    names, counts = np.unique(told.regime[inside], return_counts=True)
    most = int(np.argmax(counts))
    share = 100.0 * counts[most] / counts.sum()
    ratio = float(
        np.median(told.water_demand_kg_m2_s[inside] / told.evaporation_kg_m2_s[inside])
    )
    return Finding(
        str(names[most]),
        f"{share:.0f} % of the stall is {names[most]}; the air could take {ratio:.0f} times "
        "what reaches the surface.",
    )


def _drier() -> Finding:
    damp, dry = cook(), cook(dew_point_c=_DRY_DEW_POINT_C)
    ratio = hours_between(dry) / hours_between(damp)
    choice = "same" if abs(ratio - 1.0) < _SAME else "longer" if ratio > 1.0 else "shorter"
    return Finding(
        choice,
        say(
            "From {0} to {1}: {2} at a dew point of {3}, {4} at {5}.",
            *_STRETCH,
            Lasting(hours_between(damp) * _HOUR),
            Degrees(_DEW_POINT_C),
            Lasting(hours_between(dry) * _HOUR),
            Degrees(_DRY_DEW_POINT_C),
        ),
    )


def _vapour_share() -> float:
    told = explain(cook())
    stall = max(told.stalls, key=lambda each: each.duration_s)
    inside = (told.time_s >= stall.begin_s) & (told.time_s <= stall.end_s)
    seconds = np.gradient(told.time_s[inside])
    arrived = ((told.convection_w_m2 + told.radiation_w_m2)[inside] * seconds).sum()
    return float(100.0 * (told.evaporation_w_m2[inside] * seconds).sum() / arrived)


def _half_as_thick() -> float:
    thin = hours_between(cook(thickness_m=0.5 * _THICKNESS_M))
    return 100.0 * thin / hours_between(cook())


def _saved_by_foil() -> float:
    bare, wrapped = cook(), cook(wrap="foil")
    return _hours_until(bare, _DONE_C) - _hours_until(wrapped, _DONE_C)


def _up_the_hill() -> float:
    return float(cook(wrap="foil", altitude_m=1500.0).core_c[-1])


LESSON = Lesson(
    name="why-the-stall",
    title="Why has it stopped rising?",
    case=(
        "The crew of our invented village hall put a whole brisket, {80 mm} thick, into a pit "
        "at {110 C}. For hours it climbs steadily. In the sixties it slows to a crawl, for "
        "hours, and the supper is at 18:30. Nobody changed the fire."
    ),
    questions=(
        Question(
            "no-vapour",
            "If no water could evaporate, would the core still stop on its way to {75 C}?",
            {
                "yes": "Yes, it would stop at much the same place",
                "earlier": "It would stop, but at a much lower temperature",
                "no": "No, it would climb on",
            },
            _without_vapour,
            "No evaporation, no stall: nothing else takes that much heat away at the surface.",
        ),
        Question(
            "limit",
            "With evaporation: what holds the temperature back for most of the stall?",
            {
                AIR_LIMITED: "The air: it cannot take more water",
                SUPPLY_LIMITED: "The meat: it does not send more water",
                DRY: "Neither: the surface is dry by then",
            },
            _limit,
            "Each degree of rise squeezes out more water, and boiling that off takes the heat.",
        ),
        Question(
            "drier",
            "Dry the air of the pit, from a dew point of {35 C} to one of {5 C}. Does the core "
            "take longer from {65 C} to {75 C}?",
            {
                "longer": "Longer: drier air evaporates more",
                "shorter": "Shorter: the surface dries out sooner",
                "same": "Neither: it stays within a tenth",
            },
            _drier,
            "Air that could already take far more than arrives gains nothing from being drier.",
        ),
    ),
    exercises=(
        Exercise(
            "vapour",
            "How much of the heat that arrives during the stall leaves again as vapour? Read "
            "it from the words under the picture, evaporation on.",
            "%",
            _vapour_share,
            within=4.0,
            digits=0,
            too_low="Compare the blue line of evaporation with convection and radiation "
            "together: little is left over for the meat.",
            too_high="Something still goes into the meat, or the core would not rise at all.",
            because="What is left over warms the meat: that is the slow rise.",
        ),
        Exercise(
            "thin",
            "A piece {40 mm} thick instead of {80 mm}. The time from {65 C} to {75 C} is how "
            "many per cent of what it was?",
            "%",
            _half_as_thick,
            within=6.0,
            digits=0,
            too_low="A quarter would hold for conduction alone. Here the water has to be "
            "boiled off: half the meat holds half the water and has the same surface.",
            too_high="Half the thickness is half the water behind each patch of surface.",
            because="Half the water behind the same surface takes about half the time; "
            "conduction alone would have made it a quarter.",
        ),
        Exercise(
            "foil",
            "Foil goes on when the core has {66 C}. How many hours sooner than bare does the "
            "core reach {88 C}?",
            "h",
            _saved_by_foil,
            share=0.15,
            within=0.3,
            too_low="Read both times at {88 C}, and cook for long enough: the bare piece needs "
            "more than 15 h.",
            too_high="The foil goes on when the core has {66 C}, hours after the start; only "
            "the rest is saved.",
            because="The wrap keeps the vapour in, so the heat stays, at the price of a soft "
            "crust.",
        ),
        Exercise(
            "hill",
            "The same cook wrapped in foil at {66 C}, but 1500 m up. At which temperature does "
            "the core level off? (Cook for as long as the panel allows.)",
            "°C",
            _up_the_hill,
            within=1.0,
            too_low="The core stops where water boils at that height, not far below {100 C}.",
            too_high="Up a hill water boils at a lower temperature; look at the strip of "
            "words.",
            because="Wrapped tightly, the piece boils in its own juice and cannot get hotter.",
        ),
    ),
    equation=(
        "h (T_air - T_s) + q_rad  =  L m  +  k dT/dn\n"
        "what arrives             =  what evaporates  +  what goes into the meat\n"
        "c_apparent = c + L |dW/dT|   what one more degree costs"
    ),
    takeaways=(
        "No evaporation, no stall. A tight wrap switches it off, at the price of a soft crust.",
        "The stall ends when the meat has little left to send at that temperature, not when "
        "some patience runs out.",
        "When the meat is the limit, a hotter pit shortens the stall and damper air does "
        "little. When the air is the limit, it is the reverse.",
    ),
    steps=(
        Step(
            5,
            "The case",
            "reads the case on the hand-out; one minute of silence with the picture of the "
            "curve",
            "tells the story of the supper at 18:30; does not explain anything",
        ),
        Step(
            6,
            "Predict",
            "ticks one box for each of the three questions, then compares with a neighbour; "
            "nobody rubs out",
            "counts hands for each choice and writes the numbers on the board",
        ),
        Step(
            8,
            "First experiment: no vapour",
            "evaporation off: reads the core; keeps this one; evaporation on: reads it again",
            "projects the panel; one pupil drives, the class says which slider",
        ),
        Step(
            9,
            "Which one is the limit?",
            "reads the strip of words under 'Water at the surface' through the stall; finds "
            "the two lines of water and the gap between them",
            "draws the balance on the board: what arrives, what evaporates, what goes in",
        ),
        Step(
            7,
            "Dry the air",
            "drags the dew point down and up and watches the time from {65 C} to {75 C}",
            "asks those who predicted 'longer' what they reckoned with; reveals the third "
            "answer",
        ),
        Step(
            10,
            "Exercises in pairs",
            "works out two of the four exercises with the panel and types the answers in",
            "goes round; the sheet of answers has what the model gives and what counts as "
            "right",
        ),
        Step(
            5,
            "Say it in one sentence",
            "writes on the hand-out why it stopped, in one sentence, without the word 'stall'",
            "has three sentences read out; says what the model does not know",
        ),
    ),
)
