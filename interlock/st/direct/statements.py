"""Statements, executed one after the other."""

from __future__ import annotations

from interlock.base.errors import InputError, Place
from interlock.st import syntax as sx
from interlock.st.direct.calls import Calling
from interlock.st.direct.frames import Frame, NothingThereError, Property
from interlock.st.direct.kinds import LITERAL, REFERENCE, Family, Value, refusal
from interlock.st.direct.locate import Reached
from interlock.st.direct.loops import MOST_OPEN, MOST_TOLD, most_passes
from interlock.st.direct.storage import (
    Bit,
    Cell,
    Elements,
    Instance,
    Record,
    Standard,
    Store,
    cells_of,
)


class Machine(Calling):
    """Executes statements; all parts of the machine together."""

    def run(self, body: tuple[sx.Statement, ...], frame: Frame) -> str:
        """Execute statements.

        Returns
        -------
        str
            ``EXIT``, ``CONTINUE`` or ``RETURN`` where these ended it, or an empty text.
        """
        for statement in body:
            left = self._tried(statement, frame) if self.is_trial else ""
            if not self.is_trial:
                left = self._statement(statement, frame)
            if left:
                return left
        return ""

    def try_out(self, instance: Instance, unit: sx.Unit) -> None:
        """Execute every branch once, to find what cannot be executed; the memory is disturbed.

        Raises
        ------
        InputError
            With everything that cannot.
        """
        self.is_trial = True
        self.mistakes = []
        try:
            self.run_unit(instance, unit)
        except NothingThereError:
            pass
        except InputError as error:
            self.mistakes += error.mistakes
        self.is_trial = False
        if self.mistakes:
            raise InputError(self.mistakes)

    def _tried(self, s: sx.Statement, frame: Frame) -> str:
        depth = self.depth
        try:
            self._statement(s, frame)
        except NothingThereError:
            pass
        except InputError as error:
            self.mistakes += error.mistakes
        self.depth = depth
        return ""

    def _statement(self, s: sx.Statement, frame: Frame) -> str:
        match s:
            case sx.Assign():
                self.executed.append(s.place)
                self._assignment(s, frame)
            case sx.Invoke():
                self.executed.append(s.place)
                self.invoke(s, frame)
            case sx.If():
                return self._if(s, frame)
            case sx.Case():
                return self._case(s, frame)
            case sx.For():
                return self._for(s, frame)
            case sx.While() | sx.Repeat():
                return self._while(s, frame)
            case sx.Leave():
                return s.word.upper()
            case sx.Refused():
                raise refusal(s.place, s.says)
            case sx.Defect():
                self.note(s.place, s.says)
        return ""

    # Assignments

    def _assignment(self, s: sx.Assign, frame: Frame) -> None:
        # What an index calls is called once; what else the order could change is refused.
        target = self.reach(s.target, frame, writes=True)
        is_enum = isinstance(target, Cell) and target.kind.family is Family.ENUM
        expected = target.kind if is_enum and isinstance(target, Cell) else None
        self.assign(target, self.evaluate(s.value, frame, expected), s.place)

    def assign(self, target: Reached, value: Value, place: Place) -> None:
        """Give a variable or property a value; structures and arrays are copied.

        Raises
        ------
        InputError
            Where the target cannot be assigned, or not this.
        """
        match target:
            case Property():
                self.set(target, value, place)
            case Cell() if target.constant:
                raise refusal(place, f"'{target.name}' is a constant; constants cannot be assigned")
            case Cell() if target.interface is not None and _is_zero(value):
                target.content = None
            case Cell() if target.kind == REFERENCE and value.kind != REFERENCE:
                self.assign(self.settled(target, place), value, place)
            case Cell() | Bit():
                target.write(value, place, self.arithmetic)
                if isinstance(target, Cell) and target.interface is not None:
                    target.latest = target.content or target.latest
                written = target.of if isinstance(target, Bit) else target
                self.writes[id(written)] = place
            case Value():
                raise refusal(place, "only a variable can be assigned")
            case _:
                self._copy(target, value, place)

    def _copy(self, target: Store, value: Value, place: Place) -> None:
        source = value.content
        if isinstance(source, Cell) and source.kind == REFERENCE:
            source = source.content
        same = type(source) is type(target)
        if not same or not isinstance(source, Elements | Record | Instance | Standard):
            raise refusal(place, f"'{target.name}' cannot be given this")
        new, old = list(cells_of(source)), list(cells_of(target))
        if [cell.kind for cell in new] != [cell.kind for cell in old]:
            raise refusal(place, f"'{target.name}' cannot be given this: the types differ")
        values = [cell.read() for cell in new]
        for cell, content in zip(old, values, strict=True):
            cell.write(content, place, self.arithmetic)
            self.writes[id(cell)] = place

    # Branches

    def _if(self, s: sx.If, frame: Frame) -> str:
        for branch in s.branches:
            if self.is_true(branch.condition, frame) or self.is_trial:
                if self.is_trial:
                    self.run(branch.body, frame)
                    continue
                self.executed.append(branch.place)
                return self.run(branch.body, frame)
        return self.run(s.otherwise, frame)

    def _case(self, s: sx.Case, frame: Frame) -> str:
        selector = self.evaluate(s.selector, frame)
        for branch in s.branches:
            if self.is_trial:
                for label in branch.labels:
                    self._matches(label, selector, frame)
                self.run(branch.body, frame)
            elif any(self._matches(label, selector, frame) for label in branch.labels):
                self.executed.append(branch.place)
                return self.run(branch.body, frame)
        return self.run(s.otherwise, frame)

    def _matches(self, label: sx.Label, selector: Value, frame: Frame) -> bool:
        hint = selector.kind if selector.kind.family is Family.ENUM else None
        first = self.evaluate(label.first, frame, hint)
        if label.last is None:
            return bool(self.arithmetic.compare("=", selector, first, label.place).number)
        last = self.evaluate(label.last, frame, hint)
        above = self.arithmetic.compare(">=", selector, first, label.place)
        below = self.arithmetic.compare("<=", selector, last, label.place)
        return bool(above.number and below.number)

    # Loops

    def _for(self, s: sx.For, frame: Frame) -> str:
        first, last = self.evaluate(s.first, frame), self.evaluate(s.last, frame)
        step = 1 if s.step is None else self._whole(self.evaluate(s.step, frame), s.place)
        limit = self._whole(last, s.place)
        variable = self.reach(s.variable, frame, writes=True)
        if not isinstance(variable, Cell):
            raise refusal(s.variable.place, f"'{s.variable.text}' is no variable")
        if step == 0:
            raise refusal(s.place, "the step of FOR is 0")
        self.assign(variable, first, s.place)
        if self.is_trial:
            return self.run(s.body, frame)
        most = most_passes(s, lambda name: self._is_known(name, frame), self.project.unit)
        passes = 0
        while (variable.read().number <= limit) if step > 0 else (variable.read().number >= limit):
            passes += 1
            if passes > most:
                self._runs_too_often(most, s.place)
                break
            if most == MOST_TOLD:
                self.counting.append(variable)
            left = self.run(s.body, frame)
            if most == MOST_TOLD:
                self.counting.pop()
            if left == "EXIT":
                return ""
            if left == "RETURN":
                return left
            following = variable.read().number + step
            self.assign(variable, Value(LITERAL, following), s.place)
        return ""

    def _whole(self, value: Value, place: Place) -> int:
        return self.arithmetic.number(value, place).number

    def _is_known(self, name: sx.Name, frame: Frame) -> bool:
        """Whether the text tells the value of what is called `name` here."""
        found = self.reach(name, frame)
        if isinstance(found, Value):
            return True
        return isinstance(found, Cell) and (
            found.constant or any(found is counted for counted in self.counting)
        )

    def _runs_too_often(self, most: int, place: Place) -> None:
        self.note(place, f"the loop runs more than {most} times")

    def _while(self, s: sx.While | sx.Repeat, frame: Frame) -> str:
        if self.is_trial:
            self.is_true(s.until if isinstance(s, sx.Repeat) else s.condition, frame)
            return self.run(s.body, frame)
        passes = 0
        while isinstance(s, sx.Repeat) or self.is_true(s.condition, frame):
            passes += 1
            if passes > MOST_OPEN:
                self._runs_too_often(MOST_OPEN, s.place)
                return ""
            left = self.run(s.body, frame)
            if left == "EXIT":
                return ""
            if left == "RETURN":
                return left
            if isinstance(s, sx.Repeat) and self.is_true(s.until, frame):
                return ""
        return ""


def _is_zero(value: Value) -> bool:
    return value.kind.is_literal and value.kind.family is Family.INTEGER and value.number == 0
