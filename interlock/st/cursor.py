"""A place in the tokens of a text: taking them, and telling what was not expected."""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Callable, Iterable
from difflib import get_close_matches
from typing import NoReturn

from interlock.base.errors import InputError, Mistake, Place
from interlock.st import syntax as sx
from interlock.st.tokens import Token, tokenize
from interlock.st.words import ENDS, FOREIGN_SIGNS, RESERVED

Locate = Callable[[int], Place]

# Far beyond what a reader can follow, far below what Python's stack can.
MAX_DEPTH = 80

_MAX_MISTAKES = 20
_NEAR = 0.75
_SHOWN = 40
_BEHIND_BODIES = ENDS | {"ELSE", "ELSIF", "UNTIL"}


class UnexpectedTokenError(Exception):
    """What stands here fits nothing; its mistake is noted. Reading may go on behind it."""


class EndOfReadingError(Exception):
    """Reading on could only find mistakes that follow from those that are noted."""


def locator(text: str, file: str, line: int = 1, column: int = 1) -> Locate:
    """Where each offset of `text` stands in `file`.

    Parameters
    ----------
    text : str
    file : str
    line, column : int
        Where the text begins; the column counts for its first line only.
    """
    starts = [0] + [n + 1 for n, character in enumerate(text) if character == "\n"]

    def locate(offset: int) -> Place:
        row = bisect_right(starts, offset) - 1
        shift = column if row == 0 else 1
        return Place(file, line + row, offset - starts[row] + shift)

    return locate


def near_word(word: str, known: Iterable[str], least: float = _NEAR) -> str:
    """The one of `known` that `word` was probably meant to be, or an empty text."""
    if len(word) > _SHOWN:
        return ""
    close = get_close_matches(word.upper(), list(known), n=1, cutoff=least)
    return close[0] if close else ""


class Cursor:
    """Walks over the tokens of a text.

    Parameters
    ----------
    text : str
    locate : callable
        Place of an offset of the text.
    what : str
        What is read, for messages.

    Attributes
    ----------
    now : Token
        The next to be taken.
    mistakes : list of Mistake
    notes : list of Note
    depth : int
        How deeply what is read is nested.

    Raises
    ------
    InputError
        Where a comment or a pragma is never closed.
    """

    def __init__(self, text: str, locate: Locate, what: str) -> None:
        self.text = text
        self.locate = locate
        self.what = what
        found = tokenize(text)
        if found.unclosed is not None:
            at, kind = found.unclosed
            raise InputError([Mistake(locate(at), f"this {kind} is never closed")])
        self.lexed = found
        self.tokens = found.tokens
        self.at = 0
        self.now = self.tokens[0]
        self.mistakes: list[Mistake] = []
        self.notes: list[sx.Note] = []
        self.depth = 0

    # Taking tokens

    def advance(self) -> Token:
        """Take the next token, whatever it is; the end stays."""
        taken = self.now
        if taken.kind != "end":
            self.at += 1
            self.now = self.tokens[self.at]
        return taken

    def ahead(self, n: int = 1) -> Token:
        """The token `n` behind the next."""
        at = self.at + n
        return self.tokens[at] if at < len(self.tokens) else self.tokens[-1]

    def take(self, upper: str) -> bool:
        """Take the next token if it is this word or sign."""
        if self.now.upper != upper:
            return False
        self.advance()
        return True

    def expect(self, upper: str, *others: str) -> None:
        """Take this word or sign; `others` would have been right too, for the message.

        Raises
        ------
        UnexpectedTokenError
            Where it is not there, and is not misspelt either.
        """
        if self.now.upper == upper:
            self.advance()
            return
        shown = _shown(upper)
        now = self.now
        may_be_slip = upper.isidentifier() and now.kind == "word" and now.upper not in RESERVED
        if may_be_slip and near_word(now.text, [upper]):
            self.note_mistake(self.unexpected(shown, *others))
            self.advance()
            return
        self.fail(shown, *others)

    def semicolon(self, *others: str) -> None:
        """Take a semicolon, or note that it is missing where nothing else could stand there.

        That is before a word that ends a body and before a new line, since no expression goes on
        with a name or a number: the reading is the only one there is. The end of a file may be
        where it was cut off; that of a body which stands by itself is none.
        """
        now = self.now
        begins = now.kind in ("word", "number", "typed", "direct") and self.on_new_line()
        ends = now.kind == "end" and self.what == "body"
        if now.upper == ";" or not (begins or ends or now.upper in _BEHIND_BODIES):
            self.expect(";", *others)
            return
        before = self.tokens[self.at - 1]
        says = f"';' is missing behind '{before.text[:_SHOWN]}' and was taken to stand there"
        self.notes.append(sx.Note(self.locate(before.end), says))

    def name(self, *others: str) -> Token:
        """Take a name; `others` would have been right too, for the message."""
        if self.is_name():
            return self.advance()
        now = self.now
        if now.kind == "word" and self.ahead().upper in (":", ",", ":="):
            self.refuse(now, f"'{now.text}' is a reserved word and cannot be a name")
            raise UnexpectedTokenError
        return self.fail(*others, "a name")

    def is_name(self) -> bool:
        """Whether a name stands here."""
        return self.now.kind == "word" and self.now.upper not in RESERVED

    def place(self) -> Place:
        """Where the next token stands."""
        return self.locate(self.now.start)

    def on_new_line(self) -> bool:
        """Whether the next token stands on another line than the one before it."""
        before = self.tokens[self.at - 1].end if self.at else 0
        return "\n" in self.text[before : self.now.start] or self.at == 0

    def deeper(self) -> None:
        """Count one level of nesting more.

        Raises
        ------
        EndOfReadingError
            Where that is too many.
        """
        self.depth += 1
        if self.depth > MAX_DEPTH:
            self.too_deep(self.place())

    def too_deep(self, place: Place) -> NoReturn:
        """Note that something is nested too deeply, and end."""
        self.mistakes.append(Mistake(place, "nested too deeply; divide it into parts"))
        raise EndOfReadingError

    # Telling mistakes

    def refuse(self, token: Token, says: str) -> None:
        """Note a mistake at `token`."""
        self.refuse_at(self.locate(token.start), says)

    def refuse_at(self, place: Place, says: str) -> None:
        """Note a mistake."""
        self.note_mistake((place, says))

    def note_mistake(self, mistake: tuple[Place, str]) -> None:
        """Note a mistake, unless one is noted for this place; with too many, reading ends."""
        if self.mistakes and self.mistakes[-1].place == mistake[0]:
            return
        self.mistakes.append(Mistake(*mistake))
        if len(self.mistakes) >= _MAX_MISTAKES:
            raise EndOfReadingError

    def respell(self, upper: str, says: str) -> None:
        """Note that the next word is a slip, and take it for another."""
        self.refuse(self.now, says)
        self.now = self.now._replace(upper=upper)
        self.tokens[self.at] = self.now

    def note(self, token: Token, says: str) -> None:
        """Note something that was read over."""
        self.notes.append(sx.Note(self.locate(token.start), says))

    def fail(self, *expected: str) -> NoReturn:
        """Note that something else was expected here.

        Raises
        ------
        UnexpectedTokenError
            Always.
        """
        self.note_mistake(self.unexpected(*expected))
        raise UnexpectedTokenError

    def give_up(self, *expected: str, since: Place | None = None) -> NoReturn:
        """End where what is open does not end as it should.

        That is told unless there are mistakes already, which it may follow from.

        Raises
        ------
        EndOfReadingError
            Always.
        """
        if not self.mistakes:
            self.note_mistake(self.unexpected(*expected, since=since))
        raise EndOfReadingError

    def unexpected(self, *expectations: str, since: Place | None = None) -> tuple[Place, str]:
        """Where to point and what to say for what was not expected here.

        Parameters
        ----------
        expectations : str
            What would have fitted.
        since : Place, optional
            Where begins what should have ended.
        """
        now = self.now
        before = self.tokens[self.at - 1].end if self.at else 0
        expected = _listed(list(expectations))
        if since is not None:
            expected += f", for what begins in line {since.line}"
        if now.kind == "end":
            return self.locate(before), f"unexpected end of the {self.what}; expected {expected}"
        special = self._special(now, expected)
        if special:
            return self.place(), special
        if expected.startswith("';'") and self.on_new_line():
            return self.locate(before), f"expected {expected}"
        says = f"unexpected '{now.text[:_SHOWN]}'; expected {expected}"
        words = [word.strip(",") for word in expected.split() if word.strip(",").isupper()]
        if now.upper in RESERVED:
            ends = [word for word in words if word.startswith("END_")]
            words = ends if now.upper.startswith("END_") else []
        near = near_word(now.text, words) if now.kind == "word" else ""
        return self.place(), says + (f"; did you mean {near}?" if near else "")

    def _special(self, now: Token, expected: str) -> str:
        if now.upper in ("=", "==") and "':='" in expected:
            return f"'{now.upper}' compares; use ':=' to assign"
        if now.upper in FOREIGN_SIGNS:
            return FOREIGN_SIGNS[now.upper]
        if now.kind == "bad":
            if now.text[0] in "'\"":
                return "this string is never closed"
            return f"'{now.text}' is not a character of Structured Text"
        if now.upper == ":=" and "an operator" in expected:
            return "':=' assigns; use '=' to compare"
        return ""


def _shown(upper: str) -> str:
    return upper if upper.isidentifier() else f"'{upper}'"


def _listed(expected: list[str]) -> str:
    return expected[0] if len(expected) == 1 else f"{', '.join(expected[:-1])} or {expected[-1]}"
