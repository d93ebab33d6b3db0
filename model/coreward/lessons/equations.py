"""The lesson of the notebook does-it-solve-its-equations."""

from __future__ import annotations

from collections.abc import Sequence
from functools import lru_cache

import numpy as np

from coreward.cook.stages import Piece, Stage, Surroundings
from coreward.evidence import verification
from coreward.evidence.verification import BalanceRow, Order, SeriesError
from coreward.lessons.lesson import Exercise, Finding, Lesson, Question
from coreward.physics.body import SHAPES, Slab
from coreward.physics.meat import meat
from coreward.words import Difference, Lasting, say, together

_HOUR = 3600.0
_BIOT = 10.0


@lru_cache(maxsize=1)
def _usual() -> tuple[SeriesError, ...]:
    return verification.series_errors()


@lru_cache(maxsize=1)
def _orders() -> tuple[Order, ...]:
    return tuple(
        find(shape)
        for find in (verification.order_in_space, verification.order_in_time)
        for shape in SHAPES
    )


@lru_cache(maxsize=1)
def _books() -> tuple[BalanceRow, ...]:
    flat = Piece(Slab(0.08), meat("beef brisket flat"), start_c=4.0)
    pit = Surroundings(107.0, dew_point_c=35.0)
    return verification.balances({"bare": (flat, Stage(pit, duration_s=14.0 * _HOUR))})


def _hardest(rows: Sequence[SeriesError] | None = None) -> Finding:
    known = _usual() if rows is None else rows
    worst = {
        shape: max(row.worst("core_k")[0] for row in known if row.shape == shape)
        for shape in SHAPES
    }
    told = together(
        (say("{0} {1}", shape, Difference(value, 3)) for shape, value in worst.items()), ", "
    )
    return Finding(
        max(worst, key=lambda shape: worst[shape]),
        say(
            "Largest error at the core over all Biot numbers: {0}, of a step of {1}.",
            told,
            Difference(verification.STEP_K, 0),
        ),
    )


def _factor(orders: Sequence[Order] | None, kind: str) -> float:
    """Return by how much the error falls when the step of a kind is halved."""
    known = _orders() if orders is None else orders
    return float(2.0 ** np.mean([order.observed for order in known if order.kind == kind]))


def _halved(orders: Sequence[Order] | None = None) -> Finding:
    space, time = _factor(orders, "space"), _factor(orders, "time")
    nearest = [round(2.0 ** round(float(np.log2(factor)))) for factor in (space, time)]
    return Finding(
        f"{nearest[0]} and {nearest[1]}",
        f"In the mean of the three shapes the error falls by a factor of {space:.1f} in space "
        f"and of {time:.1f} in time.",
    )


def _missing(books: Sequence[BalanceRow] | None = None) -> Finding:
    found = (_books() if books is None else books)[0]
    share = found.energy
    return Finding(
        "digits" if share < 1e-9 else "millionth" if share < 1e-5 else "thousandth",
        say(
            f"After {{0}} there is {found.energy:.0e} of the heat missing that crossed the "
            f"surface, and {found.water:.0e} of the water.",
            Lasting(found.hours * _HOUR),
        ),
    )


def _sphere(rows: Sequence[SeriesError] | None = None) -> float:
    known = _usual() if rows is None else rows
    (ball,) = [row for row in known if row.shape == "sphere" and row.biot == _BIOT]
    return 1000.0 / verification.STEP_K * ball.worst("core_k")[0]


def _space(orders: Sequence[Order] | None = None) -> float:
    return _factor(orders, "space")


def _tenfold(orders: Sequence[Order] | None = None) -> float:
    known = _orders() if orders is None else orders
    order = np.mean([each.observed for each in known if each.kind == "time"])
    return float(10.0 ** (1.0 / order))


LESSON = Lesson(
    name="does-it-solve-its-equations",
    title="Does it solve its equations?",
    case=(
        "A program that draws smooth curves may still draw the wrong ones. Whether it solves "
        "the equations that it states can be found out without any meat: by problems whose "
        "answer is known."
    ),
    questions=(
        Question(
            "hardest",
            "Slab, cylinder or sphere: where is the core hardest to get right?",
            {
                "slab": "In the slab",
                "cylinder": "In the cylinder",
                "sphere": "In the sphere",
            },
            _hardest,
            "In a sphere the heat comes from all sides and converges on one point.",
        ),
        Question(
            "halved",
            "You halve the spacing of the nodes; in another run you halve the time step. By "
            "which factors do the errors fall?",
            {
                "2 and 2": "By 2 and by 2",
                "4 and 4": "By 4 and by 4",
                "4 and 8": "By 4 in space and by 8 in time",
                "8 and 4": "By 8 in space and by 4 in time",
            },
            _halved,
            "The scheme is of second order in space and of third order in time, and it shows.",
        ),
        Question(
            "missing",
            "After fourteen hours of cooking, which share of the heat that crossed the surface "
            "is missing in the books?",
            {
                "thousandth": "About a thousandth",
                "millionth": "About a millionth",
                "digits": "Less than a thousand-millionth",
            },
            _missing,
            "What leaves one volume enters the next. That proves less than it seems: books "
            "close with a wrong sign as well.",
        ),
    ),
    exercises=(
        Exercise(
            "sphere",
            "The largest error at the core of a sphere at a Biot number of 10, with the usual "
            "settings: how large would it be for a step of {1000 K}?",
            "K",
            _sphere,
            share=0.1,
            digits=2,
            too_low="Ten times what the table says: there the step is {100 K}.",
            too_high="Take the line of the sphere at a Biot number of 10, usual settings.",
            because="The equations of dry heat are linear: errors grow with the step.",
        ),
        Exercise(
            "space",
            "By what factor does the error fall when the spacing is halved, in the mean of the "
            "three lines? The slope of a line is its order.",
            "times",
            _space,
            share=0.1,
            too_low="Two to the power of the order; the slopes stand under the picture.",
            too_high="Take the slopes of the left picture, not of the right one.",
            because="Two to the power of two: second order.",
        ),
        Exercise(
            "tenfold",
            "The error in time is to fall tenfold. By what factor must the step shrink?",
            "times",
            _tenfold,
            share=0.1,
            digits=2,
            too_low="Solve (factor)^order = 10 for the order in time.",
            too_high="The order in time is three, not two or one.",
            because="The cube root of ten: with a third-order scheme digits are cheap.",
        ),
    ),
    equation=(
        "rho c dT/dt = div(k grad T)     inside\n"
        "-k dT/dn = h (T_s - T_air)      at the surface;  Bi = h R / k\n"
        "E(step) = C step^p              p is the order: p = log2( E(step) / E(step/2) )"
    ),
    takeaways=(
        "Conduction is solved to a few hundredths of a kelvin of a step of {100 K}.",
        "The errors fall by the order the scheme was built for, so they can be bought down.",
        "Books that close find what is lost on the way, not what is wrong at the source.",
    ),
)
