"""The lines of Python that repeat a result.

The lines are built from what the result itself holds, not from what a panel showed, and
what cannot be written as a call (a constant changed by hand, a wrap of one's own) is said
in a comment instead of being left out.
"""

from __future__ import annotations

import dataclasses
import math
from collections.abc import Iterable, Mapping
from typing import Any

import numpy as np

import coreward as cw
from coreward import tables
from coreward.cook.result import Result
from coreward.cook.stages import Around, Stage, TimeSeries
from coreward.errors import CorewardError
from coreward.physics.meat import Material

_WIDTH = 92
_CUT_SETS = ("cut", "transitions")  # chosen with the cut, so not named again


def expression(value: Any) -> str:
    """Return a value as Python text that gives it back."""
    if isinstance(value, TimeSeries):
        return expression((value.time_s, value.value))
    if isinstance(value, np.ndarray):
        return expression(value.tolist())
    if isinstance(value, np.generic):
        return expression(value.item())
    if isinstance(value, float) and not math.isfinite(value):
        return f"float({str(value)!r})"
    if isinstance(value, tuple):
        inside = ", ".join(expression(each) for each in value)
        return f"({inside},)" if len(value) == 1 else f"({inside})"
    if isinstance(value, list):
        return f"[{', '.join(expression(each) for each in value)}]"
    if isinstance(value, tables.ParameterSet):
        return _set(value)
    if dataclasses.is_dataclass(value) and not isinstance(value, type):
        return one_line(_callee(value), _changed(value))
    return repr(value)


def _callee(value: Any) -> str:
    name = type(value).__name__
    # In the public interface if it is there, else by its full address.
    return f"cw.{name}" if name in cw.__all__ else f"{type(value).__module__}.{name}"


def _changed(value: Any, leave: Iterable[str] = ()) -> dict[str, str]:
    """Return the fields that differ from their defaults, as text."""
    given = {}
    for each in dataclasses.fields(value):
        held = getattr(value, each.name)
        if each.name in leave or not each.init:
            continue
        if each.default is not dataclasses.MISSING and _same(held, each.default):
            continue
        given[each.name] = expression(held)
    return given


def _same(held: Any, default: Any) -> bool:
    try:
        return bool(held == default)
    except ValueError:  # an array of a time series
        return False


def _set(chosen: tables.ParameterSet) -> str:
    """Return a set of constants by its name, with what was changed in it."""
    if chosen.name not in tables.names(chosen.kind):
        return f"{chosen.name!r}"
    stored = tables.load(chosen.kind, chosen.name)
    changed = {
        name: repr(chosen[name])
        for name in chosen
        if name in stored and chosen[name] != stored[name]
    }
    plain = f"tables.load({chosen.kind!r}, {chosen.name!r})"
    return plain if not changed else one_line(f"{plain}.replace", changed)


def one_line(callee: str, arguments: Mapping[str, str]) -> str:
    """Return a call on one line."""
    return f"{callee}({', '.join(f'{name}={text}' for name, text in arguments.items())})"


def call(begin: str, arguments: Mapping[str, str], positional: Iterable[str] = ()) -> list[str]:
    """Return a call as lines: one where it fits, else one argument to a line."""
    parts = [*positional, *(f"{name}={text}" for name, text in arguments.items())]
    short = f"{begin}({', '.join(parts)})"
    if len(short) <= _WIDTH:
        return [short]
    return [f"{begin}(", *(f"    {part}," for part in parts), ")"]


def material_code(material: Material) -> tuple[str, str]:
    """Return the call that makes a material, and a comment where it does not quite."""
    if not material.moist:
        solid = cw.constant_material(
            material.constants.fixed_conductivity,
            material.raw_density,
            material.constants.dry_c0 / material.raw_density,
        )
        given = {
            "conductivity": repr(float(solid.constants.fixed_conductivity)),
            "density": repr(float(solid.raw_density)),
            "heat_capacity": f"{solid.constants.dry_c0 / solid.raw_density:.12g}",
        }
        return one_line("cw.constant_material", given), ""
    given, made = _meat_arguments(material)
    text = ", ".join([repr(material.name), *(f"{k}={v!r}" for k, v in given.items())])
    missing = ""
    if made is None or made.constants != material.constants:
        missing = (
            "# Some constants of the meat were changed by hand; this call does not know them."
        )
    return f"cw.meat({text})", missing


def _meat_arguments(material: Material) -> tuple[dict[str, Any], Material | None]:
    """Find the arguments of `meat` that give this material, as far as names can."""
    try:
        plain = cw.meat(material.name)
        given: dict[str, Any] = {
            kind: name
            for kind, name in material.sets.items()
            if kind not in _CUT_SETS
            and name in tables.names(kind)
            and plain.sets.get(kind) != name
        }
        if dict(plain.composition) != dict(material.composition):
            given["composition"] = dict(material.composition)
        made = cw.meat(material.name, **given)
        # The permeability leaves no name behind: it is laid over the transport.
        for name in tables.names("permeability"):
            if made.constants == material.constants:
                break
            tried = cw.meat(material.name, **given, permeability=name)
            if tried.constants == material.constants:
                given["permeability"], made = name, tried
        return given, made
    except (CorewardError, TypeError):
        return {}, None


def cook_code(result: Result, name: str = "cook") -> str:
    """Return the lines that compute a cook again."""
    piece = result.piece
    made, missing = material_code(piece.material)
    lines = ["import coreward as cw"]
    body: list[str] = [missing] if missing else []
    body += call(
        "piece = cw.Piece",
        _changed(piece, leave=("shape", "material", "assumed")),
        (piece.shape.code, made),
    )
    around: dict[int, str] = {}
    distinct: list[Around] = []
    for stage in result.stages:
        known = next(
            (n for n, other in enumerate(distinct) if _same(other, stage.surroundings)), None
        )
        if known is None:
            distinct.append(stage.surroundings)
            known = len(distinct) - 1
            variable = f"around_{known + 1}"
            kind = type(stage.surroundings).__name__
            body += call(f"{variable} = cw.{kind}", _changed(stage.surroundings))
        around[id(stage)] = f"around_{known + 1}"
    body.append("stages = [")
    for stage in result.stages:
        given = _changed(stage, leave=("surroundings",))
        if isinstance(stage.wrap, tables.ParameterSet):
            body += [f"    # {note}" for note in _unsaid(stage)]
        body += [f"    {line}" for line in call("cw.Stage", given, (around[id(stage)],))]
        body[-1] += ","
    body.append("]")
    given = {"engine": repr(result.engine), "cells": repr(len(result.position_m))}
    given["tolerance"] = repr(result.tolerance)
    body += call(f"{name} = cw.simulate", given, ("piece", "stages"))
    if any("tables.load(" in line for line in body):
        lines.append("from coreward import tables")
    addresses = {
        word.rpartition(".")[0]
        for line in body
        for word in line.replace("(", " ").replace("=", " ").replace(",", " ").split()
        if word.startswith("coreward.")
    }
    lines += [f"import {address}" for address in sorted(addresses)]
    return "\n".join([*lines, "", *body]) + "\n"


def _unsaid(stage: Stage) -> list[str]:
    wrap = stage.wrap_set()
    if wrap.name in tables.names("wrap"):
        return []
    return [f"The wrap {wrap.name!r} was made by hand; name one of the table in its place."]


def arguments_code(asked: Iterable[tuple[str, Any]]) -> dict[str, str]:
    """Return arguments as text."""
    return {name: expression(value) for name, value in asked}
