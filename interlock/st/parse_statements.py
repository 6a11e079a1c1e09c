"""Statements, and reading on behind a mistake in one of them."""

from __future__ import annotations

from collections.abc import Callable, Iterable

from interlock.base.errors import Place
from interlock.st import syntax as sx
from interlock.st.cursor import EndOfReadingError, UnexpectedTokenError, near_word
from interlock.st.parse_expressions import ExpressionParser, divided
from interlock.st.tokens import Token
from interlock.st.words import (
    ENDS,
    OPERATOR_WORDS,
    RESERVED,
    SECTIONS,
    SOFT_PARTS,
    SOFT_UNITS,
    UNITS,
    words_of,
)

# What ends the statements of a body, whoever they belong to.
_STOPS = ENDS | UNITS | SECTIONS | frozenset(("ELSE", "ELSIF", "ELSEIF", "UNTIL"))
_SOFT = SOFT_UNITS | SOFT_PARTS | frozenset(("USING", "TASK"))
_OPENERS = frozenset(("IF", "CASE", "FOR", "WHILE", "REPEAT"))
_MIDDLES = frozenset(("THEN", "DO", "OF"))
_JUMPS = frozenset(("JMP", "GOTO"))
_LEAVES = frozenset(("EXIT", "CONTINUE", "RETURN"))
_BEFORE_WORDS = (*_OPENERS, "ELSE", "ELSIF", "UNTIL")
_JOINING = OPERATOR_WORDS - {"NOT", "TRUE", "FALSE"} | {"S", "R", "REF"}
_INSTRUCTIONS = words_of(
    "LD LDN ST STN ANDN ORN XORN CAL CALC CALCN RET RETC RETCN JMPC JMPCN GT GE EQ NE LE LT"
)
_SETS = {"S": True, "R": False}
NO_JUMPS = "jumps and labels are not supported; use IF, a loop or RETURN"


class StatementParser(ExpressionParser):
    """Reads statements."""

    def body(self, of_case: bool = False) -> tuple[sx.Statement, ...]:
        """Statements up to a word that begins none.

        Parameters
        ----------
        of_case : bool
            Whether the labels of the next branch end them too.
        """
        self.deeper()
        depth = self.depth
        found: list[sx.Statement] = []
        while not (self._stops() or (of_case and self._at_labels())):
            try:
                found += self._statement()
            except UnexpectedTokenError:
                self.depth = depth
                self._skip_statement()
        self.depth = depth - 1
        return tuple(found)

    def is_soft(self, *words: str) -> bool:
        """Whether one of these words stands here with its meaning, and is not a name."""
        return self.now.upper in words and self.ahead().kind == "word"

    def _stops(self) -> bool:
        now = self.now
        if now.kind == "end" or now.upper in _STOPS:
            # A section's word in a body is a mistake that the unit tells.
            return True
        if now.upper == "TRANSITION" and self.ahead().upper == "(":
            return self.ahead(2).upper == "PRIORITY"
        if now.upper in _SOFT:
            return self.ahead().kind == "word"
        return self.stops_here()

    def stops_here(self) -> bool:
        """Whether the unit that is read ends its statements here; units say so themselves."""
        return False

    def _skip_statement(self) -> None:
        """Go on behind the next semicolon, or before the next word that begins or ends a body.

        Raises
        ------
        EndOfReadingError
            Where what is skipped had a body, whose end would not be understood.
        """
        while True:
            now = self.now
            if now.upper == ";":
                self.advance()
                return
            if now.upper in _MIDDLES:
                raise EndOfReadingError
            if self._stops():
                return
            if now.upper in _OPENERS:
                if self.on_new_line():
                    return
                raise EndOfReadingError
            self.advance()

    def _statement(self) -> tuple[sx.Statement, ...]:
        now = self.now
        place = self.place()
        if now.upper == ";":
            self.advance()
            return (sx.Empty(place),)
        if now.kind == "word":
            self._mend_spelling(now)
            if (reader := _READERS.get(self.now.upper)) is not None:
                return (reader(self, place),)
            if self.now.upper in _STOPS:
                return ()
            if now.upper in _INSTRUCTIONS and self.ahead().kind == "word":
                self.refuse(now, f"'{now.text}' is Instruction List, which is not read")
                raise EndOfReadingError
            if now.upper not in RESERVED and self.ahead().upper == ":":
                return (self._label(place),)
        elif now.kind in ("number", "typed"):
            # The labels of a CASE, in which something is not closed.
            self.give_up("a statement")
        elif now.kind != "direct":
            self.fail("a statement")
        return (self._simple(place),)

    def _mend_spelling(self, now: Token) -> None:
        """Take a misspelt word for what it was meant to be, where no name can stand there."""
        if now.upper == "ELSEIF":
            self.respell("ELSIF", "'ELSEIF' is not Structured Text; write ELSIF")
            return
        behind = self.ahead()
        if now.upper in RESERVED or behind.upper in (":=", "(", ".", "[", "^", ":"):
            return
        known: Iterable[str] = ()
        least = 0.75
        if now.upper.startswith("END"):
            # An action may be called without brackets, and be called EndMotion.
            known, least = ENDS, 0.8
        elif behind.kind in ("word", "number", "typed") and behind.upper not in _JOINING:
            known = _BEFORE_WORDS
        near = near_word(now.text, known, least)
        if near:
            says = f"unexpected '{now.text}'; expected a statement; did you mean {near}?"
            self.respell(near, says)

    # Statements of one line

    def _simple(self, place: Place) -> sx.Statement:
        first = self.at
        target = self.target()
        now = self.now
        if now.upper == "(":
            return self._invoke(target, place)
        if now.upper == ":=":
            self.advance()
            value = self.expression()
            self.semicolon("an operator")
            return sx.Assign(target, value, place)
        joined = self.ahead().upper == "=" and now.end == self.ahead().start
        if joined and (now.upper in _SETS or now.upper == "REF"):
            return self._set(target, place)
        if now.upper == "?=":
            return self._refused(first, place, "?= is not supported; interfaces are not asked for")
        if isinstance(target, sx.Direct):
            self.fail("':='")
        if now.upper == ";":
            self.advance()
            return self._bare(target, place)
        if self._stops() or self.on_new_line():
            return self.fail("';'", "':='")
        return self.fail("':='", "'('", "';'")

    def _set(self, target: sx.Target, place: Place) -> sx.Statement:
        """``S=`` and ``R=``, which some write for an IF, and ``REF=`` for ``REF(…)``."""
        sign = self.advance().upper
        self.advance()
        value = self.expression()
        self.semicolon("an operator")
        if sign == "REF":
            bound = value if isinstance(value, sx.Number) else sx.Call("REF", (value,), place)
            return sx.Assign(target, bound, place)
        kept = sx.Assign(target, sx.Truth(_SETS[sign], place), place)
        return sx.If((sx.Branch(value, (kept,), place),), (), place)

    def _refused(self, first: int, place: Place, says: str) -> sx.Statement:
        """A statement that means nothing here, up to its semicolon."""
        while self.now.upper != ";":
            if self._stops() or self.now.upper in _OPENERS:
                self.fail("';'")
            self.advance()
        text = self.text[self.tokens[first].start : self.advance().end]
        return sx.Refused(says, place, " ".join(text.split()))

    def _jump(self, place: Place) -> sx.Statement:
        first = self.at
        self.advance()
        return self._refused(first, place, NO_JUMPS)

    def _label(self, place: Place) -> sx.Statement:
        name = self.advance()
        self.advance()
        if self.now.upper == "=":
            self.refuse(self.now, "write ':=' without a blank to assign")
            raise UnexpectedTokenError
        return sx.Refused(NO_JUMPS, place, f"{name.text}:")

    def _invoke(self, called: sx.Target, place: Place) -> sx.Statement:
        on, instance = divided(called)
        inputs, outputs = self.arguments()
        self.refuse_member_of_call()
        if self.now.upper in (":=", "="):
            says = "the result of a call cannot be assigned to; write x[1] for an element"
            self.refuse(self.now, says)
            raise UnexpectedTokenError
        near = near_word(instance.text, _BEFORE_WORDS) if self.now.upper in _MIDDLES else ""
        if near:
            says = f"unexpected '{instance.text}'; expected a statement; did you mean {near}?"
            self.refuse_at(place, says)
            raise EndOfReadingError
        self.semicolon()
        return sx.Invoke(instance, tuple(inputs), tuple(outputs), place, on)

    def _bare(self, called: sx.Target, place: Place) -> sx.Statement:
        on, instance = divided(called)
        return sx.Invoke(instance, (), (), place, on, True)

    def _leave(self, place: Place) -> sx.Statement:
        word = self.advance().upper
        self.semicolon()
        return sx.Leave(word, place)

    # Statements with a body

    def _header(self, read: Callable[[], sx.Expression], closing: str) -> sx.Expression:
        """An expression and the word behind it.

        Behind a mistake in it reading goes on behind the word, where that stands in the same
        statement.
        """
        place, depth = self.place(), self.depth
        try:
            found = read()
            if self.now.upper == closing:
                self.advance()
            elif self._lacks_word():
                self.note_mistake(self.unexpected(closing, "an operator"))
            else:
                self.expect(closing, "an operator")
            return found
        except UnexpectedTokenError:
            self.depth = depth
            while self.now.upper != closing:
                if self._stops() or self.now.upper in _OPENERS or self.now.upper == ";":
                    raise EndOfReadingError from None
                self.advance()
            self.advance()
            return sx.Truth(False, place)

    def _lacks_word(self) -> bool:
        """Whether the word before a body was forgotten, since a statement begins here."""
        follows = self.ahead().upper
        if self.now.upper in _OPENERS:
            return True
        goes_on = follows == ":=" or (follows in ("(", ".", "[") and self.on_new_line())
        return self.is_name() and goes_on

    def _end(self, word: str, opened: Place, *others: str) -> None:
        """Take the END_… of a statement, whose semicolon may be missing."""
        if self.now.upper != word:
            self.give_up(word, *others, "a statement", since=opened)
        self.advance()
        self.take(";")

    def _if(self, place: Place) -> sx.Statement:
        branches: list[sx.Branch] = []
        otherwise: tuple[sx.Statement, ...] = ()
        at = place
        nested_else = None
        while True:
            self.advance()
            condition = self._header(self.expression, "THEN")
            branches.append(sx.Branch(condition, self.body(), at))
            at = self.place()
            if self.now.upper == "ELSEIF":
                self._mend_spelling(self.now)
            if self.now.upper != "ELSIF":
                break
        others: tuple[str, ...] = ("ELSIF", "ELSE")
        if self.now.upper == "ELSE":
            others = ()
            self.advance()
            if self.now.upper == "IF" and not self.on_new_line():
                nested_else = self.place()
            otherwise = self.body()
        if self.now.upper != "END_IF" and nested_else is not None:
            says = "the END_IF of one IF is missing: for ELSE IF, which needs two, write ELSIF"
            self.note_mistake((nested_else, says))
            raise EndOfReadingError
        self._end("END_IF", place, *others)
        return sx.If(tuple(branches), otherwise, place)

    def _case(self, place: Place) -> sx.Statement:
        self.advance()
        selector = self._header(self.expression, "OF")
        branches: list[sx.CaseBranch] = []
        otherwise: tuple[sx.Statement, ...] = ()
        if not self._at_labels():
            self.give_up("a label, as in 1:")
        while self._at_labels():
            at = self.place()
            labels = self._labels()
            branches.append(sx.CaseBranch(labels, self.body(of_case=True), at))
        if self.take("ELSE"):
            otherwise = self.body()
        self._end("END_CASE", place, "ELSE")
        return sx.Case(selector, tuple(branches), otherwise, place)

    def _at_labels(self) -> bool:
        """Whether the labels of a CASE branch stand here, and no statement."""
        now = self.now
        if now.kind in ("number", "typed") or now.upper in ("-", "+", "("):
            return True
        if not self.is_name() or now.kind != "word":
            return False
        n = 1
        while True:
            token = self.ahead(n)
            if token.kind == "word":
                fits = token.upper not in RESERVED or token.upper == "MOD"
            else:
                fits = token.kind in ("number", "typed") or token.upper in _IN_LABELS
            if not fits:
                return token.upper == ":"
            n += 1

    def _labels(self) -> tuple[sx.Label, ...]:
        try:
            found = [self._label_range()]
            while self.take(","):
                found.append(self._label_range())
            self.expect(":", "','", "'..'", "an operator")
            return tuple(found)
        except UnexpectedTokenError:
            # Where the labels end is unknown then, and so is what belongs to them.
            raise EndOfReadingError from None

    def _label_range(self) -> sx.Label:
        place = self.place()
        first = self.label_value()
        last = self.label_value() if self.take("..") else None
        return sx.Label(first, last, place)

    def _for(self, place: Place) -> sx.Statement:
        self.advance()
        at = self.place()
        name = self.target()
        if not isinstance(name, sx.Name):
            self.refuse_at(at, "a loop counts in a variable that is no element and no address")
            name = sx.Name("?", at)
        self.expect(":=")
        first = self._header(self.expression, "TO")
        step = None
        last = self._bound()
        if self.take("BY"):
            step = self._header(self.expression, "DO")
        else:
            self._header(lambda: last, "DO")
        body = self.body()
        self._end("END_FOR", place)
        return sx.For(name, first, last, step, body, place)

    def _bound(self) -> sx.Expression:
        place, depth = self.place(), self.depth
        try:
            return self.expression()
        except UnexpectedTokenError:
            self.depth = depth
            while self.now.upper not in ("BY", "DO"):
                if self._stops() or self.now.upper == ";":
                    raise EndOfReadingError from None
                self.advance()
            return sx.Truth(False, place)

    def _while(self, place: Place) -> sx.Statement:
        self.advance()
        condition = self._header(self.expression, "DO")
        body = self.body()
        self._end("END_WHILE", place)
        return sx.While(condition, body, place)

    def _repeat(self, place: Place) -> sx.Statement:
        self.advance()
        body = self.body()
        if not self.take("UNTIL"):
            self.give_up("UNTIL", "a statement", since=place)
        until = self.expression()
        # Some write a semicolon behind the condition as well.
        self.take(";")
        self._end("END_REPEAT", place, "an operator")
        return sx.Repeat(body, until, place)


_IN_LABELS = frozenset((",", "..", ".", "-", "+", "*", "/", "(", ")"))
_READERS: dict[str, Callable[[StatementParser, Place], sx.Statement]] = {
    "IF": StatementParser._if,
    "CASE": StatementParser._case,
    "FOR": StatementParser._for,
    "WHILE": StatementParser._while,
    "REPEAT": StatementParser._repeat,
    **dict.fromkeys(_LEAVES, StatementParser._leave),
    **dict.fromkeys(_JUMPS, StatementParser._jump),
}
