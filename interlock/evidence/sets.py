"""Sets of states as SMT-LIB functions: written from a decision graph, read with suspicion.

What is read comes from a file that anyone may have changed. It is handed to a solver only where
it is nothing but the definition of truth-valued functions of a system's variables, whichever
functions they are: what they must satisfy is another matter (`obligations`).
"""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from interlock.evidence.sexpr import Item, SexprError, plain, read_all
from interlock.evidence.translate import is_bool, sort_of, symbol, width_of
from interlock.kernel.certificate import ALL, NONE, StateSets
from interlock.kernel.system import Domain, System, Variable

_NODE = re.compile(r"n[0-9]+")


@dataclass(frozen=True)
class SetFunction:
    """A set of states as a function: its symbol and the variables it reads, in order."""

    name: str
    variables: tuple[str, ...]

    def of(self, terms: Mapping[str, str]) -> str:
        """The set applied to a state; a variable without an entry in `terms` stands for itself."""
        if not self.variables:
            return self.name
        return f"({self.name} {' '.join(terms.get(v) or symbol(v) for v in self.variables)})"


def write_sets(system: System, sets: StateSets) -> list[str]:
    """The definition of each set, ``s0``, ``s1`` and so on; one text each."""
    return [_definition(system, sets, n) for n in range(len(sets.roots))]


def _definition(system: System, sets: StateSets, number: int) -> str:
    below = _below(sets, sets.roots[number])
    read = {sets.nodes[n].variable for n in below}
    variables = [v for v in system.variables if v.name in read]
    domains = {v.name: v.domain for v in variables}
    parameters = " ".join(f"({symbol(v.name)} {sort_of(v.domain)})" for v in variables)
    lines = [f"(define-fun s{number} ({parameters}) Bool"]
    names = {n: f"n{count}" for count, n in enumerate(below)}

    def term(edge: int) -> str:
        if edge in (ALL, NONE):
            return "true" if edge == ALL else "false"
        name = names[abs(edge) - 2]
        return name if edge > 0 else f"(not {name})"

    levels = _levels(sets, below)
    for level in levels:
        bound = []
        for n in level:
            node = sets.nodes[n]
            bit = _bit(domains[node.variable], node.variable, node.bit)
            bound.append(f"({names[n]} (ite {bit} {term(node.high)} {term(node.low)}))")
        lines.append("(let (" + "\n  ".join(bound) + ")")
    lines.append(term(sets.roots[number]) + ")" * (len(levels) + 1))
    return "\n".join(lines)


def _bit(domain: Domain, variable: str, bit: int) -> str:
    if is_bool(domain):
        return symbol(variable)
    return f"(= ((_ extract {bit} {bit}) {symbol(variable)}) #b1)"


def _below(sets: StateSets, root: int) -> list[int]:
    """Numbers of the nodes below an edge, in the graph's order."""
    seen: set[int] = set()
    todo = [root]
    while todo:
        number = abs(todo.pop()) - 2
        if number >= 0 and number not in seen:
            seen.add(number)
            todo += [sets.nodes[number].low, sets.nodes[number].high]
    return sorted(seen)


def _levels(sets: StateSets, below: Sequence[int]) -> list[list[int]]:
    """The nodes in groups, each of which only refers to those before it; as few as possible.

    Nested as deep as there are bits, not as there are nodes, the text spares a solver's stack.
    """
    height: dict[int, int] = {}
    levels: list[list[int]] = []
    for n in below:
        node = sets.nodes[n]
        under = [height[abs(e) - 2] for e in (node.low, node.high) if abs(e) >= 2]
        height[n] = 1 + max(under, default=-1)
        if height[n] == len(levels):
            levels.append([])
        levels[height[n]].append(n)
    return levels


def read_sets(text: str, system: System, n_sets: int) -> list[SetFunction]:
    """Check that `text` defines the sets ``s0`` to ``s(n_sets - 1)`` and nothing else.

    Raises
    ------
    SexprError
        At the first place where it does not.
    """
    items = read_all(text)
    variables = {symbol(v.name): v for v in system.variables if v.domain.size > 1}
    found = [_Reader(item, n, variables).read() for n, item in enumerate(items)]
    if len(found) != n_sets:
        raise SexprError(0, f"{n_sets} sets are needed here, {len(found)} are defined")
    return found


class _Reader:
    """Reads one definition, as `write_sets` writes it."""

    def __init__(self, item: Item, number: int, variables: Mapping[str, Variable]) -> None:
        self._item = item
        self._name = f"s{number}"
        self._variables = variables
        self._bits: set[str] = set()
        self._bound: set[str] = set()

    def read(self) -> SetFunction:
        start, parts = self._item
        if isinstance(parts, str) or len(parts) != 5 or parts[0][1] != "define-fun":
            raise SexprError(start, f"expected the definition of {self._name}")
        if parts[1][1] != self._name or parts[3][1] != "Bool":
            raise SexprError(parts[1][0], f"expected {self._name}, of sort Bool")
        names = self._parameters(parts[2])
        body = parts[4]
        while isinstance(body[1], list):
            let = body[1]
            if len(let) != 3 or let[0][1] != "let" or isinstance(let[1][1], str):
                break
            self._let(let[1][1])
            body = let[2]
        self._edge(body)
        return SetFunction(self._name, names)

    def _parameters(self, given: Item) -> tuple[str, ...]:
        names: dict[str, None] = {}
        if isinstance(given[1], str):
            raise SexprError(given[0], "expected a list of variables with their sorts")
        for parameter in given[1]:
            start, parts = parameter
            name = parts[0][1] if isinstance(parts, list) and len(parts) == 2 else None
            variable = self._variables.get(name) if isinstance(name, str) else None
            if variable is None or variable.name in names:
                raise SexprError(start, "expected another variable of the model with its sort")
            assert isinstance(parts, list)
            if plain(parts[1]) != sort_of(variable.domain):
                raise SexprError(parts[1][0], f"expected {sort_of(variable.domain)}")
            names[variable.name] = None
            self._bits.update(
                _bit(variable.domain, variable.name, bit)
                for bit in range(width_of(variable.domain))
            )
        return tuple(names)

    def _let(self, bindings: Sequence[Item]) -> None:
        new: set[str] = set()
        for start, parts in bindings:
            if isinstance(parts, str) or len(parts) != 2 or not isinstance(parts[0][1], str):
                raise SexprError(start, "expected a name and what it stands for")
            name, choice = parts[0][1], parts[1][1]
            if not _NODE.fullmatch(name) or name in new or name in self._bound:
                raise SexprError(start, "expected a new name such as n12")
            if isinstance(choice, str) or len(choice) != 4 or choice[0][1] != "ite":
                raise SexprError(parts[1][0], "expected (ite bit set set)")
            if plain(choice[1]) not in self._bits:
                raise SexprError(choice[1][0], "expected a bit of one of the variables above")
            self._edge(choice[2])
            self._edge(choice[3])
            new.add(name)
        self._bound |= new

    def _edge(self, item: Item) -> None:
        """A set: one bound outside of here, or its complement."""
        start, word = item
        if isinstance(word, list) and len(word) == 2 and word[0][1] == "not":
            start, word = word[1]
        if not isinstance(word, str) or (word not in self._bound and word not in ("true", "false")):
            raise SexprError(start, "expected a set that is already bound, or its complement")
