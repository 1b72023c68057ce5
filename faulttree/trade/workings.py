"""The working of a sum, line by line, from its formula and the numbers put in.

A formula is a few lines `name = expression` over the inputs, written by the authors of the sums.
The evaluator here takes nothing but numbers, names, + - * / ^, and the few functions below; the
tests hold that it gives what the function of the sum gives.
"""

from __future__ import annotations

import ast
import math
import operator
import re
from collections.abc import Callable, Mapping, Sequence
from statistics import fmean, median

from faulttree.trade.registry import (
    EACH_CYLINDER,
    NOT_UNITS,
    Input,
    Sum,
)
from faulttree.trade.words import plain

_FUNCTIONS: dict[str, Callable[..., float]] = {
    "sqrt": math.sqrt,
    "exp": math.exp,
    "ln": math.log,
    "min": min,
    "max": max,
    "mean": fmean,
    "median": median,
    "total": math.fsum,
    "count": len,
}
_CONSTANTS = {"pi": math.pi}
_OPERATORS: dict[type[ast.operator], Callable[[float, float], float]] = {
    ast.Add: operator.add,
    ast.Sub: operator.sub,
    ast.Mult: operator.mul,
    ast.Div: operator.truediv,
    ast.Pow: operator.pow,
}
_NAME = re.compile(r"[A-Za-z_][A-Za-z_0-9]*")


def lines_of(
    chosen: Sum, inputs: Mapping[str, Input], unit: str, result: float, gives: str
) -> list[str]:
    """What went in, the formula, the formula with the numbers in it, and what came out."""
    lines = [
        f"{name} = {_figure(value)} {_unit_of(chosen.inputs[name], unit)}".rstrip()
        for name, value in inputs.items()
        if value is not None
    ]
    outcome = f"{plain(result)} {gives}".rstrip()
    if not chosen.arithmetic:
        return [*lines, chosen.formula, f"result = {outcome}"]
    values: dict[str, Input] = dict(inputs)
    steps = chosen.formula.strip().splitlines()
    for number, step in enumerate(steps, start=1):
        name, expression = (part.strip() for part in step.split("=", 1))
        lines.append(f"{name} = {_typeset(expression)}")
        indent = " " * len(name)
        filled = _NAME.sub(lambda found: _filled(found.group(), values), expression)
        if filled != expression:
            lines.append(f"{indent} = {_typeset(filled)}")
        value = evaluate(expression, values)
        values[name] = value
        lines.append(f"{indent} = {outcome if number == len(steps) else plain(value)}")
    return lines


def evaluate(expression: str, values: Mapping[str, Input]) -> float:
    """The value of one expression of a formula. Raises ValueError for anything but arithmetic."""
    tree = ast.parse(expression.strip().replace("^", "**"), mode="eval")
    result = _value(tree.body, values)
    if not isinstance(result, int | float):
        raise ValueError(f"{expression} is a list, not a number")
    return result


def _value(node: ast.expr, values: Mapping[str, Input]) -> float | Sequence[float]:
    match node:
        case ast.Constant(value=int() | float() as number):
            return float(number)
        case ast.Name(id=name) if name in values:
            found = values[name]
            if found is None:
                raise ValueError(f"{name} is not given")
            return found  # type: ignore[return-value]  # lists of lists never stand in a formula
        case ast.Name(id=name) if name in _CONSTANTS:
            return _CONSTANTS[name]
        case ast.UnaryOp(op=ast.USub(), operand=operand):
            return -_number(operand, values)
        case ast.BinOp(left=left, op=op, right=right) if type(op) in _OPERATORS:
            return _OPERATORS[type(op)](_number(left, values), _number(right, values))
        case ast.Call(func=ast.Name(id=name), args=args, keywords=[]) if name in _FUNCTIONS:
            return _FUNCTIONS[name](*(_value(arg, values) for arg in args))
    raise ValueError(f"{ast.unparse(node)} is not arithmetic of the trade")


def _number(node: ast.expr, values: Mapping[str, Input]) -> float:
    value = _value(node, values)
    if not isinstance(value, int | float):
        raise ValueError(f"{ast.unparse(node)} is a list, not a number")
    return value


def _filled(name: str, values: Mapping[str, Input]) -> str:
    if name not in values:
        return name
    figure = _figure(values[name])
    return f"({figure})" if figure.startswith("-") else figure


def _figure(value: Input) -> str:
    if value is None:
        return "not given"
    if isinstance(value, int | float):
        return plain(value, 7)
    groups = [
        plain(item, 7) if isinstance(item, int | float) else "-".join(map(str, item))
        for item in value
    ]
    return ", ".join(groups)


def _unit_of(declared: str, unit: str) -> str:
    if declared == EACH_CYLINDER:
        return f"{unit} (each cylinder)".strip()
    return unit if declared == "same" else "" if declared in NOT_UNITS else declared


def _typeset(expression: str) -> str:
    return expression.replace("*", "×")
