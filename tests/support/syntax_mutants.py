"""Small wrong changes to a source text, found by its syntax tree.

`changes` lists every change that a file offers, always in the same order; `changed_tree`
makes one. What only words things is left alone: docstrings, annotations, ``__repr__``,
log lines, blocks for the type checker. A number inside a sentence is no mere wording.
"""

from __future__ import annotations

import ast
import copy
import random
import re
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from types import CodeType
from typing import Any

# How likely a kind is drawn, beside the others. What decides is preferred: a comparison
# to a default, a sum to a keyword that is left out.
WEIGHTS = {
    "comparison": 3.0,
    "arithmetic": 3.0,
    "and/or": 3.0,
    "extreme": 3.0,
    "rounding": 3.0,
    "condition": 2.5,
    "unit": 2.0,
    "decision": 2.0,
    "first/last": 2.0,
    "slice": 2.0,
    "order": 2.0,
    "deleted": 2.0,
    "swapped": 2.0,
    "quantity in a sentence": 2.0,
    "number in a sentence": 1.5,
    "dropped": 1.0,
    "constant": 0.5,
    "flag": 0.5,
    "keyword": 0.5,
}
# Inside a comparison, a calculation, a test or what is returned; in an error's message.
DECIDES, IN_MESSAGE = 2.0, 0.2

_ORDER = {ast.Lt: ast.LtE, ast.LtE: ast.Lt, ast.Gt: ast.GtE, ast.GtE: ast.Gt}
_OPPOSITE = {
    ast.Lt: ast.GtE, ast.GtE: ast.Lt, ast.Gt: ast.LtE, ast.LtE: ast.Gt, ast.Eq: ast.NotEq,
    ast.NotEq: ast.Eq, ast.Is: ast.IsNot, ast.IsNot: ast.Is, ast.In: ast.NotIn,
    ast.NotIn: ast.In,
}  # fmt: skip
_ARITHMETIC = {
    ast.Add: ast.Sub, ast.Sub: ast.Add, ast.Mult: ast.Div, ast.Div: ast.Mult,
    ast.FloorDiv: ast.Mult, ast.Mod: ast.FloorDiv, ast.Pow: ast.Mult,
    ast.BitAnd: ast.BitOr, ast.BitOr: ast.BitAnd,
}  # fmt: skip


def _both_ways(pairs: Mapping[str, str]) -> dict[str, str]:
    return {**pairs, **{b: a for a, b in pairs.items()}}


_EXTREMES = _both_ways(
    {
        "min": "max", "argmin": "argmax", "minimum": "maximum", "nanmin": "nanmax",
        "nanargmin": "nanargmax", "fmin": "fmax", "any": "all", "logical_and": "logical_or",
        "startswith": "endswith",
    }
)  # fmt: skip
_BUILT_IN = {"min", "max", "any", "all"}
_ROUNDINGS = {"floor": "ceil", "ceil": "floor"}
# Quantities of the floor for words have a side to which they are rounded.
_WORDS = "coreward.words"
_SIDES = _both_ways(
    {"down": "up", "Held": "Needed", "Earned": "Required", "Reading": "HottestReading"}
)
_CLOCK = {"seconds": "minutes", "minutes": "hours", "hours": "minutes", "days": "hours"}
_TYPES = {
    "Literal", "Callable", "Sequence", "Mapping", "Iterator", "Iterable", "Collection",
    "dict", "list", "tuple", "set", "frozenset", "type", "NDArray", "Union", "Optional",
    "Final", "ClassVar", "Generic", "Protocol", "Annotated",
}  # fmt: skip
_MUTE = {"warn", "debug", "info", "warning", "exception", "print"}
_UNORDERED = {
    "isinstance", "issubclass", "getattr", "setattr", "hasattr", "zip", "min", "max",
    "minimum", "maximum", "hypot", "isclose", "allclose", "array_equal", "cast",
}  # fmt: skip
# Not a choice of ours, or one whose loss is an error at once.
_NO_KEYWORDS = {"strict", "dtype", "axis", "maxsize", "encoding", "newline", "copy", "reverse"}
_TINY = 1e-5
_NUMBER = re.compile(r"(?<![\w{.#])\d+(?:\.\d+)?(?![\w}])")
_SHOWN_NUMBER = re.compile(r"[.,\d+-]*[dfgeG%]$")


@dataclass(frozen=True)
class Change:
    """One wrong change.

    Attributes
    ----------
    index : int
        Among all of its file.
    kind : str
        One of `WEIGHTS`.
    line, text : int, str
        Where, and the source line without its indent.
    before, after : str
        The part that changes.
    first, last : int
        Lines of the innermost statement around it: a test that runs none cannot notice.
    names : tuple of str
        Empty inside a function; else what the statement binds, since it runs at import.
    weight : float
    decides : bool
        Inside a comparison, a calculation, a test or what is returned.
    """

    index: int
    kind: str
    line: int
    text: str
    before: str
    after: str
    first: int
    last: int
    names: tuple[str, ...]
    weight: float
    decides: bool


@dataclass(frozen=True)
class _Around:
    """Where a node stands."""

    put: Callable[[ast.AST], None] = lambda node: None
    statement: ast.stmt | None = None
    names: tuple[str, ...] = ()
    inside: bool = False  # of a function
    decides: bool = False
    message: bool = False
    line: int = 0  # of the sentence around; positions inside one are not told by all versions
    assigned: Mapping[str, int] = field(default_factory=dict)
    nested: bool = False  # below an if, a loop, ... of the function
    test: bool = False
    index: bool = False
    drop: bool = True
    number: bool = True


_Offer = tuple[str, ast.AST, str, str]


@dataclass
class _Finder:
    source: str
    decisions: Mapping[str, str]
    wanted: int | None = None
    found: list[Change] = field(default_factory=list)

    def __post_init__(self) -> None:
        self.lines = self.source.splitlines()

    # -- walking ------------------------------------------------------------------------

    def walk(self, node: ast.AST, at: _Around) -> bool:
        """Offer the changes of a node and of all below; True when the wanted one is made."""
        if _left_alone(node):
            return False
        here = _inside(node, at)
        for kind, new, before, after in self._offers(node, here):
            if self._offer(node, here, kind, new, before, after):
                return True
        if isinstance(node, ast.Call) and _called(node) in ("isinstance", "issubclass"):
            return False
        for name, child, position in _children(node):
            if self.walk(child, _step(node, name, child, position, here)):
                return True
        return False

    def _offer(
        self, node: ast.AST, at: _Around, kind: str, new: ast.AST, before: str, after: str
    ) -> bool:
        index = len(self.found)
        statement = at.statement or node
        line = at.line or getattr(node, "lineno", 0) or getattr(statement, "lineno", 0)
        weight = WEIGHTS[kind]
        weight *= IN_MESSAGE if at.message else DECIDES if at.decides else 1.0
        first, last = _header(statement)
        self.found.append(
            Change(
                index,
                kind,
                line,
                self.lines[line - 1].strip() if line else "",
                _one_line(before),
                _one_line(after),
                first,
                last,
                () if at.inside else at.names,
                weight,
                at.decides,
            )
        )
        if index != self.wanted:
            return False
        at.put(ast.copy_location(new, node) if hasattr(node, "lineno") else new)
        return True

    def _offers(self, node: ast.AST, at: _Around) -> Iterator[_Offer]:
        if isinstance(node, ast.stmt):
            yield from _statement(node, at)
        elif isinstance(node, ast.Constant):
            yield from self._constant(node, at)
        elif isinstance(node, ast.comprehension):
            yield from _filters(node)
        elif isinstance(node, ast.expr):
            for kind, new in _expression(node, at):
                before, after = _difference(node, new, kind)
                yield kind, new, before, after

    def _constant(self, node: ast.Constant, at: _Around) -> Iterator[_Offer]:
        value = node.value
        if isinstance(value, bool) and at.number:
            yield "flag", ast.Constant(not value), repr(value), repr(not value)
        elif isinstance(value, int | float) and not isinstance(value, bool) and at.number:
            for kind, new in _numbers(value, at.index):
                yield kind, ast.Constant(new), repr(value), repr(new)
        elif isinstance(value, str):
            if value in self.decisions:
                other = self.decisions[value]
                yield "decision", ast.Constant(other), repr(value), repr(other)
            elif value in ("left", "right"):
                other = "right" if value == "left" else "left"
                yield "decision", ast.Constant(other), repr(value), repr(other)
            elif " " in value and re.search("[A-Za-z]{2}", value):
                yield from _sentence(value)


def _step(
    node: ast.AST, name: str, child: ast.AST, position: int | None, at: _Around
) -> _Around:
    """Return where a child stands, and how another is put into its place."""

    def put(new: ast.AST) -> None:
        if position is None:
            setattr(node, name, new)
        else:
            getattr(node, name)[position] = new

    changes: dict[str, Any] = {
        "put": put, "test": False, "index": False, "drop": True, "number": True,
    }  # fmt: skip
    if isinstance(child, ast.stmt):
        changes["statement"] = child
        changes["nested"] = at.nested or isinstance(
            node, ast.If | ast.For | ast.While | ast.With | ast.Try
        )
        changes["decides"] = False
    if isinstance(node, ast.If | ast.While | ast.IfExp) and name == "test":
        changes.update(test=True, decides=True)
    if isinstance(node, ast.Compare | ast.BinOp | ast.BoolOp | ast.AugAssign | ast.Return):
        changes["decides"] = True
    if isinstance(node, ast.comprehension) and name == "ifs":
        changes.update(test=True, decides=True)
    if isinstance(node, ast.Raise):
        changes["message"] = True
    if isinstance(node, ast.JoinedStr) and not at.line:
        changes["line"] = node.lineno
    if isinstance(node, ast.Subscript) and name == "slice":
        changes.update(index=True, drop=False)
    if isinstance(node, ast.UnaryOp) and isinstance(node.op, ast.USub):
        # Of -1, the whole is changed where it is an index.
        changes.update(index=at.index, number=at.number and not at.index)
    if isinstance(node, ast.Return | ast.Starred | ast.FormattedValue):
        changes["drop"] = False
    if isinstance(node, ast.Assign) and isinstance(node.targets[0], ast.Tuple):
        changes["drop"] = False
    if isinstance(node, ast.keyword) and node.arg in _NO_KEYWORDS:
        changes["number"] = False
    if isinstance(node, ast.Tuple) and at.index:
        changes.update(index=True, drop=False)
    if isinstance(node, ast.FunctionDef | ast.AsyncFunctionDef) and name == "body":
        changes.update(inside=True, nested=False)
    return replace(at, **changes)


def _inside(node: ast.AST, at: _Around) -> _Around:
    """Note what a definition means for all below it."""
    if isinstance(node, ast.FunctionDef | ast.AsyncFunctionDef):
        return replace(at, names=at.names or (node.name,), assigned=_assigned(node))
    if isinstance(node, ast.ClassDef):
        return replace(at, names=at.names or (node.name,))
    if isinstance(node, ast.stmt) and not at.inside and not at.names:
        names = {n.id for n in ast.walk(node) if isinstance(n, ast.Name)
                 and isinstance(n.ctx, ast.Store)}  # fmt: skip
        return replace(at, names=tuple(sorted(names)))
    return at


def _children(node: ast.AST) -> Iterator[tuple[str, ast.AST, int | None]]:
    for name, value in ast.iter_fields(node):
        if name in ("annotation", "returns", "decorator_list", "bases", "type_comment", "ctx"):
            continue
        if isinstance(node, ast.FormattedValue) and name == "format_spec":
            continue
        if isinstance(value, ast.AST):
            yield name, value, None
        elif isinstance(value, list):
            for position, item in enumerate(value):
                if isinstance(item, ast.AST):
                    yield name, item, position


def _left_alone(node: ast.AST) -> bool:
    match node:
        case ast.Expr(value=ast.Constant()):  # a docstring
            return True
        case ast.FunctionDef(name="__repr__") | ast.Import() | ast.ImportFrom() | ast.Assert():
            return True
        case ast.If(test=ast.Name(id="TYPE_CHECKING") | ast.Attribute(attr="TYPE_CHECKING")):
            return True
        case ast.Assign(targets=[ast.Name(id="__all__")]):
            return True
        case ast.Subscript(value=ast.Name(id=name)) if name in _TYPES:
            return True
        case ast.Call():
            called = _called(node)
            if called in ("TypeVar", "NewType", "cast"):
                return True
            if called == "compile" and isinstance(node.func, ast.Attribute):
                return True
            return called in _MUTE and isinstance(node.func, ast.Attribute)
    return False


def _called(node: ast.Call) -> str:
    if isinstance(node.func, ast.Name):
        return node.func.id
    return node.func.attr if isinstance(node.func, ast.Attribute) else ""


def _assigned(node: ast.FunctionDef | ast.AsyncFunctionDef) -> dict[str, int]:
    """Return the line in which each name has its first value, arguments included."""
    first: dict[str, int] = {}
    for one in ast.walk(node):
        name = None
        if isinstance(one, ast.arg):
            name = one.arg
        elif isinstance(one, ast.Name) and isinstance(one.ctx, ast.Store):
            name = one.id
        if name is not None:
            first[name] = min(one.lineno, first.get(name, one.lineno))
    return first


def _header(node: ast.AST) -> tuple[int, int]:
    """First and last line of a statement, without the statements in it."""
    first = getattr(node, "lineno", 0)
    last = getattr(node, "end_lineno", first) or first
    body = getattr(node, "body", None)
    if isinstance(body, list) and body and isinstance(body[0], ast.stmt):
        last = max(first, body[0].lineno - 1)
    return first, last


def _one_line(text: str) -> str:
    return " ".join(text.split())


# -- statements -------------------------------------------------------------------------


def _statement(node: ast.stmt, at: _Around) -> Iterator[_Offer]:
    if at.inside and _may_go(node, at):
        yield "deleted", ast.Pass(), _short(node), "pass"
    match node:
        case ast.AugAssign(op=op) if type(op) in _ARITHMETIC and not _wordy(node.value):
            new = _copied(node)
            new.op = _ARITHMETIC[type(op)]()
            yield "arithmetic", new, _short(node), _short(new)
        case ast.If(orelse=[first, *_]) if not isinstance(first, ast.If):
            new = _copied(node)
            new.orelse = []
            yield "deleted", new, f"if {_short(node.test)}: ... else: ...", "without the else"
        case ast.For(iter=iterated):
            for what, part in (("first", "1:"), ("last", ":-1")):
                new = _copied(node)
                text = f"list({ast.unparse(iterated)})[{part}]"
                new.iter = _located(ast.parse(text, mode="eval").body, iterated)
                yield "dropped", new, f"for ... in {_short(iterated)}", f"without the {what}"


def _may_go(node: ast.stmt, at: _Around) -> bool:
    match node:
        case ast.Return():
            return at.nested
        case ast.Continue() | ast.Break() | ast.Raise() | ast.AugAssign():
            return True
        case ast.Expr(value=ast.Call()):
            return not _left_alone(node.value)
        case ast.Assign(targets=[ast.Name(id=name)]):
            return at.assigned.get(name, node.lineno) < node.lineno
        case ast.Assign(targets=[ast.Attribute() | ast.Subscript()]):
            return True
    return False


def _filters(node: ast.comprehension) -> Iterator[_Offer]:
    for position, test in enumerate(node.ifs):
        new = _copied(node)
        del new.ifs[position]
        yield "condition", new, f"if {_short(test)}", "without the filter"


def _copied(node: Any) -> Any:
    """Return a node like it, with the same nodes below in lists of its own."""
    new = copy.copy(node)
    for name, value in ast.iter_fields(node):
        if isinstance(value, list):
            setattr(new, name, list(value))
    return new


def _located(new: ast.AST, old: ast.AST) -> ast.AST:
    for one in ast.walk(new):
        if "lineno" in one._attributes:
            ast.copy_location(one, old)
    return new


def _short(node: ast.AST) -> str:
    return _one_line(ast.unparse(node))


# -- expressions ------------------------------------------------------------------------


def _expression(node: ast.expr, at: _Around) -> Iterator[tuple[str, ast.expr]]:
    if at.test:
        yield from _negated(node)
    match node:
        case ast.Compare():
            yield from _comparisons(node)
        case ast.BinOp(op=op) if type(op) in _ARITHMETIC:
            if not (_wordy(node.left) or _wordy(node.right)):
                yield "arithmetic", ast.BinOp(node.left, _ARITHMETIC[type(op)](), node.right)
        case ast.UnaryOp(op=ast.USub(), operand=ast.Constant(value=1)) if at.index:
            yield "first/last", ast.Constant(0)
        case ast.UnaryOp(op=ast.USub()) if at.number and not at.index:
            yield "arithmetic", node.operand
        case ast.UnaryOp(op=ast.Not()):
            yield "condition", node.operand
        case ast.UnaryOp(op=ast.Invert()):
            yield "condition", node.operand
        case ast.BoolOp():
            yield from _booleans(node)
        case ast.Attribute(ctx=ast.Load(), attr=name) if name in _EXTREMES:
            yield "extreme", ast.Attribute(node.value, _EXTREMES[name], ast.Load())
        case ast.Attribute(ctx=ast.Load(), attr=name) if name in _ROUNDINGS:
            yield "rounding", ast.Attribute(node.value, _ROUNDINGS[name], ast.Load())
        case ast.Call():
            yield from _calls(node, at)
        case ast.Slice():
            yield from _slices(node)
        case ast.Tuple(ctx=ast.Load()) | ast.List(ctx=ast.Load()) | ast.Set() | ast.Dict():
            yield from _sequences(node, at)
        case ast.FormattedValue(format_spec=ast.JoinedStr(values=[ast.Constant(value=spec)])):
            if _SHOWN_NUMBER.match(str(spec)):
                twice = ast.BinOp(ast.Constant(2), ast.Mult(), node.value)
                yield (
                    "quantity in a sentence",
                    ast.FormattedValue(twice, node.conversion, node.format_spec),
                )


def _negated(test: ast.expr) -> Iterator[tuple[str, ast.expr]]:
    if isinstance(test, ast.UnaryOp) and isinstance(test.op, ast.Not):
        return  # without it: offered already
    if isinstance(test, ast.Compare) and len(test.ops) == 1:
        return  # its opposite: offered already
    yield "condition", ast.UnaryOp(ast.Not(), test)


def _comparisons(node: ast.Compare) -> Iterator[tuple[str, ast.expr]]:
    for position, op in enumerate(node.ops):
        for table in (_ORDER, _OPPOSITE):
            if type(op) in table:
                new = _copied(node)
                new.ops[position] = table[type(op)]()
                yield "comparison", new


def _booleans(node: ast.BoolOp) -> Iterator[tuple[str, ast.expr]]:
    other = ast.Or() if isinstance(node.op, ast.And) else ast.And()
    yield "and/or", ast.BoolOp(other, node.values)
    for position in range(len(node.values)):
        rest = [value for n, value in enumerate(node.values) if n != position]
        yield "and/or", rest[0] if len(rest) == 1 else ast.BoolOp(node.op, rest)


def _calls(node: ast.Call, at: _Around) -> Iterator[tuple[str, ast.expr]]:
    name = _called(node)
    if isinstance(node.func, ast.Name):
        if name in _BUILT_IN:
            yield "extreme", _with_function(node, _EXTREMES[name])
        if name in _SIDES:
            other = _SIDES[name]
            # It need not be imported where the first one is.
            found = f"__import__({_WORDS!r}, fromlist=[{other!r}]).{other}"
            yield "rounding", _with_function(node, found)
        if name == "sorted":
            new = _copied(node)
            kept = [one for one in new.keywords if one.arg != "reverse"]
            if len(kept) == len(new.keywords):
                kept.append(ast.keyword("reverse", ast.Constant(True)))
            new.keywords = kept
            yield "order", new
        if name in ("abs", "reversed") and len(node.args) == 1:
            yield "order" if name == "reversed" else "arithmetic", node.args[0]
    if name == "timedelta":
        for position, keyword in enumerate(node.keywords):
            if keyword.arg in _CLOCK:
                new = _copied(node)
                new.keywords[position] = ast.keyword(_CLOCK[keyword.arg], keyword.value)
                yield "unit", new
    if name not in _UNORDERED:
        for position in range(len(node.args) - 1):
            a, b = node.args[position : position + 2]
            if _alike(a, b):
                new = _copied(node)
                new.args[position : position + 2] = [b, a]
                yield "swapped", new
        for position in range(len(node.keywords) - 1):
            one, two = node.keywords[position : position + 2]
            if one.arg and two.arg and _alike(one.value, two.value):
                new = _copied(node)
                new.keywords[position] = ast.keyword(one.arg, two.value)
                new.keywords[position + 1] = ast.keyword(two.arg, one.value)
                yield "swapped", new
    for position, keyword in enumerate(node.keywords):
        if keyword.arg and keyword.arg not in _NO_KEYWORDS | set(_CLOCK):
            new = _copied(node)
            del new.keywords[position]
            yield "keyword", new


def _with_function(node: ast.Call, function: str) -> ast.Call:
    new = _copied(node)
    new.func = ast.parse(function, mode="eval").body  # type: ignore[assignment]
    _located(new.func, node.func)
    return new


def _alike(a: ast.expr, b: ast.expr) -> bool:
    """Whether two arguments may be of like type: written the same way."""
    if type(a) is not type(b) or not isinstance(a, ast.Name | ast.Attribute | ast.Subscript):
        return False
    return ast.unparse(a) != ast.unparse(b)


def _slices(node: ast.Slice) -> Iterator[tuple[str, ast.expr]]:
    for name in ("lower", "upper"):
        bound = getattr(node, name)
        if bound is None:
            continue
        new = _copied(node)
        setattr(new, name, None)
        yield "slice", new
        if not isinstance(bound, ast.Constant | ast.UnaryOp):
            new = _copied(node)
            setattr(new, name, ast.BinOp(bound, ast.Add(), ast.Constant(1)))
            yield "slice", new


def _sequences(node: ast.expr, at: _Around) -> Iterator[tuple[str, ast.expr]]:
    if isinstance(node, ast.Dict):
        for position, key in enumerate(node.keys):
            if len(node.keys) > 1 and key is not None:
                keys, values = list(node.keys), list(node.values)
                del keys[position], values[position]
                yield "dropped", ast.Dict(keys, values)
        return
    assert isinstance(node, ast.Tuple | ast.List | ast.Set)
    for position in range(len(node.elts) - 1):
        if _alike(*node.elts[position : position + 2]) and not isinstance(node, ast.Set):
            new = _copied(node)
            new.elts[position : position + 2] = new.elts[position : position + 2][::-1]
            yield "swapped", new
    if at.drop and len(node.elts) > 1:
        for position in range(len(node.elts)):
            new = _copied(node)
            del new.elts[position]
            yield "dropped", new


def _wordy(node: ast.expr) -> bool:
    """Whether a sum of it is one of words or sequences, not of numbers."""
    match node:
        case ast.Constant(value=str() | bytes()) | ast.JoinedStr() | ast.List() | ast.Tuple():
            return True
        case ast.ListComp() | ast.Dict() | ast.DictComp():
            return True
        case ast.BinOp(left=left, right=right):
            return _wordy(left) or _wordy(right)
        case ast.IfExp(body=one, orelse=other):
            return _wordy(one) or _wordy(other)
    return False


# -- numbers and words ------------------------------------------------------------------


def _numbers(value: float, index: bool) -> Iterator[tuple[str, float]]:
    if index and isinstance(value, int):
        yield "first/last", -1 if value == 0 else value - 1
        return
    if value in (60, 3600):
        yield "unit", type(value)(3660 - value)
    if value == 0:
        yield "constant", type(value)(1)
        return
    if abs(value) < _TINY:
        yield "constant", value * 1e6
        return
    yield "constant", value * 2
    yield "constant", value + 1
    if isinstance(value, float) or value % 2 == 0:
        yield "constant", value / 2 if isinstance(value, float) else value // 2


def _sentence(text: str) -> Iterator[_Offer]:
    """Wrong numbers inside right sentences, and quantities in each other's place."""
    for found in _NUMBER.finditer(text):
        number = found.group()
        digits = len(number.partition(".")[2])
        wrong = f"{float(number) + 1:.{digits}f}"
        new = text[: found.start()] + wrong + text[found.end() :]
        around = text[max(0, found.start() - 15) : found.end() + 15]
        yield (
            "number in a sentence", ast.Constant(new), around,
            around.replace(number, wrong, 1),
        )  # fmt: skip
    if "{0}" in text and "{1}" in text:
        new = text.replace("{0}", "{?}").replace("{1}", "{0}").replace("{?}", "{1}")
        yield "swapped", ast.Constant(new), "{0} ... {1}", "{1} ... {0}"


def _difference(node: ast.expr, new: ast.expr, kind: str) -> tuple[str, str]:
    """Return what to show of a change: of a long call or sequence only what differs."""
    if isinstance(node, ast.FormattedValue):
        spec = node.format_spec
        assert isinstance(spec, ast.JoinedStr)
        assert isinstance(new, ast.FormattedValue)
        (part,) = spec.values
        assert isinstance(part, ast.Constant)
        return (
            f"{{{ast.unparse(node.value)}:{part.value}}}",
            f"{{{ast.unparse(new.value)}:{part.value}}}",
        )
    if isinstance(node, ast.Call) and isinstance(new, ast.Call):
        name = ast.unparse(node.func)
        old, now = _arguments(node), _arguments(new)
        if kind == "keyword":
            gone = next(one for one in old if one not in now)
            return f"{name}(..., {gone})", f"{name}(...)"
        if kind == "swapped":
            differ = [(a, b) for a, b in zip(old, now, strict=True) if a != b]
            return (
                f"{name}({', '.join(a for a, _ in differ)})",
                f"{name}({', '.join(b for _, b in differ)})",
            )
        if kind in ("extreme", "rounding"):
            return f"{name}(...)", f"{_called(new)}(...)"
    if kind == "dropped":
        old, now = _elements(node), _elements(new)
        gone = next((a for a, b in zip(old, now, strict=False) if a != b), old[-1])
        return f"..., {gone}, ...", "left out"
    return ast.unparse(node), ast.unparse(new)


def _arguments(node: ast.Call) -> list[str]:
    return [_short(one) for one in (*node.args, *node.keywords)]


def _elements(node: ast.expr) -> list[str]:
    if isinstance(node, ast.Dict):
        return [
            f"{_short(key) if key else '**'}: {_short(value)}"
            for key, value in zip(node.keys, node.values, strict=True)
        ]
    assert isinstance(node, ast.Tuple | ast.List | ast.Set)
    return [_short(one) for one in node.elts]


# -- what others call -------------------------------------------------------------------


def decision_words(sources: Sequence[str]) -> dict[str, str]:
    """Return each word of a ``Literal[...]`` with the next of the same: a wrong decision."""
    words: dict[str, str] = {}
    for source in sources:
        for node in ast.walk(ast.parse(source if "Literal[" in source else "")):
            match node:
                case ast.Subscript(value=ast.Name(id="Literal"), slice=ast.Tuple(elts=items)):
                    texts = [
                        e.value for e in items
                        if isinstance(e, ast.Constant) and isinstance(e.value, str)
                    ]  # fmt: skip
                    if len(texts) > 1:
                        for a, b in zip(texts, [*texts[1:], texts[0]], strict=True):
                            words.setdefault(a, b)
    return words


def changes(source: str, decisions: Mapping[str, str] | None = None) -> list[Change]:
    """List every change that a source text offers, in the order of its syntax tree."""
    finder = _Finder(source, decisions or {})
    finder.walk(ast.parse(source), _Around())
    return finder.found


def changed_tree(
    source: str, index: int, decisions: Mapping[str, str] | None = None
) -> ast.Module:
    """Return the syntax tree of the source with one change made.

    Raises
    ------
    LookupError
        If the source offers no change with this number.
    """
    tree = ast.parse(source)
    if not _Finder(source, decisions or {}, wanted=index).walk(tree, _Around()):
        raise LookupError(f"there is no change number {index}")
    return ast.fix_missing_locations(tree)


def is_the_same(source: str, index: int, decisions: Mapping[str, str] | None = None) -> bool:
    """Whether a change leaves the compiled code as it was, or cannot be compiled."""
    try:
        new = compile(changed_tree(source, index, decisions), "x", "exec", dont_inherit=True)
    except (SyntaxError, ValueError):
        return True
    old = compile(ast.parse(source), "x", "exec", dont_inherit=True)
    return _bare(new) == _bare(old)


def _bare(code: CodeType) -> tuple[object, ...]:
    """Return what a code object does, without where it stands in the source."""
    constants = tuple(
        _bare(one) if isinstance(one, CodeType) else (type(one), repr(one))
        for one in code.co_consts
    )
    return code.co_code, constants, code.co_names, code.co_varnames, code.co_freevars


def drawn(found: Sequence[Change], seed: str) -> Iterator[Change]:
    """Give changes in a random order, by weight, at most two of a line, repeatably."""
    rng = random.Random(seed)
    keyed = [(rng.random() ** (1.0 / one.weight), one) for one in found]
    on_line: dict[int, int] = {}
    for _, one in sorted(keyed, key=lambda pair: (-pair[0], pair[1].index)):
        on_line[one.line] = on_line.get(one.line, 0) + 1
        if on_line[one.line] <= 2:
            yield one
