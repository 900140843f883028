"""The closed expression language: text to a tree, with the place of every part.

Numbers, names, `+ - * / **`, parentheses and calls, nothing else. The parser is our own, so
that what a case may say does not depend on a Python version and nothing can ever be executed.
Precedence is Python's: `-2**2` is -4, `2**3**2` is 512.
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import dataclass

from effband.problems import PASTED, Misread, named

LONGEST = 2000
MOST_TOKENS = 500
DEEPEST = 40

CONSTANTS: dict[str, tuple[float, str]] = {
    "pi": (3.141592653589793, "1"),
    "standard_gravity": (9.80665, "m/s^2"),  # exact, SI Brochure
    "gas_constant": (8.31446261815324, "J/(mol*K)"),  # exact since 2019, CODATA
}
FUNCTIONS: dict[str, int | None] = {  # arguments; None is two or more
    "sqrt": 1,
    "exp": 1,
    "log": 1,
    "log10": 1,
    "sin": 1,
    "cos": 1,
    "tan": 1,
    "asin": 1,
    "acos": 1,
    "atan": 1,
    "atan2": 2,
    "abs": 1,
    "min": None,
    "max": None,
}
REDUCERS: dict[str, int | None] = {"mean_of_runs": 1, "total_of_runs": 1, "in_run": 2}


@dataclass(frozen=True)
class Expression:
    """A part of a formula and the stretch of text that a message about it marks."""

    start: int
    length: int


@dataclass(frozen=True)
class Number(Expression):
    """A number; always dimensionless."""

    value: float


@dataclass(frozen=True)
class Name(Expression):
    """A name of the case, or a constant."""

    name: str


@dataclass(frozen=True)
class Negative(Expression):
    """The negative of a part."""

    part: Expression


@dataclass(frozen=True)
class Binary(Expression):
    """Two parts and what joins them; the place is the operator's."""

    operation: str
    left: Expression
    right: Expression


@dataclass(frozen=True)
class Call(Expression):
    """A function of parts; the place is the function's name."""

    function: str
    arguments: tuple[Expression, ...]


_TOKEN = re.compile(
    r"(?P<number>(?:0|[1-9][0-9]*)(?:\.[0-9]+)?(?:[eE][+-]?[0-9]{1,3})?(?![A-Za-z0-9_.]))"
    r"|(?P<name>[A-Za-z][A-Za-z0-9_]*)|(?P<mark>\*\*|[-+*/(),])|(?P<blank>[ \t\n]+)"
)
_HINTS = {
    **PASTED,
    "^": "write ** for a power",
    "[": "write in_run(name, run) for one run's value",
    ".": "write a digit before the point: 0.5",
    "\N{SQUARE ROOT}": "write sqrt(...)",
    "=": "a formula is one expression: give each its own line",
    "<": "comparisons are not part of a formula: use min or max, or a claim",
    ">": "comparisons are not part of a formula: use min or max, or a claim",
    "%": "write 0.05, or declare an input in %",
}
_NO_UNITS = "a number with a unit goes under `inputs:`, with `constant:`"
_OPERATIONS = {"+": "add", "-": "subtract", "*": "multiply", "/": "divide", "**": "power"}


def parse_formula(text: str) -> Expression:
    """Return the tree of a formula.

    Raises
    ------
    Misread
        With the place in the text, for anything that is not such an expression.
    """
    if len(text) > LONGEST:
        what = f"a formula of more than {LONGEST} characters"
        raise Misread(0, LONGEST, what, "split it in named parts")
    return _Parser(text).whole()


@dataclass(frozen=True)
class _Token:
    kind: str
    text: str
    start: int


class _Parser:
    def __init__(self, text: str) -> None:
        self.text = text
        self.tokens: list[_Token] = []
        self.at = 0
        position = 0
        while position < len(text):
            match = _TOKEN.match(text, position)
            if match is None:
                raise self._unreadable(position)
            if match.lastgroup != "blank":
                self.tokens.append(_Token(match.lastgroup or "", match.group(), position))
            position = match.end()
        if len(self.tokens) > MOST_TOKENS:
            where = self.tokens[MOST_TOKENS].start
            raise Misread(where, 1, f"more than {MOST_TOKENS} parts", "split it in named parts")
        self.tokens.append(_Token("end", "", len(text)))

    def _unreadable(self, position: int) -> Misread:
        word = re.match(r"[0-9A-Za-z_.,]+", self.text[position:])
        if word and word.group()[0].isdigit():
            length = word.end()
            if re.fullmatch(r"[0-9.]+[eE][0-9]{4,}", word.group()):
                return Misread(position, length, "too large a number", "check it")
            what = f"{word.group()!r} is neither a number nor a name"
            return Misread(position, length, what, "write such as 2 * x, 0.5 or 1e-3")
        character = self.text[position]
        remedy = _HINTS.get(character, "use numbers, names, + - * / ** and parentheses")
        return Misread(position, 1, f"{named(character, _HINTS)} cannot stand in a formula", remedy)

    def peek(self) -> _Token:
        return self.tokens[self.at]

    def next(self) -> _Token:
        self.at += 1
        return self.tokens[self.at - 1]

    def whole(self) -> Expression:
        if self.peek().kind == "end":
            raise Misread(0, max(1, len(self.text)), "the formula is empty", "write an expression")
        tree = self.sum(1)
        token = self.peek()
        if token.kind != "end":
            what = f"{token.text!r} is out of place here"
            remedy = "write an operator such as * between two parts"
            before = self.tokens[self.at - 1]
            if token.text == ",":
                remedy = "write decimals with a point, such as 9.81"
            elif token.kind == "name" and before.kind == "number":
                remedy = _NO_UNITS
            if token.text == ")":
                remedy = "this parenthesis was never opened"
            raise Misread(token.start, len(token.text), what, remedy)
        return tree

    def _deeper(self, depth: int) -> int:
        if depth >= DEEPEST:
            raise Misread(self.peek().start, 1, "nested too deep", "split it in named parts")
        return depth + 1

    def sum(self, depth: int) -> Expression:
        left = self.product(depth)
        while (token := self.peek()).text in ("+", "-"):
            self.next()
            left = _join(token, left, self.product(depth))
        return left

    def product(self, depth: int) -> Expression:
        left = self.signed(depth)
        while (token := self.peek()).text in ("*", "/"):
            self.next()
            left = _join(token, left, self.signed(depth))
        return left

    def signed(self, depth: int) -> Expression:
        token = self.peek()
        if token.text == "-":
            self.next()
            return Negative(token.start, 1, self.signed(self._deeper(depth)))
        if token.text == "+":
            self.next()
            return self.signed(self._deeper(depth))
        return self.power(depth)

    def power(self, depth: int) -> Expression:
        base = self.atom(depth)
        token = self.peek()
        if token.text == "**":
            self.next()
            return _join(token, base, self.signed(self._deeper(depth)))
        return base

    def atom(self, depth: int) -> Expression:
        token = self.next()
        if token.kind == "number":
            value = float(token.text)
            if value == float("inf"):
                raise Misread(token.start, len(token.text), "too large a number", "check it")
            return Number(token.start, len(token.text), value)
        if token.kind == "name":
            if self.peek().text == "(":
                self.next()
                return self.call(token, self._deeper(depth))
            return Name(token.start, len(token.text), token.text)
        if token.text == "(":
            inside = self.sum(self._deeper(depth))
            self.close(token)
            return inside
        if token.kind == "end":
            what, remedy = "the formula ends too early", "a part is missing here"
            raise Misread(max(0, token.start - 1), 1, what, remedy)
        what = f"{token.text!r} is out of place here"
        raise Misread(token.start, len(token.text), what, "a number or a name is missing before it")

    def call(self, name: _Token, depth: int) -> Expression:
        arguments = []
        if self.peek().text != ")":
            arguments.append(self.sum(depth))
            while self.peek().text == ",":
                self.next()
                arguments.append(self.sum(depth))
        self.close(name)
        return Call(name.start, len(name.text), name.text, tuple(arguments))

    def close(self, opened: _Token) -> None:
        token = self.next()
        if token.kind == "name" and self.tokens[self.at - 2].kind == "number":
            what = f"{token.text!r} is out of place here"
            raise Misread(token.start, len(token.text), what, _NO_UNITS)
        if token.text != ")":
            raise Misread(opened.start, len(opened.text), "a parenthesis is not closed", "write )")


def _join(token: _Token, left: Expression, right: Expression) -> Binary:
    return Binary(token.start, len(token.text), _OPERATIONS[token.text], left, right)


def names_in(tree: Expression, inside_reducers: bool = True) -> set[str]:
    """Return every name that a formula reads, the run of `in_run` left out.

    With `inside_reducers` False, names that only stand inside `mean_of_runs` and the like are
    left out: what remains makes a formula one of each run.
    """
    match tree:
        case Name():
            return {tree.name}
        case Negative():
            return names_in(tree.part, inside_reducers)
        case Binary():
            left = names_in(tree.left, inside_reducers)
            return left | names_in(tree.right, inside_reducers)
        case Call():
            if tree.function in REDUCERS:
                return names_in(tree.arguments[0]) if inside_reducers and tree.arguments else set()
            return set().union(*(names_in(part, inside_reducers) for part in tree.arguments))
    return set()


def every_part(tree: Expression) -> Iterator[Expression]:
    """Yield a formula and every formula that it is made of, from the outside in."""
    yield tree
    parts: tuple[Expression, ...] = ()
    match tree:
        case Negative():
            parts = (tree.part,)
        case Binary():
            parts = (tree.left, tree.right)
        case Call():
            parts = tree.arguments
    for part in parts:
        yield from every_part(part)


def every_name(tree: Expression) -> list[Name]:
    """Return every part of a formula that is a name, in order, the run of `in_run` left out."""
    match tree:
        case Name():
            return [tree]
        case Negative():
            return every_name(tree.part)
        case Binary():
            return every_name(tree.left) + every_name(tree.right)
        case Call():
            parts = tree.arguments[:1] if tree.function == "in_run" else tree.arguments
            return [name for part in parts for name in every_name(part)]
    return []
