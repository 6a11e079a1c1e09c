"""What a call calls: an instance, a method, an action, a function."""

from __future__ import annotations

from dataclasses import dataclass

from interlock.base.errors import Place, nearest
from interlock.st import syntax as sx
from interlock.st.direct.charts import Charting
from interlock.st.direct.frames import Frame
from interlock.st.direct.functions import is_standard
from interlock.st.direct.kinds import refusal
from interlock.st.direct.locate import Reached
from interlock.st.direct.storage import Instance, Standard


@dataclass(frozen=True)
class Method:
    """A method found: the unit it stands in, itself, and whose variables it works on."""

    owner: sx.Unit
    unit: sx.Unit
    instance: Instance


@dataclass(frozen=True)
class Action:
    """An action, the unit that has it and the instance it works on."""

    owner: sx.Unit
    action: sx.Action
    instance: Instance


@dataclass(frozen=True)
class Body:
    """The body of what a unit extends, called by SUPER."""

    unit: sx.Unit
    instance: Instance


Callee = Instance | Standard | Method | Action | Body | sx.Unit | str
"""What is called; a text is the name of a standard function."""


class Finding(Charting):
    """Finds what is called."""

    def find_callee(
        self, text: str, on: sx.Expression | None, frame: Frame, place: Place
    ) -> Callee:
        """What a call names: a unit, a method, an action, an instance or a standard function."""
        if on is not None:
            base = self.settled(self.reach(on, frame, writes=True), place)
            parts = [part for part in text.split(".") if part]
            return self._find_member(base, parts, place)
        parts = text.split(".")
        first = parts[0].casefold()
        if first == "super" and frame.instance is not None:
            return self._find_super(parts[1:], frame, frame.instance, place)
        found, used = self._first(parts, frame)
        if found is not None:
            base = self.settled(found, place)
            if used < len(parts) or isinstance(base, Instance | Standard):
                return self._find_member(base, parts[used:], place)
        return self._find_free(text, parts, frame, place)

    def _find_free(self, text: str, parts: list[str], frame: Frame, place: Place) -> Callee:
        if len(parts) == 1 and frame.instance is not None:
            own = self._part(frame.instance, text)
            if own is not None:
                return own
        unit = self.project.unit(text)
        if unit is not None and unit.kind == "FUNCTION":
            return unit
        name = parts[-1].upper()
        if is_standard(name) or name in ("ADR", "REF", "LOWER_BOUND", "UPPER_BOUND"):
            return name
        known = [u.name for u in self.project.units() if u.kind == "FUNCTION"]
        raise refusal(place, f"'{text}' is nothing that can be called{nearest(text, known)}")

    def _find_super(
        self, parts: list[str], frame: Frame, instance: Instance, place: Place
    ) -> Callee:
        lineage = self.project.lineage(frame.owner)
        if len(lineage) < 2:
            raise refusal(place, f"'{frame.owner.name}' extends nothing")
        if not parts:
            return Body(lineage[1], instance)
        found = self._part_of(lineage[1], instance, parts[0])
        if found is None:
            raise refusal(place, f"'{lineage[1].name}' has no method '{parts[0]}'")
        return found

    def _find_member(self, base: Reached, parts: list[str], place: Place) -> Callee:
        for part in parts[:-1]:
            base = self.settled(self.member(base, part, place), place)
        if not parts:
            if not isinstance(base, Instance | Standard):
                raise refusal(place, "only instances of function blocks are called")
            return base
        if isinstance(base, Instance):
            own = self._part(base, parts[-1])
            if own is not None:
                return own
        found = self.settled(self.member(base, parts[-1], place), place)
        if not isinstance(found, Instance | Standard):
            raise refusal(place, f"'{parts[-1]}' is nothing that can be called")
        return found

    def _part(self, instance: Instance, name: str) -> Method | Action | None:
        return self._part_of(instance.unit, instance, name)

    def _part_of(self, unit: sx.Unit, instance: Instance, name: str) -> Method | Action | None:
        method = self.project.method(unit, name)
        if method is not None:
            return Method(*method, instance)
        action = self.project.action(unit, name)
        return Action(*action, instance) if action is not None else None
