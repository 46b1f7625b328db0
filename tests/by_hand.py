"""Does again, as a person with a pencil would, the sums that a worked calculation shows."""

from __future__ import annotations

import ast
import math
import operator
import re

_WORDS = ((" minus reference ", " − "), (" of ", " / "))
_SUM = re.compile(r"(?<![\w.])([(√±−\d][\d.\s()+*/×√²−±eE-]*?) = (?:± )?(−?\d[\d.]*(?:e[+-]?\d+)?)")
_DO = {
    ast.Add: operator.add, ast.Sub: operator.sub, ast.Mult: operator.mul, ast.Div: operator.truediv,
    ast.Pow: operator.pow,
}  # fmt: skip


def sums_of(step: str) -> list[tuple[str, float, float]]:
    """Return (the sum as shown, what it makes, what is shown as its result) for each sum in a line."""
    found = []
    for word, sign in _WORDS:
        step = re.sub(rf"(?<=\d){word}(?=\d)", sign, step)
    for shown, result in _SUM.findall(step):
        text = shown.strip().lstrip("± ").replace("−", "-").replace("×", "*").replace("²", "**2")
        text = text.replace("√", "root")
        if "±" not in text and text.count("(") == text.count(")") and re.search(r"\d\s*[-+*/]|root|\*\*", text):
            found.append((shown, _made(ast.parse(text, mode="eval").body), float(result.replace("−", "-"))))
    return found


def _made(node: ast.expr) -> float:
    match node:
        case ast.BinOp():
            return float(_DO[type(node.op)](_made(node.left), _made(node.right)))
        case ast.UnaryOp():
            return -_made(node.operand)
        case ast.Call(args=[inside]):
            return math.sqrt(_made(inside))
        case ast.Constant(value=(int() | float()) as value):
            return float(value)
        case _:
            raise AssertionError(ast.dump(node))
