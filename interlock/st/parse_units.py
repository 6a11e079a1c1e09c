"""Units: programs, blocks, functions, classes and interfaces, with all that stands in them."""

from __future__ import annotations

from dataclasses import dataclass, field, replace

from interlock.base.errors import Place
from interlock.st import syntax as sx
from interlock.st.cursor import EndOfReadingError, near_word
from interlock.st.parse_charts import ChartParser
from interlock.st.parse_statements import NO_JUMPS
from interlock.st.tokens import Token
from interlock.st.words import SECTIONS, SOFT_UNITS, UNITS, words_of

_ACCESS = words_of("PUBLIC PRIVATE PROTECTED INTERNAL ABSTRACT FINAL OVERRIDE")
_GIVES_VALUE = frozenset(("FUNCTION", "METHOD"))
# What may hold methods, actions and the steps of a chart.
_HAS_PARTS = frozenset(("PROGRAM", "FUNCTION_BLOCK", "CLASS", "INTERFACE"))
_ACCESSORS = frozenset(("GET", "SET"))
_PARTS = frozenset(("METHOD", "ACTION", "PROPERTY"))
_HEADS = SECTIONS | _PARTS
_TITLES = frozenset(("TITLE", "AUTHOR", "FAMILY", "NAME", "VERSION", "KNOW_HOW_PROTECT"))
_USES = (":=", "(", ".", "[", "^", ";")


@dataclass
class _Parts:
    declarations: list[sx.Declaration] = field(default_factory=list)
    body: list[sx.Statement] = field(default_factory=list)
    actions: list[sx.Action] = field(default_factory=list)
    methods: list[sx.Unit] = field(default_factory=list)
    steps: list[sx.Step] = field(default_factory=list)
    transitions: list[sx.Transition] = field(default_factory=list)
    chart_place: Place | None = None


class UnitParser(ChartParser):
    """Reads units."""

    in_accessor = False

    def stops_here(self) -> bool:
        """Whether the other part of a property begins here."""
        return self.in_accessor and self._at_accessor()

    def _at_accessor(self) -> bool:
        return self.now.upper in _ACCESSORS and self.ahead().upper not in _USES

    def unit(self, namespace: str = "") -> sx.Unit:
        """A unit; the word that says its kind stands here."""
        opened, place = self.advance(), self.place()
        place = self.locate(opened.start)
        kind = opened.upper
        words = self._access_words()
        name = self.dotted_name()
        extends, returns = "", None
        implements: tuple[str, ...] = ()
        while self.now.upper in ("EXTENDS", "IMPLEMENTS", ":"):
            word = self.advance().upper
            if word == ":" and kind not in _GIVES_VALUE:
                self.refuse(self.tokens[self.at - 1], f"a {kind} has no type of its own")
                raise EndOfReadingError
            if word == ":":
                returns = self.type_ref()
                if returns.name.upper() == "VOID":
                    returns = None
                continue
            names = self._dotted_names()
            if word == "EXTENDS":
                extends, *names = names
            implements += tuple(names)
        self.skip_semicolon()
        self._read_over_titles()
        parts = self._parts(kind, name, opened)
        return self._made(kind, name, parts, place, returns, extends, implements, words, namespace)

    def _read_over_titles(self) -> None:
        """Go on behind lines such as ``TITLE = …`` and ``VERSION : 0.1`` of an export."""
        while self.now.upper in _TITLES and self.ahead().upper in ("=", ":"):
            self.note(self.now, f"{self.now.upper} was read over")
            self.advance()
            while not self.on_new_line() and self.now.kind != "end":
                self.advance()

    def headless(self, name: str) -> sx.Unit:
        """Declarations and statements without a unit's head: a program."""
        first, place = self.now, self.place()
        self.note(first, f"no PROGRAM line: read as PROGRAM {name}")
        parts = self._parts("", name, first)
        return self._made("PROGRAM", name, parts, place, None, "", (), (), "")

    def _made(
        self,
        kind: str,
        name: str,
        parts: _Parts,
        place: Place,
        returns: sx.TypeRef | None,
        extends: str,
        implements: tuple[str, ...],
        words: tuple[str, ...],
        namespace: str,
    ) -> sx.Unit:
        chart = None
        if parts.chart_place is not None:
            if parts.body:
                self.refuse_at(parts.body[0].place, "a unit holds a chart or statements, not both")
            chart = sx.Chart(tuple(parts.steps), tuple(parts.transitions), parts.chart_place)
        return sx.Unit(
            kind,
            name,
            tuple(parts.declarations),
            tuple(parts.body),
            place,
            returns=returns,
            actions=tuple(parts.actions),
            methods=tuple(parts.methods),
            extends=extends,
            implements=implements,
            chart=chart,
            words=words,
            namespace=namespace,
        )

    def _access_words(self) -> tuple[str, ...]:
        words: list[str] = []
        while self.now.upper in _ACCESS and self.ahead().kind == "word":
            words.append(self.advance().text)
        return tuple(words)

    def _dotted_names(self) -> list[str]:
        names = [self.dotted_name()]
        while self.take(","):
            names.append(self.dotted_name())
        return names

    def using(self) -> None:
        """Read over the namespaces that names may come from: each name is found in any."""
        opened = self.advance()
        names = self._dotted_names()
        self.semicolon("','")
        self.note(opened, f"USING {', '.join(names)} was read over")

    def _parts(self, kind: str, name: str, opened: Token) -> _Parts:
        """All of a unit behind its head, with its end; without `kind`, up to the next unit."""
        parts = _Parts()
        end = f"END_{kind}" if kind else ""
        while kind and self.is_soft("USING"):
            self.using()
        while not (end and self.take_end(end)):
            if self._ends_without_word(kind, parts):
                if end:
                    self._note_missing(end, opened, name)
                break
            before = self.at
            if not parts.body:
                self._mend_head()
            if not self._part(parts):
                parts.body += self.body()
            if self.at == before:
                since = self.locate(opened.start)
                expected = (end, "a statement") if end else ("a statement",)
                self.give_up(*expected, since=since)
        return parts

    def _mend_head(self) -> None:
        """Take a misspelt VAR_INPUT, METHOD or the like for what it was meant to be."""
        now = self.now
        if self.is_name() and now.upper not in _HEADS and self.ahead().kind == "word":
            near = near_word(now.text, _HEADS)
            declares = self.ahead(2).upper in (":", ",", "AT")
            if near in _PARTS or (near and declares):
                says = f"unexpected '{now.text}'; expected a statement; did you mean {near}?"
                self.respell(near, says)

    def _note_missing(self, end: str, opened: Token, name: str) -> None:
        self.note(opened, f"{end} of {name} is missing; the end was taken to be where it fits")

    def at_unit(self) -> bool:
        """Whether a unit, a namespace or the like begins here."""
        return self.now.upper in UNITS or self.is_soft(*SOFT_UNITS, "USING")

    def _ends_without_word(self, kind: str, parts: _Parts) -> bool:
        now = self.now
        if now.kind == "end" or self.at_unit() or now.upper in _OUTER_ENDS:
            return True
        if now.upper == "VAR_GLOBAL" and (parts.body or parts.methods or parts.actions):
            return True
        if kind in _HAS_PARTS or not kind:
            return False
        if kind in _ACCESSORS and (now.upper == "END_PROPERTY" or self._at_accessor()):
            return True
        return self.is_soft(*_PARTS) or (
            kind in ("METHOD", "GET", "SET") and now.upper in _OWNERS_ENDS
        )

    def _part(self, parts: _Parts) -> bool:
        """Read a part that is no statement, if one stands here."""
        if self.now.upper in SECTIONS:
            if parts.body:
                return False
            parts.declarations += self.section()
        elif self.now.upper == "BEGIN" and not parts.body and self.ahead().upper not in _USES:
            self.advance()
        elif self.is_soft("LABEL") and not parts.body:
            self.refuse(self.now, NO_JUMPS)
            raise EndOfReadingError
        elif self.is_soft("ACTION"):
            parts.actions.append(self.action())
        elif self.is_soft("METHOD"):
            parts.methods.append(self.unit())
        elif self.is_soft("PROPERTY"):
            parts.methods += self.property()
        elif self.at_step() or self.at_transition():
            parts.chart_place = parts.chart_place or self.place()
            if self.at_step():
                parts.steps.append(self.step())
            else:
                parts.transitions.append(self.transition())
        else:
            return False
        return True

    def action(self) -> sx.Action:
        """An action; its first word stands here."""
        opened = self.advance()
        place = self.locate(opened.start)
        name = self.dotted_name()
        self.take(":")
        self.skip_semicolon()
        parts = _Parts()
        while not self.take_end("END_ACTION"):
            before = self.at
            parts.body += self.body()
            if self.at == before and self.now.upper != "END_ACTION":
                part_follows = self.is_soft(*_PARTS) or self.at_step() or self.at_transition()
                if part_follows or self._ends_without_word("METHOD", parts):
                    self._note_missing("END_ACTION", opened, name)
                    break
                self.give_up("END_ACTION", "a statement", since=place)
        return sx.Action(name, tuple(parts.body), place)

    def property(self) -> list[sx.Unit]:
        """The parts of a property; its first word stands here."""
        opened = self.advance()
        words = self._access_words()
        name = self.name().text
        self.expect(":")
        returns = self.type_ref()
        self.skip_semicolon()
        found: list[sx.Unit] = []
        before, self.in_accessor = self.in_accessor, True
        while not self.take_end("END_PROPERTY"):
            if self.now.upper in _ACCESSORS:
                found.append(self._accessor(name, returns, words))
            elif self._ends_without_word("METHOD", _Parts()):
                self._note_missing("END_PROPERTY", opened, name)
                break
            else:
                self.give_up("END_PROPERTY", "GET", "SET")
        self.in_accessor = before
        return found

    def _accessor(self, name: str, returns: sx.TypeRef, words: tuple[str, ...]) -> sx.Unit:
        opened = self.advance()
        self.skip_semicolon()
        parts = self._parts(opened.upper, name, opened)
        place = self.locate(opened.start)
        return self._made(opened.upper, name, parts, place, returns, "", (), words, "")

    def with_part(self, unit: sx.Unit) -> sx.Unit:
        """`unit` with the action, method or property that stands here, behind the unit's end."""
        if self.now.upper == "ACTION":
            return replace(unit, actions=(*unit.actions, self.action()))
        added = [self.unit()] if self.now.upper == "METHOD" else self.property()
        return replace(unit, methods=(*unit.methods, *added))


_OUTER_ENDS = frozenset(("END_NAMESPACE",))
_OWNERS_ENDS = frozenset(("END_FUNCTION_BLOCK", "END_CLASS", "END_INTERFACE", "END_PROGRAM"))
