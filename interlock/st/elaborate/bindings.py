"""Variables of an interface: which instance each stands for, where the text gives it only one."""

from __future__ import annotations

from contextlib import suppress

from interlock.base.errors import Place
from interlock.st import syntax as sx
from interlock.st.elaborate.constants import is_nothing
from interlock.st.elaborate.references import References
from interlock.st.elaborate.shapes import Block, Bound, Located, Reference, located
from interlock.st.elaborate.state import Frame, UnknowableError

_MANY = ""
"""The name of an instance of which nothing is known."""


class Bindings(References):
    """Finds the instance of a variable of an interface.

    Whether it is given one yet is a flag beside it, which every call asks.
    """

    def bind_at_start(self) -> None:
        """Note what the initial values of variables of an interface are."""
        for path, initial, frame in self.reading.bound_at_start:
            with suppress(UnknowableError):
                self.note_bound(path, self.reference(initial, frame, []))

    def bind(
        self,
        at: Reference,
        value: sx.Expression,
        frame: Frame,
        out: list[sx.Statement],
        place: Place,
    ) -> None:
        """Assign `value` to a variable of an interface.

        Raises
        ------
        UnknowableError
            Where it may come to stand for several instances.
        """
        if is_nothing(value):
            out.append(sx.Assign(self._binding_flag(at, place), sx.Truth(False, place), place))
            return
        is_named = isinstance(value, sx.Name | sx.Element | sx.Member)
        self.bind_to(at, self.reference(value, frame, out) if is_named else None, out, place)

    def bind_to(
        self, at: Reference, source: Reference | None, out: list[sx.Statement], place: Place
    ) -> None:
        """Let a variable of an interface stand for `source`; None where that is not known.

        Raises
        ------
        UnknowableError
            Where it may come to stand for several instances.
        """
        for part in located(at):
            self.note_bound(part.path, source if isinstance(at, Located) else None)
        is_bound: sx.Expression = sx.Truth(True, place)
        if isinstance(source, Located) and isinstance(source.shape, Bound):
            is_bound = self.is_bound(source, place)
        out.append(sx.Assign(self._binding_flag(at, place), is_bound, place))

    def _binding_flag(self, at: Reference, place: Place) -> sx.Name:
        if not isinstance(at, Located) or self.instance_of(at) is None:
            assert isinstance(at.shape, Bound)
            raise UnknowableError(place, f"the interface {at.shape.name}")
        return sx.Name(_flag(at.path), place)

    def note_bound(self, path: str, source: Reference | None) -> None:
        """Note what a variable of an interface may stand for; None where that is not known."""
        known = self.reading.found.bound.setdefault(path, {})
        match source:
            case Located(shape=Block() as block):
                known[source.path] = block
            case Located(shape=Bound()):
                known |= self.reading.found.bound.get(source.path, {})
            case _:
                known[_MANY] = Block("", ())

    def instance_of(self, at: Reference) -> Located | None:
        """The one instance that a variable of an interface may stand for."""
        if not isinstance(at, Located) or not isinstance(at.shape, Bound):
            return None
        known = self.reading.found.bound.get(at.path, {})
        if len(known) != 1 or _MANY in known:
            return None
        ((path, block),) = known.items()
        return Located(path, block)

    def is_bound(self, at: Located, place: Place) -> sx.Expression:
        """Whether it stands for its instance yet."""
        if self.instance_of(at) is None:
            return sx.Truth(False, place)
        return sx.Name(_flag(at.path), place)

    def asked_for_an_instance(self, e: sx.Binary, frame: Frame) -> sx.Expression | None:
        """``m <> 0`` of a variable of an interface as its flag; None of anything else."""
        if e.op not in ("=", "<>") or is_nothing(e.left) is is_nothing(e.right):
            return None
        asked = e.right if is_nothing(e.left) else e.left
        if not isinstance(asked, sx.Name | sx.Element | sx.Member):
            return None
        if self.property_type(asked, frame) is not None:
            return None
        # What an index calls is called where the value is read: neither has a computed index.
        at = self.reference(asked, frame, [])
        if isinstance(at, Located) and isinstance(at.shape, Block):
            return sx.Truth(e.op == "<>", e.place)
        if not isinstance(at, Located) or self.instance_of(at) is None:
            return None
        flag = self.is_bound(at, e.place)
        return flag if e.op == "<>" else sx.Unary("NOT", flag, e.place)

    def property_type(self, e: sx.Expression, frame: Frame) -> sx.TypeRef | None:
        """The type of the property that `e` names; None where it names none."""
        raise NotImplementedError


def _flag(path: str) -> str:
    return f"{path}.bound"
