"""Types and the sections that declare variables."""

from __future__ import annotations

from interlock.base.errors import Place
from interlock.st import syntax as sx
from interlock.st.cursor import EndOfReadingError, UnexpectedTokenError, near_word
from interlock.st.parse_statements import StatementParser
from interlock.st.tokens import Token
from interlock.st.words import (
    ENDS,
    INTEGER_TYPES,
    RESERVED,
    SECTIONS,
    SOFT_PARTS,
    SOFT_UNITS,
    UNITS,
    words_of,
)

_STRUCTURE = ENDS | SECTIONS | UNITS
_SECTION_WORDS = words_of(
    "CONSTANT RETAIN NON_RETAIN PERSISTENT PUBLIC PRIVATE PROTECTED INTERNAL READ_ONLY READ_WRITE"
)
_PASSED_OVER = {
    "VAR_ACCESS": "paths of access by which others only read mean nothing here",
    "VAR_CONFIG": "where single instances lie means nothing here",
}
_IN_STATEMENTS = frozenset((":=", "(", ".", "[", "^"))
_EDGES = frozenset(("R_EDGE", "F_EDGE"))
_POINTERS = {"POINTER": "POINTER", "REF_TO": "REFERENCE", "REFERENCE": "REFERENCE"}


class TypeParser(StatementParser):
    """Reads TYPE blocks and VAR sections."""

    # Sections

    def section(self) -> list[sx.Declaration]:
        """The declarations of a VAR section; its first word stands here."""
        opened = self.advance()
        kind = opened.upper
        words: list[str] = []
        if self.now.upper == "CONST" and self.ahead().kind == "word":
            self.respell("CONSTANT", f"'{self.now.text}' is not Structured Text; write CONSTANT")
        while self.now.upper in _SECTION_WORDS and self.ahead().upper not in (":", ","):
            words.append(self.advance().upper)
        if kind in _PASSED_OVER:
            self._pass_over(opened)
            return []
        found: list[sx.Declaration] = []
        depth = self.depth
        while not self.take_end("END_VAR"):
            if self.take(";"):
                continue
            try:
                found += self._declaration(kind, words)
            except UnexpectedTokenError:
                self.depth = depth
                self._skip_declaration("END_VAR")
        return found

    def take_end(self, word: str) -> bool:
        """Take an END_…, and a needless semicolon behind it in its line.

        An end that is misspelt is taken as well, with a mistake.
        """
        if self.now.upper != word:
            used = self.ahead().upper in (":", ",", ":=", "(", ".", "[", "^", "AT")
            fixed = self.now.upper in RESERVED | SOFT_PARTS | SOFT_UNITS
            if used or fixed or not near_word(self.now.text, [word], 0.8):
                return False
            says = f"unexpected '{self.now.text}'; expected {word}; did you mean {word}?"
            self.refuse(self.now, says)
        self.advance()
        self.skip_semicolon()
        return True

    def skip_semicolon(self) -> None:
        """Take a needless semicolon in the line of what it follows."""
        if self.now.upper == ";" and not self.on_new_line():
            self.advance()

    def _pass_over(self, opened: Token) -> None:
        writes = False
        while self.now.upper != "END_VAR":
            if self.now.kind == "end" or self.now.upper in _STRUCTURE:
                self.give_up("END_VAR")
            if self.now.upper == ":=":
                says = "what a single instance begins with is not taken over from here; "
                self.refuse(self.now, f"{says}give it where the variable is declared")
            writes = writes or self.now.upper == "READ_WRITE"
            self.advance()
        self.advance()
        why = "assumed: nobody writes by these paths" if writes else _PASSED_OVER[opened.upper]
        self.note(opened, f"{opened.upper} was read over: {why}")

    def _skip_declaration(self, end: str) -> None:
        """Go on behind the next semicolon, or before `end`.

        Raises
        ------
        EndOfReadingError
            Where neither comes before something else begins or ends.
        """
        while self.now.upper != ";":
            if self.now.upper == end:
                return
            if self.now.kind == "end" or (self.now.upper in _STRUCTURE - {"TYPE"}):
                raise EndOfReadingError
            self.advance()
        self.advance()

    def _declaration(
        self, kind: str, words: list[str], end: str = "END_VAR"
    ) -> list[sx.Declaration]:
        place = self.place()
        names: list[sx.Name] = []
        addresses: list[str] = []
        if self.now.upper == "AT" and self.ahead().kind == "direct":
            addresses.append(self._address())
            names.append(sx.Name(addresses[0], place))
        while not names or self.take(","):
            at = self.place()
            token = self._declared_name(end)
            names.append(sx.Name(token.text, at))
            addresses.append(self._address() if self.now.upper == "AT" else "")
            if any(addresses) and not all(addresses):
                self.refuse_at(at, "one name stands at an address; declare each by itself")
        if self.now.upper in _IN_STATEMENTS and kind != "STRUCT":
            self.give_up("':'", f"{end} before a statement")
        self.expect(":", "','")
        type_, edge = self.type_ref(), ""
        if self.now.upper in _EDGES:
            edge = self.advance().upper
        initial = self.initial_value() if self.take(":=") else None
        if not (type_.fields and self.now.upper != ";"):
            self.semicolon("an operator" if initial is not None else "':='")
        # Each name at an address of its own is a declaration of its own.
        groups = [((n,), a) for n, a in zip(names, addresses, strict=True)]
        return [
            sx.Declaration(
                kind,
                "RETAIN" in words or "PERSISTENT" in words,
                group,
                type_,
                initial,
                place,
                constant="CONSTANT" in words,
                address=address,
                edge=edge,
                words=tuple(words),
            )
            for group, address in (groups if any(addresses) else [(tuple(names), "")])
        ]

    def _declared_name(self, end: str) -> Token:
        if (self.now.kind == "end" or self.now.upper in RESERVED) and self.ahead().upper not in (
            ":",
            ",",
            ":=",
        ):
            self.give_up(end, "a name")
        return self.name(end)

    def _address(self) -> str:
        self.advance()
        if self.now.kind != "direct":
            self.fail("an address such as %IX0.0")
        return self.advance().text.upper()

    # Types

    def type_ref(self) -> sx.TypeRef:
        """The type in a declaration."""
        self.deeper()
        found = self._type_ref()
        self.depth -= 1
        return found

    def _type_ref(self) -> sx.TypeRef:
        now, place = self.now, self.place()
        if now.upper == "(":
            return self._enumeration("")
        if now.upper == "ARRAY":
            return self._array()
        if now.upper in ("STRUCT", "UNION"):
            return self._struct()
        if now.upper == "REF_TO" or (now.upper in _POINTERS and self.ahead().upper == "TO"):
            name = _POINTERS[self.advance().upper]
            self.take("TO")
            return sx.TypeRef(name, None, None, place, of=self.type_ref())
        if now.upper in ("STRING", "WSTRING"):
            return self._string()
        if not self.is_name():
            self.fail("a type")
        self._mend_type(now)
        if self.now.upper in ("ARRAY", "STRUCT"):
            return self._type_ref()
        name = self.dotted_name()
        if self.now.upper == "(":
            return self._limited(name, place)
        return sx.TypeRef(name, None, None, place)

    def _mend_type(self, now: Token) -> None:
        behind = self.ahead()
        known = {"[": ("ARRAY",)}.get(behind.upper, ())
        if behind.kind == "word" and behind.upper not in RESERVED and behind.upper not in _EDGES:
            known = ("STRUCT",)
        near = near_word(now.text, known)
        if near:
            self.respell(near, f"unexpected '{now.text}'; expected a type; did you mean {near}?")

    def _limited(self, name: str, place: Place) -> sx.TypeRef:
        """A type with something in brackets: a range, or the values of an enumeration."""
        labels = self.ahead().kind == "word" and self.ahead(2).upper in (",", ")", ":=")
        if labels and name.upper() not in INTEGER_TYPES:
            says = (
                "values in brackets behind a type are not supported; write := (…) for first values"
            )
            self.refuse(self.now, says)
            raise UnexpectedTokenError
        if labels:
            return self._enumeration(name)
        self.advance()
        lo = self.label_value()
        self.expect("..", "an operator")
        hi = self.label_value()
        self.expect(")", "an operator")
        return sx.TypeRef(name, lo, hi, place)

    def _enumeration(self, base: str) -> sx.TypeRef:
        place = self.place()
        self.advance()
        found: list[sx.EnumLabel] = []
        while True:
            at = self.place()
            token = self.name()
            value = self.expression() if self.take(":=") else None
            found.append(sx.EnumLabel(token.text, value, at))
            if not self.take(","):
                break
        self.expect(")", "','", "':='")
        if self.is_name() and self.now.upper not in _EDGES:
            base = self.advance().text
        return sx.TypeRef("", None, None, place, labels=tuple(found), base=base)

    def _array(self) -> sx.TypeRef:
        place = self.place()
        self.advance()
        self.expect("[")
        dimensions = [self._dimension()]
        while self.take(","):
            dimensions.append(self._dimension())
        self.expect("]", "','", "an operator")
        self.expect("OF")
        return sx.TypeRef(
            "ARRAY", None, None, place, dimensions=tuple(dimensions), of=self.type_ref()
        )

    def _dimension(self) -> tuple[sx.Expression, sx.Expression] | None:
        if self.take("*"):
            return None
        lo = self.label_value()
        self.expect("..", "an operator")
        return lo, self.label_value()

    def _string(self) -> sx.TypeRef:
        place = self.place()
        name = self.advance().text
        closing = {"[": "]", "(": ")"}.get(self.now.upper)
        length = None
        if closing is not None:
            self.advance()
            length = self.label_value()
            self.expect(closing, "an operator")
        return sx.TypeRef(name.upper(), length, None, place)

    def _struct(self) -> sx.TypeRef:
        place = self.place()
        word = self.advance().upper
        if self.now.upper == "OVERLAP":
            self.refuse(self.now, "OVERLAP is not supported: members that share memory")
            self.advance()
        self.skip_semicolon()
        members: list[sx.Declaration] = []
        end, depth = f"END_{word}", self.depth
        while not self.take(end):
            try:
                members += self._declaration("STRUCT", [], end)
            except UnexpectedTokenError:
                self.depth = depth
                self._skip_declaration(end)
        name = "UNION" if word == "UNION" else ""
        return sx.TypeRef(name, None, None, place, fields=tuple(members))

    # TYPE blocks

    def types(self, namespace: str) -> list[sx.TypeDef]:
        """The types of a TYPE block; its first word stands here."""
        self.advance()
        while self.now.upper in ("PUBLIC", "INTERNAL") and self.ahead().kind == "word":
            self.advance()
        found: list[sx.TypeDef] = []
        depth = self.depth
        while not self.take_end("END_TYPE"):
            try:
                found.append(self._type_def(namespace))
            except UnexpectedTokenError:
                self.depth = depth
                self._skip_declaration("END_TYPE")
        return found

    def _type_def(self, namespace: str) -> sx.TypeDef:
        place = self.place()
        name = self._declared_name("END_TYPE").text
        extends = ""
        if self.take("EXTENDS"):
            extends = self.dotted_name()
        self.expect(":")
        if self.now.upper == "STRUCT" and self.ahead().upper == "EXTENDS":
            self.fail(f"EXTENDS behind the name: {name} EXTENDS … : STRUCT")
        type_ = self.type_ref()
        initial = self.initial_value() if self.take(":=") else None
        if not (type_.fields and self.now.upper != ";"):
            self.semicolon("an operator" if initial is not None else "':='")
        return sx.TypeDef(name, type_, initial, place, extends, namespace)

    def dotted_name(self) -> str:
        """A name that may have a namespace's before a dot."""
        text = self.name().text
        while self.take("."):
            text += "." + self.name().text
        return text
