"""Sequential function charts as text."""

from __future__ import annotations

from interlock.st import syntax as sx
from interlock.st.parse_types import TypeParser


class ChartParser(TypeParser):
    """Reads the steps and transitions of a chart."""

    def at_step(self) -> bool:
        """Whether a step begins here."""
        return self.is_soft("STEP", "INITIAL_STEP")

    def at_transition(self) -> bool:
        """Whether a transition begins here."""
        by_priority = self.ahead().upper == "(" and self.ahead(2).upper == "PRIORITY"
        return self.is_soft("TRANSITION") or (self.now.upper == "TRANSITION" and by_priority)

    def step(self) -> sx.Step:
        """A step with the actions it uses."""
        place = self.place()
        initial = self.advance().upper == "INITIAL_STEP"
        name = self.name().text
        self.expect(":")
        uses: list[sx.ActionUse] = []
        while not self.take_end("END_STEP"):
            # An empty statement, as of a step that only waits.
            if not self.take(";"):
                uses.append(self._use())
        return sx.Step(name, initial, tuple(uses), place)

    def _use(self) -> sx.ActionUse:
        place = self.place()
        name = self.name("END_STEP").text
        qualifier, duration = "N", None
        if self.take("(") and not self.take(")"):
            qualifier = self.name().upper
            if self.take(","):
                duration = self.expression()
            if self.take(","):
                # What tells that the action is done: it is for the drawing.
                self.note(self.now, "the indicator of an action was read over")
                self.target()
            self.expect(")", "','")
        self.semicolon()
        return sx.ActionUse(name, qualifier, duration, place)

    def transition(self) -> sx.Transition:
        """A transition with its condition."""
        place = self.place()
        self.advance()
        name, priority = "", None
        if self.is_name() and not (self.now.upper == "FROM" and self._names_follow()):
            name = self.advance().text
        if self.take("("):
            self.expect("PRIORITY")
            self.expect(":=")
            number = self.expression()
            if isinstance(number, sx.Number):
                priority = number.value
            else:
                self.refuse_at(number.place, "a priority is a whole number, as in PRIORITY := 1")
            self.expect(")")
        self.expect("FROM")
        sources = self._steps()
        self.expect("TO", "','")
        targets = self._steps()
        condition = self._condition(name)
        self.skip_semicolon()
        if not self.take_end("END_TRANSITION"):
            self.fail("END_TRANSITION")
        return sx.Transition(name, sources, targets, condition, priority, place)

    def _names_follow(self) -> bool:
        return self.ahead().upper == "(" or self.ahead().kind == "word"

    def _condition(self, name: str) -> sx.Expression:
        if self.take(":"):
            # A body that assigns the condition to the transition, or only states it.
            if self.now.upper == name.upper() and self.ahead().upper == ":=":
                self.advance()
                self.advance()
        else:
            self.expect(":=", "':'")
        condition = self.expression()
        self.semicolon("an operator")
        return condition

    def _steps(self) -> tuple[sx.Name, ...]:
        bracketed = self.take("(")
        found = [self._step_name()]
        while bracketed and self.take(","):
            found.append(self._step_name())
        if bracketed:
            self.expect(")", "','")
        return tuple(found)

    def _step_name(self) -> sx.Name:
        place = self.place()
        return sx.Name(self.name().text, place)
