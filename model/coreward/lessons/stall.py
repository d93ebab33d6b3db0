"""The lesson of the notebook why-the-stall."""

from __future__ import annotations

from functools import lru_cache

from coreward import tables
from coreward.cook.result import Result
from coreward.cook.simulate import simulate
from coreward.cook.stages import Stage, fresh_air
from coreward.errors import InputError
from coreward.events.standstill import Stall
from coreward.lessons.lesson import Exercise, Finding, Lesson, Question, Step
from coreward.physics.air import pressure_at_altitude
from coreward.physics.body import Slab
from coreward.questions.stall import usual
from coreward.questions.stall.explain import Account, explain
from coreward.words import Degrees, Lasting, say

_HOUR = 3600.0
_LONGEST_S = 30 * _HOUR
_FROM_C, _TO_C = 65.0, 75.0
"""The stretch of the core's way whose time is compared. [°C]"""
_STRETCH = (Degrees(_FROM_C), Degrees(_TO_C))
_DONE_C = 85.0
_SAME = 0.1
"""A change of the time by less than this share counts as none."""
_SAME_K = 1.0
"""A change of the height by less than this counts as none."""
_THICKER_M = 0.06
_VENTED = "average"
"""Set of table ``ventilation`` with the vents half open."""


@lru_cache(maxsize=32)
def cook(
    *,
    thickness_m: float = usual.THICKNESS_M,
    air_c: float = usual.PIT_C,
    ventilation: str = usual.PIT,
    evaporation: bool = True,
    altitude_m: float = 0.0,
    wrap: str | None = None,
    wrap_at_c: float = 66.0,
    transport: str = usual.FLOW,
) -> Result:
    """Return the brisket of the story, with one thing changed.

    Parameters
    ----------
    ventilation : str
        Set of table ``ventilation``: how much fresh air.
    wrap : str, optional
        "foil" or "paper", put on when the core has `wrap_at_c`. [°C]
    transport : str
        Set of that table: another account of how water moves.
    """
    piece = usual.piece(Slab(thickness_m), transport=transport)
    pit = usual.pit(
        air_c,
        ventilation=ventilation,
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


def _account(result: Result) -> Account:
    return explain(result).account


def _stall(result: Result) -> Stall:
    stall = _account(result).stall
    if stall is None:
        raise InputError("This cook does not stall, so there is nothing to compare.")
    return stall


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


def _vents() -> Finding:
    tight, open_ = _stall(cook()), _stall(cook(ventilation=_VENTED))
    step = open_.core_begin_c - tight.core_begin_c
    if not open_.level:
        choice = "nowhere"
    elif abs(step) < _SAME_K:
        choice = "same"
    else:
        choice = "hotter" if step > 0.0 else "cooler"
    return Finding(
        choice,
        say(
            "Vents nearly closed: {0} to {1} in {2}. Half open: {3} to {4} in {5}.",
            Degrees(tight.core_begin_c),
            Degrees(tight.core_end_c),
            Lasting(tight.duration_s),
            Degrees(open_.core_begin_c),
            Degrees(open_.core_end_c),
            Lasting(open_.duration_s),
        ),
    )


def _length() -> Finding:
    thin, thick = _stall(cook()), _stall(cook(thickness_m=_THICKER_M))
    ratio = thick.duration_s / thin.duration_s
    choice = "same" if abs(ratio - 1.0) < _SAME else "longer" if ratio > 1.0 else "shorter"
    return Finding(
        choice,
        say(
            "The core stands still for {0} in the thinner piece and for {1} in the thicker.",
            Lasting(thin.duration_s),
            Lasting(thick.duration_s),
        ),
    )


def _vapour_share() -> float:
    return 100.0 * _account(cook()).vapour_share


def _damp() -> float:
    damp = _account(cook()).damp
    if damp is None:
        raise InputError("The core does not stand still, so it tells nothing about the pit.")
    return damp.dew_point_c


def _thicker() -> float:
    thick = _hours_until(cook(thickness_m=_THICKER_M), _TO_C)
    return 100.0 * thick / _hours_until(cook(), _TO_C)


def _saved_by_foil() -> float:
    bare, wrapped = cook(), cook(wrap="foil")
    return _hours_until(bare, _DONE_C) - _hours_until(wrapped, _DONE_C)


def _up_the_hill() -> float:
    return float(cook(wrap="foil", altitude_m=1500.0).core_c[-1])


_FRESH, _VENTED_AIR = (
    f"{fresh_air(tables.load('ventilation', name)).value:g}" for name in (usual.PIT, _VENTED)
)

LESSON = Lesson(
    name="why-the-stall",
    title="Why has it stopped rising?",
    case=(
        "The crew of our invented village hall put a flat brisket, {7.0 kg} and {45 mm} thick, "
        "into a tight pit at {107 C}, vents nearly closed. It climbs fast. Then, in the "
        "sixties, it stands still, for hours, and the supper is at 18:30. Nobody changed the "
        "fire. And then, by itself, it goes on."
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
            "vents",
            f"Open the vents half: {{{_VENTED_AIR} kg}} of fresh air an hour in place of "
            f"{{{_FRESH} kg}}. "
            "Where does the core stand still then?",
            {
                "hotter": "Hotter than before",
                "same": "Just where it did",
                "cooler": "Cooler than before",
                "nowhere": "Nowhere: it only slows down",
            },
            _vents,
            "Air that is damp from the meat holds a wet surface at one temperature. Dry air "
            "takes water faster than it arrives; the surface dries, and the core climbs "
            "slowly with what the meat still sends.",
        ),
        Question(
            "length",
            "The same weight, but {60 mm} thick and not {45 mm}, in the tight pit. For how "
            "long does the core stand still?",
            {
                "longer": "Longer",
                "same": "As long, within a tenth",
                "shorter": "Shorter",
            },
            _length,
            "It stands still for as long as its stock of free water lasts, and a thicker piece "
            "has more of it behind each patch of surface.",
        ),
    ),
    exercises=(
        Exercise(
            "vapour",
            "How much of the heat that arrives during the standstill leaves again as vapour? "
            "Read it from the words under the picture, evaporation on.",
            "%",
            _vapour_share,
            within=2.0,
            digits=0,
            too_low="Compare the blue line of evaporation with convection and radiation "
            "together: hardly anything is left over for the meat.",
            too_high="Something still goes into the meat, or the core would not rise at all.",
            because="What is left over warms the meat: next to nothing, so it stands still.",
        ),
        Exercise(
            "damp",
            "Which dew point does the standstill tell of? (All as at the start, evaporation "
            "on.)",
            "°C",
            _damp,
            within=2.0,
            digits=0,
            too_low="A wet surface is only a few degrees hotter than the dew point when the "
            "air is this damp.",
            too_high="Nothing that evaporates can be colder than the dew point: it lies below "
            "the core.",
            because="The meat has made its own weather: the wet surface settles a few degrees "
            "above the dew point, and the core with it.",
        ),
        Exercise(
            "thick",
            "The same weight {60 mm} thick instead of {45 mm}. The time until the core has "
            "{75 C} is how many per cent of what it was?",
            "%",
            _thicker,
            within=7.0,
            digits=0,
            too_low="A third more would hold if there were only more water behind each patch "
            "of surface. Less surface also makes its air less damp, and so the surface cooler.",
            too_high="The square of the thickness would hold for heat alone; here most of the "
            "time goes into boiling off water.",
            because="Nearer to the thickness itself (water) than to its square (heat).",
        ),
        Exercise(
            "foil",
            "Foil goes on when the core has {66 C}. How many hours sooner than bare does the "
            "core reach {85 C}?",
            "h",
            _saved_by_foil,
            share=0.1,
            within=0.3,
            too_low="Read both times at {85 C}: the bare piece has all its standstill before "
            "it and a long climb after it.",
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
        "V Y  =  V Y_outside + m A   what the fresh air carries off  =  what the meat gives"
    ),
    takeaways=(
        "No evaporation, no stall. A tight wrap switches it off, at the price of a soft crust.",
        "How hot it stands still, the damp of the pit decides, and in a tight pit the meat "
        "makes the damp: the plateau tells of the dew point.",
        "How long, the stock of free water decides, and nobody knows well how freely it "
        "follows. When it is spent the core goes on by itself.",
        "In a dry, leaky pit there is a slow climb and no standstill.",
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
            "What sets the height?",
            "drags fresh air up and down: watches the core, the dew point and the strip of "
            "words under 'Water at the surface'",
            "draws the balance on the board: what arrives, what evaporates, what the fresh "
            "air carries off; reveals the second answer",
        ),
        Step(
            7,
            "What sets the length?",
            "drags the thickness and watches the free water at the lower right run out",
            "asks those who predicted 'shorter' what they reckoned with; reveals the third "
            "answer",
        ),
        Step(
            10,
            "Exercises in pairs",
            "works out two of the five exercises with the panel and types the answers in",
            "goes round; the sheet of answers has what the model gives and what counts as "
            "right",
        ),
        Step(
            5,
            "Say it in one sentence",
            "writes on the hand-out why it stopped and what ended it, in one sentence, without "
            "the word 'stall'",
            "has three sentences read out; says what the model does not know: how freely the "
            "water follows",
        ),
    ),
)
