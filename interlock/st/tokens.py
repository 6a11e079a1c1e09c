"""Text to tokens: in one pass, each character looked at a bounded number of times."""

from __future__ import annotations

import re
from dataclasses import dataclass, field
from typing import NamedTuple

_NUMBER = r"\d[\d_]*(?:\.\d[\d_]*(?:[eE][+-]?\d+)?|[eE][+-]\d+)\w*|\d\w*(?:#\w+)?"
_PIECE = re.compile(
    r"(?P<white>[ \t\r\n\f\v\xa0\ufeff]+)"
    r"|(?P<line>//[^\r\n]*)"
    r"|(?P<block>\(\*|/\*)"
    r"|(?P<prefix>[A-Za-z_]\w*\#)"
    r"|(?P<word>(?u:[^\W\d]\w*))"
    rf"|(?P<number>{_NUMBER})"
    r"|(?P<string>'(?:[^'$\r\n]|\$[^\r\n])*'|\"(?:[^\"$\r\n]|\$[^\r\n])*\")"
    r"|(?P<direct>%[A-Za-z]*(?:\d+(?:\.\d+)*|\*))"
    r"|(?P<pragma>\{)"
    r"|(?P<sign>:=|=>|<>|<=|>=|==|!=|&&|\|\||\*\*|\.\.|\?=|\*\)|[-+*/=<>()\[\]:;,.&^?@#!|%])"
    r"|(?P<quote>['\"][^\r\n]*)"
    r"|(?P<bad>[\s\S])",
    re.ASCII,
)
# Some environments write the names of units in quotes, those of variables behind a '#', and fold
# texts by regions.
_QUOTES_NAMES = re.compile(
    r"^[ \t]*(?:FUNCTION_BLOCK|FUNCTION|ORGANIZATION_BLOCK|DATA_BLOCK|TYPE)[ \t]*\r?\n?[ \t]*\"",
    re.MULTILINE | re.IGNORECASE,
)
_FOLDS = re.compile(r"^[ \t]*END_REGION\b", re.MULTILINE | re.IGNORECASE)
_OTHER_WORDS = {"ORGANIZATION_BLOCK": "PROGRAM", "END_ORGANIZATION_BLOCK": "END_PROGRAM"}
_NAME = re.compile(r"[^\W\d]\w*")
# What may stand behind the '#' of a literal, after its type's name.
_DURATION = re.compile(r"[ \t]*[-+]?\d\w*(?:\.\w+)*", re.ASCII)
_DATE = re.compile(r"[ \t]*\d+(?:[-:._]\d+)*", re.ASCII)
_VALUE = re.compile(rf"[ \t]*(?:[-+]?(?:{_NUMBER})|[A-Za-z_]\w*)", re.ASCII)
_STRING = re.compile(r"'(?:[^'$\r\n]|\$[^\r\n])*'|\"(?:[^\"$\r\n]|\$[^\r\n])*\"")
_MARKS = {"(*": re.compile(r"\(\*|\*\)"), "/*": re.compile(r"/\*|\*/")}
_DESCRIPTION = re.compile(r"\(\*\s*@KEY@\s*:\s*DESCRIPTION\b")
_END_OF_DESCRIPTION = re.compile(r"\(\*\s*@KEY@\s*:\s*END_DESCRIPTION\b")
_RULE = re.compile(r"[ \t]*(?:={4,}|-{4,}|\*{4,}|#{4,}|~{4,})[ \t]*(?=[\r\n]|\Z)")
_LINE = re.compile(r"[^\r\n]*")
_FENCE = re.compile(r"^[ \t]*(```|~~~)[^\r\n]*", re.MULTILINE)

DURATION_PREFIXES = frozenset(("T", "TIME", "LT", "LTIME"))
DATE_KINDS = {
    **dict.fromkeys(("D", "DATE", "LD", "LDATE"), "DATE"),
    **dict.fromkeys(("DT", "DATE_AND_TIME", "LDT", "LDATE_AND_TIME"), "DT"),
    **dict.fromkeys(("TOD", "TIME_OF_DAY", "LTOD", "LTIME_OF_DAY"), "TOD"),
}
_STRING_PREFIXES = frozenset(("STRING", "WSTRING", "CHAR", "WCHAR"))


class Token(NamedTuple):
    """A token and where it stands.

    Attributes
    ----------
    kind : str
        ``word``, ``number``, ``typed`` (with a type before a ``#``), ``duration``, ``date``,
        ``string``, ``direct``, ``sign``, ``bad`` or, behind the last, ``end``.
    text : str
    upper : str
        Of a word or a sign, in upper case; else empty.
    start, end : int
        Offsets of its first character and behind its last.
    """

    kind: str
    text: str
    upper: str
    start: int
    end: int


@dataclass
class Tokens:
    """The tokens of a text, and what stands between them that somebody should hear of.

    Attributes
    ----------
    tokens : list of Token
        The last is the end.
    pragmas : list of (int, str)
        Each ``{…}`` with its offset.
    wrappings : list of (int, str)
        Lines that an export put round the program, each with its offset.
    marked : tuple of int
        Where names begin to be in quotes or behind a ``#``; empty where none is.
    unclosed : tuple of int and str, or None
        Where a comment or pragma begins that never ends, and what it is; reading ended there.
    nests : bool
        Whether comments were read as nested.
    comments : list of (int, int)
        Where each comment begins, and ends.
    own : set of int
        Where names behind a ``#`` begin: variables of their own unit.
    """

    tokens: list[Token] = field(default_factory=list)
    pragmas: list[tuple[int, str]] = field(default_factory=list)
    wrappings: list[tuple[int, str]] = field(default_factory=list)
    marked: tuple[int, ...] = ()
    unclosed: tuple[int, str] | None = None
    nests: bool = True
    comments: list[tuple[int, int]] = field(default_factory=list)
    own: set[int] = field(default_factory=set)


def tokenize(text: str) -> Tokens:
    """The tokens of `text`.

    Comments nest, as in the third edition of IEC 61131-3. Where one is never closed when read so,
    all are read as in the second edition, where the first end closes.
    """
    found = _Scan(text, nests=True).run()
    if found.unclosed is None:
        return found
    flat = _Scan(text, nests=False).run()
    return flat if flat.unclosed is None else found


class _Scan:
    def __init__(self, text: str, nests: bool) -> None:
        self.text = text
        self.found = Tokens(nests=nests)
        self.line_start = True
        self.may_describe = True
        self.quotes_names = _QUOTES_NAMES.search(text) is not None
        self.folds = _FOLDS.search(text) is not None
        self.around = _around_fences(text)

    def run(self) -> Tokens:
        text, found = self.text, self.found
        add, match = found.tokens.append, _PIECE.match
        at = 0
        while at < len(text) and found.unclosed is None:
            piece = match(text, at)
            assert piece is not None
            kind, end = piece.lastgroup or "", piece.end()
            if at in self.around:
                found.wrappings.append((at, text[at : self.around[at]].strip().partition("\n")[0]))
                at = self.around[at]
                continue
            if kind == "white":
                white = piece[0]
                self.line_start = self.line_start or "\n" in white or "\r" in white
                at = end
                continue
            if kind == "word":
                end = self._word(at, piece[0])
            elif kind == "sign":
                end = self._sign(at, piece[0])
            elif kind == "string" and piece[0][0] == '"' and self.quotes_names:
                self._quoted_name(at, piece[0])
            elif kind in ("number", "string", "direct"):
                add(Token(kind, piece[0], "", at, end))
            elif kind == "prefix":
                end = self._literal(at, piece[0])
            elif kind == "block":
                end = self._comment(at, piece[0])
            elif kind == "pragma":
                end = self._pragma(at)
            elif kind != "line":
                add(Token("bad", piece[0], "", at, end))
            self._note_comment(kind, at, end)
            at = end
        add(Token("end", "", "", len(text), len(text)))
        return found

    def _note_comment(self, kind: str, at: int, end: int) -> None:
        """Note a piece if it is a comment; whether the line has begun with nothing else."""
        if kind in ("line", "block"):
            self.found.comments.append((at, end))
        self.line_start = self.line_start and kind in ("line", "block", "pragma")

    def _sign(self, at: int, sign: str) -> int:
        """Take a sign, or what else begins with it; its end."""
        end = self._wrapping(at) if self.line_start else 0
        if end:
            return end
        end = at + len(sign)
        is_quoted = self.quotes_names and self.text.startswith('"', end)
        if sign == "#" and (is_quoted or _NAME.match(self.text, end)):
            self._note_names(at)
            self.found.own.add(end)
        else:
            self.found.tokens.append(Token("sign", sign, sign, at, end))
        return end

    def _word(self, at: int, word: str) -> int:
        """Take a word, or the whole line of a fold; its end."""
        end = at + len(word)
        # No word of the language has other letters, whatever they look like.
        upper = word.upper() if word.isascii() else word
        if self.folds and self.line_start and upper in ("REGION", "END_REGION"):
            line = _LINE.match(self.text, at)
            assert line is not None
            self.found.wrappings.append((at, line[0].strip()))
            return line.end()
        self.found.tokens.append(Token("word", word, _OTHER_WORDS.get(upper, upper), at, end))
        return end

    def _quoted_name(self, at: int, quoted: str) -> None:
        """Take a name in quotes; what no name can hold is written as ``_``.

        What these stand for comes behind it, so that in all files of a project different names
        stay different: ``"Motor 1"`` is ``Motor_1_20``, ``"Motor-1"`` is ``Motor_1_2d``.
        """
        self._note_names(at)
        held = re.sub(r"\W", "_", quoted[1:-1])
        lost = re.findall(r"\W", quoted[1:-1])
        name = "_".join([held, *(f"{ord(sign):x}" for sign in lost)])
        name = name if _NAME.match(name) else f"_{name}_"
        # Its own upper case would make a name in quotes a word of the language.
        self.found.tokens.append(Token("word", name, f'"{name}"', at, at + len(quoted)))

    def _note_names(self, at: int) -> None:
        if not self.found.marked:
            self.found.marked = (at,)

    def _wrapping(self, at: int) -> int:
        """End of a line such as ``@…`` or ``=====`` that begins here; 0 where it is none."""
        pattern = _LINE if self.text[at] == "@" else _RULE
        line = pattern.match(self.text, at)
        if line is None:
            return 0
        self.found.wrappings.append((at, line[0].strip()))
        return line.end()

    def _literal(self, at: int, prefix: str) -> int:
        """Note a literal with its type's name; `prefix` ends in ``#``."""
        name = prefix[:-1].upper()
        behind = at + len(prefix)
        kind, pattern = "typed", _VALUE
        if name in DURATION_PREFIXES:
            kind, pattern = "duration", _DURATION
        elif name in DATE_KINDS:
            kind, pattern = "date", _DATE
        elif name in _STRING_PREFIXES:
            kind, pattern = "string", _STRING
        value = pattern.match(self.text, behind)
        if value is None and kind != "typed":
            # An enumeration may be called T as well.
            kind, value = "typed", _VALUE.match(self.text, behind)
        if value is None:
            self.found.tokens.append(Token("word", prefix[:-1], name, at, behind - 1))
            self.found.tokens.append(Token("sign", "#", "#", behind - 1, behind))
            return behind
        end = value.end()
        self.found.tokens.append(Token(kind, self.text[at:end], "", at, end))
        return end

    def _comment(self, at: int, opening: str) -> int:
        depth = 0
        for mark in _MARKS[opening].finditer(self.text, at):
            if mark[0] != opening:
                depth -= 1
            elif self.found.nests or depth == 0:
                depth += 1
            if depth == 0:
                return self._description(at, mark.end())
        self.found.unclosed = (at, "comment")
        return len(self.text)

    def _description(self, at: int, end: int) -> int:
        """End of the comment, or of the prose that some exports put between two of them."""
        if not _DESCRIPTION.match(self.text, at, end):
            return end
        # Where one search found nothing, no later one does.
        closing = _END_OF_DESCRIPTION.search(self.text, end) if self.may_describe else None
        self.may_describe = closing is not None
        return closing.start() if closing else end

    def _pragma(self, at: int) -> int:
        end = self.text.find("}", at) + 1
        if not end:
            self.found.unclosed = (at, "pragma")
            return len(self.text)
        self.found.pragmas.append((at, self.text[at:end]))
        return end


def _around_fences(text: str) -> dict[int, int]:
    """What stands outside the fenced parts of a text that describes its program: start to end.

    Where what stands outside could be a program, nothing is.
    """
    fences = list(_FENCE.finditer(text))
    if not fences or len(fences) % 2:
        return {}
    starts = [0, *(fence.start(1) for fence in fences[1::2])]
    ends = [*(fence.end() for fence in fences[::2]), len(text)]
    outside = dict(zip(starts, ends, strict=True))
    is_prose = not any(
        sign in text[at:end] for at, end in outside.items() for sign in (":=", "END_")
    )
    return outside if is_prose else {}
