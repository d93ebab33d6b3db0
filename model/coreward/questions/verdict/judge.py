"""The judge: every piece by its own whole history, and the worst of them is the answer."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import replace
from typing import Any, NamedTuple

from numpy.typing import ArrayLike

from coreward import tables
from coreward.errors import InputError
from coreward.questions.verdict import sentences
from coreward.questions.verdict.answer import (
    CANNOT_TELL,
    MET,
    NOT_MET,
    LimitVerdict,
    PieceVerdict,
    StandardVerdict,
    State,
    Verdict,
    worst_state,
)
from coreward.questions.verdict.case import (
    OVENS,
    SURFACES,
    Case,
    checked_oven,
    choice,
    humidity_of,
    meats_of,
    names_of,
    states_of,
)
from coreward.questions.verdict.coldest import under_the_probe
from coreward.questions.verdict.holds import Holds, judge_standard, lethal_s
from coreward.questions.verdict.kill import blind_spots, integral_views
from coreward.questions.verdict.record import Piece, Read, read_pieces
from coreward.questions.verdict.reheating import judge_hot_holds, judge_reheating
from coreward.questions.verdict.stays import judge_come_up, judge_stays

_DIMENSIONS = {"slab": 1, "cylinder": 2, "sphere": 3}


def verdict(
    result_or_log: Any,
    *,
    meat: str | Sequence[str] | None = None,
    condition: str | Sequence[str] = "intact",
    standards: Sequence[str] | None = None,
    organism: str | Sequence[str] | None = None,
    probe_error_c: float | None = None,
    placement_error_c: float = 0.0,
    probe_offset_m: float | None = None,
    shape: str | None = None,
    surface: str | None = None,
    humid_s: float | None = None,
    humidity: tuple[ArrayLike, ArrayLike] | None = None,
    oven_c: float | None = None,
    oven: str | None = None,
    mass_kg: float | None = None,
    modelled_growth_log: float = 0.0,
    slow_margin_log: float | None = None,
    longest_gap_s: float | None = None,
    cooling: str | bool = False,
    hot_hold: bool = False,
    reheating: str | bool = False,
    pieces: str | Mapping[str, Sequence[str]] | None = None,
    probes: Mapping[str, str] | None = None,
    new_piece_s: Sequence[float] | None = None,
) -> Verdict:
    """Judge a cook or a log by published standards, limits and the integral of kill.

    Every piece is judged by its own whole history, from its first reading to its last,
    and the worst of the pieces is the answer. What only a person can say is asked in
    `doubts`; until it is answered, no verdict is "met".

    Parameters
    ----------
    result_or_log : cook, log or pair
        From `simulate`, from `read_log`, or (time_s, temperature_c).
    meat : str or sequence of str, optional
        One of "beef", "pork", "lamb", "veal", "chicken", "turkey", "poultry", "other
        meat", the name of a cut that `meat` knows, or several for a mixture: the rules of
        all of them are then asked for.
        Not stated: judged as beef and as poultry; where the two differ, "cannot tell".
    condition : str or sequence of str
        "intact", "tenderised", "injected", "rolled", "stuffed" or "ground" (minced);
        several add all their limits.
    standards : sequence of str, optional
        Names of hold standards that are to decide; else those that count for the meat,
        and the come-up. A come-up or a later stay past its limit decides in any case.
    organism : str or sequence of str, optional
        Names of kinetics for the integral view; else those that matter for the meat.
    probe_error_c : float, optional
        Added to every target; 1 K for a log, none for a simulated cook or a stated
        history, unless given. [K]
    placement_error_c : float
        How much colder than the probe the coldest point may be. [K]
    probe_offset_m, shape : float, str, optional
        Distance of the probe's tip from the centre [m] (see
        `coreward.questions.verdict.coldest.probe_offset`), and "slab", "cylinder" or "sphere":
        the centre is then estimated and judged instead of the probe.
    surface : str, optional
        What kept the surface moist, one of `SURFACES`.
    humid_s : float, optional
        How long the steam was on or the oven sealed. [s]
    humidity : pair of array_like, optional
        Record of relative humidity in the cooker: time [s] and value [%]. Only what lies
        between the piece's first reading and lethality counts.
    oven_c, oven, mass_kg : float, str, float, optional
        Lowest oven temperature through the cook [°C], "still" or "convection", mass of
        the piece. [kg]
    modelled_growth_log : float
        Growth of vegetative pathogens in the come-up from your own model; above 1 log
        it is added to the lethality required. [log10]
    slow_margin_log : float, optional
        Margin for slow heating; else the published error for the meat. [log10]
    longest_gap_s : float, optional
        Longest step between samples that is still credited. [s]
    cooling : str or bool
        Name of a cooling rule, or True, to let a cooling that is not over decide as well.
    hot_hold : bool
        Whether hot holding decides as well.
    reheating : str or bool
        Name of a reheating rule, or True, to judge the last rise from the cold as the
        reheating of meat that was cooked before. It then decides as well; it is no
        cooking standard.
    pieces : str or mapping, optional
        "one": all meat probes are in one piece; "each": each is in its own; or a name for
        each piece with its probes. Not said: both are judged and the worse holds.
    probes : mapping, optional
        What a doubtful probe was, by its name: "in the meat", "in the air" or "not used".
    new_piece_s : sequence of float, optional
        When a new piece was put on, on the record's clock; () if it was the same piece
        throughout. [s]

    Raises
    ------
    InputError, TableError
        An input cannot be used; unknown meat, condition, standard or kinetics.
    """
    asked = tuple(
        (name, value)
        for name, value in locals().items()
        if name != "result_or_log" and value is not None and value is not False
    )
    _check_numbers(
        probe_error_c=probe_error_c,
        placement_error_c=placement_error_c,
        modelled_growth_log=modelled_growth_log,
        slow_margin_log=slow_margin_log,
        probe_offset_m=probe_offset_m,
        humid_s=humid_s,
        mass_kg=mass_kg,
        longest_gap_s=longest_gap_s,
    )
    rules = tables.load("verdict")
    stated = _Stated(meats_of(meat), states_of(condition), names_of(standards))
    read = read_pieces(
        result_or_log,
        pieces=pieces,
        probes=probes,
        new_piece_s=new_piece_s,
        rules=rules,
        longest_gap_s=rules["longest_gap"] if longest_gap_s is None else longest_gap_s,
        cooling=bool(cooling),
    )
    if probe_offset_m is not None:
        read = _to_the_centre(read, probe_offset_m, shape, rules)
    first = read.ways[0][1][0].record
    if probe_error_c is None:
        probe_error_c = rules["probe_error"] if first.kind == "log" else 0.0
    grown = modelled_growth_log if modelled_growth_log > rules["growth_allowance"] else 0.0
    case = Case(
        record=first,
        meats=stated.meats,
        stated=meat is not None,
        states=stated.states,
        names=stated.names,
        probe_error_c=probe_error_c,
        placement_error_c=placement_error_c,
        surface=None if surface is None else choice(surface, SURFACES, "surface"),
        humid_s=humid_s,
        humidity=humidity_of(humidity),
        oven_c=checked_oven(oven_c),
        oven=None if oven is None else choice(oven, OVENS, "oven"),
        mass_kg=mass_kg,
        growth_log=grown,
        rules=rules,
    )
    answer = _answer(read, case, organism, slow_margin_log, (cooling, hot_hold, reheating))
    return replace(answer, judged=result_or_log, asked=asked)


class _Stated(NamedTuple):
    """What was said of the meat and what is to judge it, checked."""

    meats: tuple[str, ...]
    states: tuple[str, ...]
    names: tuple[str, ...] | None


def _answer(
    read: Read,
    case: Case,
    organism: str | Sequence[str] | None,
    slow_margin_log: float | None,
    wished: tuple[str | bool, bool, str | bool],
) -> Verdict:
    """Judge every piece in every way to read the record; the worst is the answer."""
    ways = [
        (how, [_judge_piece(p, replace(case, record=p.record), *wished) for p in found])
        for how, found in read.ways
    ]
    how, judged = min(ways, key=lambda way: min(_order(piece.state) for piece in way[1]))
    worst = min(judged, key=lambda piece: _order(piece.state))
    case = replace(case, record=worst.record)
    integrals = integral_views(case, organism, slow_margin_log)
    state = worst.state
    if any(doubt.blocks for doubt in read.doubts) and (
        state == MET or _only_doubtful(read, judged)
    ):
        state = CANNOT_TELL
    faults = [*(fault for piece in judged for fault in piece.record.faults), *read.faults]
    return Verdict(
        state=state,
        headline=sentences.headline(state, worst, judged, read.doubts),
        meats=case.meats,
        condition=case.condition,
        standards=worst.standards,
        limits=worst.limits,
        integrals=integrals,
        assumptions=sentences.assumptions(case, how, read, len(judged)),
        cautions=sentences.cautions(case, worst, integrals, asked_cooling=bool(wished[0])),
        faults=tuple(dict.fromkeys(faults)),
        blind_spots=blind_spots(case),
        record=worst.record,
        probe_error_c=case.probe_error_c,
        placement_error_c=case.placement_error_c,
        pieces=tuple(judged),
        worst=worst,
        doubts=read.doubts,
    )


def _order(state: State) -> int:
    return (NOT_MET, CANNOT_TELL, MET).index(state)


def _only_doubtful(read: Read, judged: Sequence[PieceVerdict]) -> bool:
    """Whether what was judged is itself in doubt: then even "not met" is not known."""
    doubtful = {doubt.channel for doubt in read.doubts if doubt.channel is not None}
    return all(set(piece.channels) & doubtful for piece in judged)


def _check_numbers(**numbers: float | None) -> None:
    for name, value in numbers.items():
        if value is not None and not (math.isfinite(value) and value >= 0.0):
            raise InputError(f"{name} is {value!r}: give zero or a positive number.")


def _to_the_centre(
    read: Read, offset_m: float, shape: str | None, rules: tables.ParameterSet
) -> Read:
    if read.ways[0][1][0].record.kind == "cook":
        raise InputError("probe_offset_m is for a measured record; a cook knows its centre.")
    if shape is None:
        raise InputError(
            f"probe_offset_m needs the shape of the piece: {', '.join(_DIMENSIONS)}."
        )
    choice(shape, tuple(_DIMENSIONS), "shape")

    def centred(piece: Piece) -> Piece:
        estimated = under_the_probe(
            piece.record,
            offset_m=offset_m,
            dimensions=_DIMENSIONS[shape],
            diffusivity=rules["probe_diffusivity"],
        )
        return replace(piece, record=estimated)

    ways = tuple((how, tuple(centred(piece) for piece in found)) for how, found in read.ways)
    return replace(read, ways=ways)


# One piece.


def _judge_piece(
    piece: Piece, case: Case, cooling: str | bool, hot_hold: bool, reheating: str | bool
) -> PieceVerdict:
    """Judge one piece by its own history; as each meat where none was stated."""
    holds = Holds(case.record)
    reheated = judge_reheating(case, holds, reheating)
    hot = judge_hot_holds(case, reheated, counts=hot_hold)
    found = []
    for alternative in case.alternatives():
        lethal = lethal_s(alternative, holds)
        judged = tuple(
            judge_standard(alternative, holds, standard, counts=counts, lethal=lethal)
            for standard, counts in alternative.standards
        )
        limits = (
            judge_come_up(alternative, lethal, decides=case.names is None),
            *judge_stays(alternative, holds, lethal, cooling),
            *reheated,
            *hot,
        )
        found.append((alternative.meats, lethal, judged, limits, _combined(judged, limits)))
    states = {state for *_, state in found}
    state = states.pop() if len(states) == 1 else CANNOT_TELL
    _, lethal, _, limits, _ = min(found, key=lambda item: _order(item[-1]))
    by_name = {item.name: item for _, _, judged, _, _ in found for item in judged}
    standards = tuple(by_name.values())
    by_meat = [(" and ".join(meats), state) for meats, _, _, _, state in found]
    return PieceVerdict(
        name=piece.name,
        channels=piece.channels,
        state=state,
        headline=sentences.piece_headline(state, standards, limits, case, by_meat),
        standards=standards,
        limits=limits,
        record=case.record,
        lethal_s=lethal if math.isfinite(lethal) else None,
    )


def _combined(standards: Sequence[StandardVerdict], limits: Sequence[LimitVerdict]) -> State:
    states = [item.state for item in standards if item.counts]
    states += [item.state for item in limits if item.counts]
    if not any(item.counts for item in standards):
        states.append(CANNOT_TELL)
    return worst_state(*states)
