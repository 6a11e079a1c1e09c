"""Kernel systems as SMT-LIB 2.6 over bit vectors.

A variable with two values 0 and 1 is a Bool; any other is a bit vector that holds ``value - lo``;
a variable with a single value is that constant. Every shared part of an expression becomes one
function without arguments, so the text is as long as the graph.

Integer parts are signed bit vectors just wide enough for the interval that surely contains
them; operands are widened before they are combined, so nothing ever overflows. Division by
zero gives 0, as in the kernel.

Source: the SMT-LIB Standard 2.6 (Barrett, Fontaine, Tinelli, 2021), theory of fixed-size bit
vectors: ``bvsdiv`` truncates towards zero and ``bvsrem`` has the sign of the dividend.
"""

from __future__ import annotations

import re
from collections.abc import Sequence

from interlock.kernel import expr as ex
from interlock.kernel.evaluate import bounds
from interlock.kernel.expr import Expr, Op
from interlock.kernel.system import Domain, System

_PLAIN = re.compile(r"[A-Za-z0-9_.]+")

_INTEGER = {Op.ADD: "bvadd", Op.SUB: "bvsub", Op.MUL: "bvmul", Op.DIV: "bvsdiv", Op.MOD: "bvsrem"}


def symbol(name: str) -> str:
    """The quoted symbol of a variable; what could end it early is written as a number.

    Quotes alone keep nothing apart: ``|e0|`` is ``e0``, which a script defines, and ``|ite|`` is
    what the solver means by it.
    """
    safe = "".join(c if _PLAIN.fullmatch(c) else f"~{ord(c):x}~" for c in name)
    return f"|v.{safe}|"


def width_of(domain: Domain) -> int:
    """Bits of the codes of a domain; 0 for a single value."""
    return (domain.size - 1).bit_length()


def is_bool(domain: Domain) -> bool:
    """Whether a variable with this domain is a Bool here."""
    return (domain.lo, domain.hi) == (0, 1)


def sort_of(domain: Domain) -> str:
    """The sort of a variable with at least two values."""
    return "Bool" if is_bool(domain) else f"(_ BitVec {width_of(domain)})"


def literal(value: int, width: int) -> str:
    """A bit vector constant in two's complement."""
    return f"#b{value & ((1 << width) - 1):0{width}b}"


def value_term(domain: Domain, value: int) -> str:
    """The term of a variable's value."""
    if is_bool(domain):
        return "true" if value else "false"
    return literal(value - domain.lo, width_of(domain))


class Translator:
    """Translates expressions over one system; each shared part once.

    Parameters
    ----------
    system : System

    Attributes
    ----------
    lines : list of str
        The definitions so far, in an order in which each uses only those before it.
    """

    def __init__(self, system: System) -> None:
        self.system = system
        self.lines: list[str] = []
        self._terms: dict[Expr, str] = {}
        self._intervals: dict[Expr, tuple[int, int]] = {}
        self._domains = {v.name: v.domain for v in system.variables}

    def declarations(self) -> list[str]:
        """One line for each variable with more than one value."""
        return [
            f"(declare-const {symbol(v.name)} {sort_of(v.domain)})"
            for v in self.system.variables
            if v.domain.size > 1
        ]

    def truth(self, expr: Expr) -> str:
        """The term, of sort Bool, of a truth value."""
        self._define([expr])
        return self._as_bool(expr)

    def code(self, expr: Expr, domain: Domain) -> str:
        """The term of a variable of `domain` that takes the value of `expr`."""
        if is_bool(domain):
            return self.truth(expr)
        if expr.op is Op.CONST:
            return value_term(domain, expr.value)
        if expr.op is Op.VAR and self._domains[expr.name] == domain:
            return symbol(expr.name)
        self._define([expr])
        lo, hi = self._intervals[expr]
        needed = max(_width(min(lo, lo - domain.lo), hi - domain.lo), _width(lo, hi))
        width = max(needed, width_of(domain)) + 1
        text = self._as_integer(expr, width)
        if domain.lo:
            text = f"(bvsub {text} {literal(domain.lo, width)})"
        return f"((_ extract {width_of(domain) - 1} 0) {text})"

    def _define(self, roots: Sequence[Expr]) -> None:
        new = ex.topological(roots, self._terms)
        if not new:
            return
        self._intervals.update(bounds(roots, self.system.intervals, self._intervals))
        for node in new:
            text = self._text(node)
            if not node.args:
                self._terms[node] = text
                continue
            name = f"e{len(self.lines)}"
            self.lines.append(f"(define-fun {name} () {self._sort(node)} {text})")
            self._terms[node] = name

    def _is_truth(self, node: Expr) -> bool:
        """Whether the node's term is a Bool."""
        match node.op:
            case Op.CONST:
                return False
            case Op.VAR:
                return is_bool(self._domains[node.name])
            case Op.NOT | Op.AND | Op.OR | Op.EQ | Op.LT:
                return True
            case Op.ITE:
                return all(
                    self._is_truth(arm) or arm in (ex.TRUE, ex.FALSE) for arm in node.args[1:]
                )
            case _:
                return False

    def _sort(self, node: Expr) -> str:
        return "Bool" if self._is_truth(node) else f"(_ BitVec {_width(*self._intervals[node])})"

    def _text(self, node: Expr) -> str:
        args = node.args
        match node.op:
            case Op.CONST:
                return literal(node.value, _width(node.value, node.value))
            case Op.VAR:
                return self._variable(node.name)
            case Op.NOT:
                return f"(not {self._as_bool(args[0])})"
            case Op.AND | Op.OR:
                return f"({node.op.value} {' '.join(map(self._as_bool, args))})"
            case Op.EQ | Op.LT:
                return self._comparison(node.op, *args)
            case Op.ITE if self._is_truth(node):
                return f"(ite {' '.join(map(self._as_bool, args))})"
            case _:
                return self._integer(node)

    def _variable(self, name: str) -> str:
        domain = self._domains[name]
        if domain.size > 1:
            # As an integer it is widened where it is used; see `_as_integer`.
            return symbol(name)
        return literal(domain.lo, _width(domain.lo, domain.lo))

    def _comparison(self, op: Op, a: Expr, b: Expr) -> str:
        if op is Op.EQ and self._is_truth(a) and (self._is_truth(b) or b in (ex.TRUE, ex.FALSE)):
            return f"(= {self._as_bool(a)} {self._as_bool(b)})"
        if op is Op.EQ and a.op is Op.VAR and b.op is Op.CONST:
            domain = self._domains[a.name]
            if domain.size > 1 and not is_bool(domain):
                if not domain.lo <= b.value <= domain.hi:
                    return "false"
                return f"(= {symbol(a.name)} {value_term(domain, b.value)})"
        width = max(_width(*self._intervals[a]), _width(*self._intervals[b]))
        left, right = self._as_integer(a, width), self._as_integer(b, width)
        return f"({'=' if op is Op.EQ else 'bvslt'} {left} {right})"

    def _integer(self, node: Expr) -> str:
        """The term of an integer node, as wide as its interval needs."""
        width = _width(*self._intervals[node])
        if node.op is Op.ITE:
            condition, *arms = node.args
            least, greatest = self._intervals[condition]
            if least == greatest:
                # The interval is that of one arm; the other may need more bits.
                return self._as_integer(arms[0] if least else arms[1], width)
            then, otherwise = (self._as_integer(arm, width) for arm in arms)
            return f"(ite {self._as_bool(condition)} {then} {otherwise})"
        wide = max(width, *(_width(*self._intervals[a]) for a in node.args)) + 1
        a, b = (self._as_integer(arg, wide) for arg in node.args)
        match node.op:
            case Op.MIN:
                text = f"(ite (bvslt {a} {b}) {a} {b})"
            case Op.MAX:
                text = f"(ite (bvslt {a} {b}) {b} {a})"
            case _:
                text = f"({_INTEGER[node.op]} {a} {b})"
        if node.op in (Op.DIV, Op.MOD):
            zero = literal(0, wide)
            text = f"(ite (= {b} {zero}) {zero} {text})"
        return f"((_ extract {width - 1} 0) {text})"

    def _as_bool(self, node: Expr) -> str:
        if node is ex.TRUE:
            return "true"
        if node is ex.FALSE:
            return "false"
        if self._is_truth(node):
            return self._terms[node]
        width = _width(*self._intervals[node])
        return f"(not (= {self._as_integer(node, width)} {literal(0, width)}))"

    def _as_integer(self, node: Expr, width: int) -> str:
        """The node's value as a signed bit vector of `width` bits, which must suffice for it."""
        if node.op is Op.CONST:
            return literal(node.value, width)
        term = self._terms[node]
        if self._is_truth(node):
            return f"(ite {term} {literal(1, width)} {literal(0, width)})"
        if node.op is Op.VAR and self._domains[node.name].size > 1:
            return self._offset(term, self._domains[node.name], width)
        own = _width(*self._intervals[node])
        return _widened("sign_extend", term, width - own)

    def _offset(self, term: str, domain: Domain, width: int) -> str:
        """A variable's code as its value."""
        code = width_of(domain)
        wide = max(width, code + 1, _width(domain.lo, domain.hi) + 1)
        text = _widened("zero_extend", term, wide - code)
        if domain.lo:
            text = f"(bvadd {text} {literal(domain.lo, wide)})"
        return text if wide == width else f"((_ extract {width - 1} 0) {text})"


def _widened(how: str, term: str, by: int) -> str:
    return f"((_ {how} {by}) {term})" if by else term


def _width(lo: int, hi: int) -> int:
    """Bits of a two's complement number that can be ``lo..hi``."""
    return max((~lo if lo < 0 else lo).bit_length(), (~hi if hi < 0 else hi).bit_length()) + 1
