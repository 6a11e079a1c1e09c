"""What is called: functions, methods, actions and instances, by the name that a call has."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, replace

from interlock.base.errors import Place, nearest
from interlock.st import syntax as sx
from interlock.st.elaborate.call import Call
from interlock.st.elaborate.expressions import Expressions
from interlock.st.elaborate.shapes import (
    Block,
    Bound,
    Located,
    Reference,
    Scalar,
    Unknown,
)
from interlock.st.elaborate.state import Frame, PointedError, UnknowableError
from interlock.st.elaborate.types import A_REFERENCE


@dataclass(frozen=True)
class Callee:
    """What is called: `unit` on the instance `on`, or the instance itself.

    Attributes
    ----------
    unit : syntax.Unit or None
        A function or a method.
    action : syntax.Action or None
    on : Reference or None
        The instance; None for a function, and for an action of a program.
    base_of : syntax.Unit or None
        Where the base of this unit is called, as by SUPER.
    through : Located or None
        The variable of an interface that stands for the instance.
    """

    unit: sx.Unit | None = None
    action: sx.Action | None = None
    on: Reference | None = None
    base_of: sx.Unit | None = None
    through: Located | None = None


class Callees(Expressions):
    """Finds what is called."""

    def reached(self, e: sx.Expression, frame: Frame, out: list[sx.Statement]) -> Reference | None:
        """Where `e` leads, that may be written there; None for a name that is no variable."""
        try:
            at = self.reference(e, frame, out)
        except PointedError as reason:
            self.reading.blind = reason
            raise
        if at is not None and at.shape == Unknown(A_REFERENCE):
            self.reading.blind = UnknowableError(e.place, A_REFERENCE)
        return at

    def callee(
        self,
        text: str,
        on: sx.Expression | None,
        frame: Frame,
        out: list[sx.Statement],
        place: Place,
    ) -> Callee | None:
        """What ``text`` names as a callee; None where it is no user's code and no instance."""
        if on is not None:
            base = self.reached(on, frame, out)
            if base is None:
                assert isinstance(on, sx.Name)
                raise self.undeclared(on, frame)
            return Callee(on=base) if not text else self._on_instance(base, text, place)
        owner, _, last = text.rpartition(".")
        if not owner:
            return self._by_name(text, frame)
        if owner.upper() == "SUPER":
            return self._on_super(last, frame, place)
        found = self.reached(sx.Name(owner, place), frame, out)
        if found is None:
            unit = self.project.unit(text)
            return Callee(unit) if unit is not None and unit.kind == "FUNCTION" else None
        return self._on_instance(found, last, place)

    def called_by(
        self,
        text: str,
        on: sx.Expression | None,
        call: Call,
        frame: Frame,
        out: list[sx.Statement],
    ) -> Callee | None:
        """As `callee`; where that is not known, it may write what it is given."""
        try:
            found = self.callee(text, on, frame, out, call.place)
        except UnknowableError as reason:
            self.foreign_call(reason, call, frame, out)
            raise
        if found is not None and found.on is not None and found.on.shape == Unknown(A_REFERENCE):
            self.reading.blind = UnknowableError(call.place, A_REFERENCE)
        return found

    def _by_name(self, name: str, frame: Frame) -> Callee | None:
        instance = frame.instance or frame
        if name.upper() == "SUPER" and instance.block is not None:
            return Callee(on=Located(instance.path, instance.block), base_of=frame.unit)
        variable = frame.find(name)
        if variable is not None and not isinstance(variable.shape, Scalar):
            return Callee(on=variable)
        if instance.block is not None:
            own = Located(instance.path, instance.block)
            method = self.accessor(instance.block, name, "METHOD")
            if method is not None:
                return Callee(method, on=own)
            action = _action(instance.block.line, name)
            if action is not None:
                return Callee(action=action, on=own)
        elif frame.unit is not None:
            action = _action((frame.unit,), name)
            if action is not None:
                return Callee(action=action)
        unit = self.project.unit(name)
        if unit is not None and unit.kind == "FUNCTION":
            return Callee(unit)
        outer = self.global_reference(name)
        return None if outer is None or isinstance(outer.shape, Scalar) else Callee(on=outer)

    def _on_instance(self, base: Reference, name: str, place: Place) -> Callee:
        shape = base.shape
        if isinstance(shape, Unknown):
            raise UnknowableError(place, shape.why, base)
        if isinstance(shape, Bound):
            instance = self.instance_of(base)
            if instance is None:
                raise self.unbound(shape, name, place)
            assert isinstance(base, Located)
            return replace(self._on_instance(instance, name, place), through=base)
        if isinstance(shape, Block):
            method = self.accessor(shape, name, "METHOD")
            if method is not None:
                return Callee(method, on=base)
            action = _action(shape.line, name)
            if action is not None:
                return Callee(action=action, on=base)
        return Callee(on=self.member(base, name, place))

    def _on_super(self, name: str, frame: Frame, place: Place) -> Callee:
        instance = frame.instance or frame
        if instance.block is None or frame.unit is None:
            raise self.reading.refuse(place, "SUPER stands in the code of a FUNCTION_BLOCK only")
        line = self._after(instance.block, self.owner_of(frame))
        method = self.accessor(replace(instance.block, line=line), name, "METHOD")
        if method is None:
            known = [m.name for unit in line for m in unit.methods]
            says = f"the base of {self.owner_of(frame).name} has no method '{name}'"
            raise self.reading.refuse(place, says + nearest(name, known))
        return Callee(method, on=Located(instance.path, instance.block))

    def owner_of(self, frame: Frame) -> sx.Unit:
        """The block in whose text the code of `frame` stands."""
        assert frame.unit is not None
        if frame.instance is not None and frame.instance.block is not None:
            for unit in frame.instance.block.line:
                if frame.unit in unit.methods or frame.unit is unit:
                    return unit
        return frame.unit

    def _after(self, block: Block, unit: sx.Unit) -> tuple[sx.Unit, ...]:
        numbers = [number for number, other in enumerate(block.line) if other is unit]
        return block.line[numbers[0] + 1 :] if numbers else ()

    def property_of(
        self, e: sx.Expression, kind: str, frame: Frame, out: list[sx.Statement]
    ) -> Callee | None:
        """The GET or SET of the property that `e` names, or None."""
        if not any(m.kind == kind for unit in self.project.units.values() for m in unit.methods):
            return None
        called: list[sx.Statement] = []
        match e:
            case sx.Name():
                owner, _, name = e.text.rpartition(".")
                own = frame.instance or frame
                if not owner:
                    if own.block is None or frame.find(name) is not None:
                        return None
                    base: Reference | None = Located(own.path, own.block)
                else:
                    base = self.reference(sx.Name(owner, e.place), frame, called)
            case sx.Member():
                base, name = self.reference(e.base, frame, called), e.name
            case _:
                return None
        instance = None if base is None else self.instance_of(base)
        on = instance or base
        if on is None or not isinstance(on.shape, Block):
            return None
        unit = self.accessor(on.shape, name, kind)
        through = base if instance is not None and isinstance(base, Located) else None
        if unit is None:
            # Whoever reads what it is then does what its index calls.
            return None
        out += called
        return Callee(unit, on=on, through=through)

    def property_type(self, e: sx.Expression, frame: Frame) -> sx.TypeRef | None:
        """The type of the property that `e` names; None where it names none."""
        got = self.property_of(e, "GET", frame, [])
        return None if got is None or got.unit is None else got.unit.returns


def _action(line: Iterable[sx.Unit], name: str) -> sx.Action | None:
    for unit in line:
        for action in unit.actions:
            if action.name.casefold() == name.casefold():
                return action
    return None
