"""What a unit gets beside what it declares: wires that are kept, memory of edges and of loops."""

from __future__ import annotations

import re
from dataclasses import dataclass, field, replace

from interlock.base.errors import Place
from interlock.exchange.known_types import Scope
from interlock.exchange.nodes import Node
from interlock.st import syntax as sx

_TRIGGERS = {"rising": "R_TRIG", "falling": "F_TRIG"}
# Names that stand for something at an address, or that others may write as well.
ADDRESSED, SHARED = "%", "&"
_SHARED_KINDS = frozenset(("VAR_IN_OUT", "VAR_EXTERNAL", "VAR_GLOBAL"))


@dataclass
class Making:
    """The code of one unit while it is made.

    Attributes
    ----------
    unit : str
        What it is called in places, as in ``PROGRAM Main``.
    scope : Scope
    declarations : tuple of syntax.Declaration
        What the unit declares itself.
    remembers : bool
        Whether its variables stay from call to call: not those of a FUNCTION.
    actions : frozenset of str
        Its actions, casefolded.
    taken : set of str
        Names that are used, casefolded.
    made, temporaries : list of syntax.Declaration
        What was added: with memory, and without.
    methods : list of syntax.Unit
        Conditions that need statements.
    notes : list of syntax.Note
    """

    unit: str
    scope: Scope
    declarations: tuple[sx.Declaration, ...]
    remembers: bool = True
    actions: frozenset[str] = frozenset()
    taken: set[str] = field(default_factory=set)
    made: list[sx.Declaration] = field(default_factory=list)
    temporaries: list[sx.Declaration] = field(default_factory=list)
    methods: list[sx.Unit] = field(default_factory=list)
    notes: list[sx.Note] = field(default_factory=list)

    def __post_init__(self) -> None:
        self.taken |= {n.text.casefold() for d in self.declarations for n in d.names}
        self.taken |= self.actions | set(self.scope.known.units) | set(self.scope.known.globals)
        self._addressed = {
            n.text.casefold() for d in self.declarations if d.address for n in d.names
        }
        self._own = {
            n.text.casefold()
            for d in self.declarations
            if d.kind not in _SHARED_KINDS
            for n in d.names
        }

    def name(self, wanted: str) -> str:
        """A name that nothing else has, `wanted` where it is free."""
        name = re.sub(r"\W", "_", wanted, flags=re.ASCII)
        while name.casefold() in self.taken:
            name += "_"
        self.taken.add(name.casefold())
        return name

    def temporary(self, wanted: str, type_: sx.TypeRef, place: Place) -> sx.Name:
        """A variable without memory."""
        return self._declare(self.temporaries, "VAR_TEMP", wanted, type_, place)

    def memory(self, wanted: str, type_: sx.TypeRef, node: Node) -> sx.Name:
        """A variable that stays; told, since nobody declared it.

        Raises
        ------
        InputError
            Where the unit remembers nothing.
        """
        self._needs_memory(node, "a wire that leads back")
        found = self._declare(self.made, "VAR", wanted, type_, node.place)
        says = f"what {node.says} gives is remembered for the next evaluation, as '{found.text}'"
        self.notes.append(sx.Note(node.place, says))
        return found

    def trigger(self, edge: str, wanted: str, node: Node) -> sx.Name:
        """An instance of the block that finds an edge.

        Raises
        ------
        InputError
            Where the unit remembers nothing.
        """
        self._needs_memory(node, "an edge")
        type_ = sx.TypeRef(_TRIGGERS[edge], None, None, node.place)
        return self._declare(self.made, "VAR", wanted, type_, node.place)

    def _needs_memory(self, node: Node, what: str) -> None:
        if not self.remembers:
            raise node.refuse(f"{what} needs memory, which a FUNCTION does not have")

    def method(self) -> Making:
        """The same unit, for the code of a method with temporary variables of its own."""
        return replace(self, temporaries=[])

    def _declare(
        self,
        into: list[sx.Declaration],
        kind: str,
        wanted: str,
        type_: sx.TypeRef,
        place: Place,
    ) -> sx.Name:
        name = sx.Name(self.name(wanted), place)
        into.append(sx.Declaration(kind, False, (name,), type_, None, place))
        self.scope.names[name.text.casefold()] = type_
        return name

    # What is read and written

    def keys(self, e: sx.Expression) -> set[str]:
        """What an expression names, as far as others could write it: its first names, casefolded.

        What stands at an address is `ADDRESSED` as well, what others may write `SHARED`.
        """
        found: set[str] = set()
        for name in names_in(e):
            if name[:1] == "%":
                found.add(ADDRESSED)
                continue
            found.add(name)
            if name in self._addressed:
                found.add(ADDRESSED)
            if name not in self._own:
                found |= {SHARED, ADDRESSED}
        return found

    def calls_user(self, e: sx.Expression) -> bool:
        """Whether an expression calls what the project itself declares."""
        return any(
            isinstance(part, sx.Call) and part.function.casefold() in self.scope.known.units
            for part in parts_of(e)
        )


def names_in(e: sx.Expression) -> set[str]:
    """First names of what an expression reads, casefolded; addresses as they are written."""
    found = set()
    for part in parts_of(e):
        if isinstance(part, sx.Name):
            found.add(part.text.casefold().partition(".")[0])
        elif isinstance(part, sx.Direct):
            found.add(part.address)
    return found


def parts_of(e: sx.Expression) -> list[sx.Expression]:
    """An expression and all that stands in it."""
    found: list[sx.Expression] = []
    waiting: list[sx.Expression] = [e]
    while waiting:
        part = waiting.pop()
        found.append(part)
        match part:
            case sx.Unary():
                waiting.append(part.operand)
            case sx.Binary():
                waiting += (part.left, part.right)
            case sx.Junction():
                waiting += part.operands
            case sx.Element():
                waiting += (part.base, *part.indexes)
            case sx.Member() | sx.Pointed():
                waiting.append(part.base)
            case sx.Call():
                waiting += part.arguments
                waiting += (argument.value for argument in part.named)
                waiting += (output.target for output in part.outputs)
                if part.on is not None:
                    waiting.append(part.on)
            case _:
                pass
    return found
