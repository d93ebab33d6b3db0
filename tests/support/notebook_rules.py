"""What makes a notebook thin and testable, as functions over a parsed notebook."""

from __future__ import annotations

import ast
import re
from collections.abc import Iterator
from typing import Any

Notebook = dict[str, Any]

MAX_DEFINITION_LINES = 5
CHECK_TAG = "nbval-check-output"
# A temperature, duration or size that a person may choose belongs to a call; a
# property of meat, air or an organism belongs to the tables. These words name the
# latter.
CONSTANT_OF_THE_TRADE = re.compile(
    r"conductivity|density|heat_capacity|permeab|diffusiv|latent|emissiv|sorption|"
    r"water_activity|holding|modulus|stefan|boltzmann|gas_constant|molar|"
    r"(?:^|_)(?:d|z)_(?:value|minutes|c|k)(?:_|$)|d_value|z_value|enthalpy|kinetics",
    re.IGNORECASE,
)


def code_cells(notebook: Notebook) -> Iterator[tuple[int, dict[str, Any], str]]:
    """Yield number, cell and Python source (magics blanked) of each code cell."""
    for number, cell in enumerate(notebook["cells"]):
        if cell["cell_type"] != "code":
            continue
        source = cell["source"]
        text = source if isinstance(source, str) else "".join(source)
        lines = ["" if line.startswith(("%", "!")) else line for line in text.splitlines()]
        yield number, cell, "\n".join(lines)


def long_definitions(notebook: Notebook) -> list[str]:
    """Find functions and classes that should live in the package."""
    findings = []
    for number, _, source in code_cells(notebook):
        for node in ast.walk(ast.parse(source)):
            if isinstance(node, ast.FunctionDef | ast.AsyncFunctionDef | ast.ClassDef):
                length = (node.end_lineno or node.lineno) - node.lineno + 1
                if length > MAX_DEFINITION_LINES:
                    findings.append(f"cell {number}: {node.name} has {length} lines")
    return findings


def _is_number(node: ast.expr) -> bool:
    """Tell whether an expression is made of literal numbers only."""
    return all(
        isinstance(part, ast.BinOp | ast.UnaryOp | ast.operator | ast.unaryop)
        or (isinstance(part, ast.Constant) and isinstance(part.value, int | float))
        for part in ast.walk(node)
    )


def constants_of_the_trade(notebook: Notebook) -> list[str]:
    """Find numbers written in the notebook that belong to the tables."""
    findings = []
    for number, _, source in code_cells(notebook):
        for node in ast.walk(ast.parse(source)):
            pairs: list[tuple[str, ast.expr]] = []
            if isinstance(node, ast.Assign):
                pairs = [(t.id, node.value) for t in node.targets if isinstance(t, ast.Name)]
            elif isinstance(node, ast.AnnAssign) and isinstance(node.target, ast.Name):
                pairs = [(node.target.id, node.value)] if node.value else []
            elif isinstance(node, ast.keyword) and node.arg:
                pairs = [(node.arg, node.value)]
            findings += [
                f"cell {number}: {name} = {ast.unparse(value)}"
                for name, value in pairs
                if CONSTANT_OF_THE_TRADE.search(name) and _is_number(value)
            ]
    return findings


def unchecked_marks(notebook: Notebook) -> list[str]:
    """Find marked cells that nbval would silently not compare."""
    findings = []
    for number, cell, _ in code_cells(notebook):
        if CHECK_TAG not in cell["metadata"].get("tags", ()):
            continue
        if cell.get("execution_count") is None:
            findings.append(f"cell {number}: marked, but saved without execution count")
        if not cell.get("outputs"):
            findings.append(f"cell {number}: marked, but saved without output")
    return findings


def stored_errors(notebook: Notebook) -> list[str]:
    """Find cells that were saved with an error or a warning for everybody to see."""
    findings = []
    for number, cell, _ in code_cells(notebook):
        for output in cell.get("outputs", []):
            if output.get("output_type") == "error":
                findings.append(f"cell {number}: saved with {output.get('ename')}")
            elif output.get("name") == "stderr":
                # A warning also names a file on the machine of whoever saved it.
                findings.append(f"cell {number}: saved with a warning")
    return findings


def unfolded_code(notebook: Notebook) -> list[str]:
    """Find code that stands open before whoever came for an answer."""
    return [
        f"cell {number}: its code is not folded"
        for number, cell, _ in code_cells(notebook)
        if not cell["metadata"].get("jupyter", {}).get("source_hidden")
    ]


def checks_in_sight(notebook: Notebook) -> list[str]:
    """Find what is for tests: *Run All* would end on it, and say a word to nobody."""
    return [
        f"cell {number}: a check that belongs to the tests"
        for number, _, source in code_cells(notebook)
        if "try_ends" in source or "try_all" in source or 'print("ready")' in source
    ]


def spoilt_questions(notebook: Notebook) -> list[str]:
    """Find text that is printed of a result before the card that asks about the same."""
    told: dict[str, int] = {}
    findings = []
    for number, _, source in code_cells(notebook):
        for node in ast.walk(ast.parse(source)):
            if not (isinstance(node, ast.Call) and node.args):
                continue
            if isinstance(node.func, ast.Name) and node.func.id == "print":
                used = {part.id for part in ast.walk(node) if isinstance(part, ast.Name)}
                told |= {name: number for name in used - told.keys()}
            if isinstance(node.func, ast.Attribute) and node.func.attr == "check":
                given = [part for arg in node.args[1:] for part in ast.walk(arg)]
                asked = {part.id for part in given if isinstance(part, ast.Name)}
                findings += [
                    f"cell {number}: {name} was told of in cell {told[name]}"
                    for name in sorted(asked & told.keys())
                ]
    return findings
