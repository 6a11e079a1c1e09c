"""What to say of a text that does not parse, and how to read on behind the mistake."""

from __future__ import annotations

import re
from dataclasses import dataclass

from interlock.st.words import FOREIGN_SIGNS, KEYWORDS, UNSUPPORTED

_SCAN = re.compile(
    r"(?P<comment>\(\*[\s\S]*?\*\)|/\*[\s\S]*?\*/|//[^\n]*)"
    r"|(?P<open>\(\*|/\*)"
    r"|(?P<word>[A-Za-z_]\w*)"
    r"|(?P<sign>:=|=>|<>|<=|>=|\.\.|\d[\w.]*|[^\s])"
)
_REAL = re.compile(r"\d[\d_]*\.\d")

_EXPRESSION_STARTS = frozenset(
    ["IDENT", "NUMBER", "TYPED", "DURATION", "TRUE", "FALSE", "NOT", "MINUS", "PLUS", "LPAR"]
)
_OPERATORS = frozenset(
    [
        "OR",
        "XOR",
        "AND",
        "EQ",
        "NE",
        "LT",
        "GT",
        "LE",
        "GE",
        "PLUS",
        "MINUS",
        "STAR",
        "SLASH",
        "MOD",
    ]
)
_STATEMENT_STARTS = frozenset(["IDENT", "IF", "CASE", "SEMI"])
_SIGNS = {
    "ASSIGN": "':='",
    "ARROW": "'=>'",
    "COLON": "':'",
    "SEMI": "';'",
    "COMMA": "','",
    "DOTDOT": "'..'",
    "DOT": "'.'",
    "LPAR": "'('",
    "RPAR": "')'",
    "IDENT": "a name",
    "$END": "the end",
}
_LOOPS = {"FOR": "END_FOR", "WHILE": "END_WHILE", "REPEAT": "END_REPEAT"}
_WORD_OPERATORS = frozenset(("OR", "XOR", "AND", "NOT", "MOD", "TRUE", "FALSE"))
_STRUCTURE = KEYWORDS - _WORD_OPERATORS
_DECLARING = frozenset(("VAR", "VAR_INPUT", "VAR_OUTPUT", "RETAIN"))
_BODY_STARTS = frozenset(("THEN", "ELSE", "END_VAR", "END_TYPE"))


@dataclass(frozen=True)
class _Item:
    text: str
    start: int
    end: int
    is_word: bool


def find_unclosed(text: str) -> int | None:
    """Offset of a comment that is never closed, or None."""
    for match in _SCAN.finditer(text):
        if match.lastgroup == "open":
            return match.start()
    return None


def _items(text: str) -> list[_Item]:
    return [
        _Item(m[0].upper(), m.start(), m.end(), m.lastgroup == "word")
        for m in _SCAN.finditer(text)
        if m.lastgroup != "comment"
    ]


def explain_unexpected(
    text: str, offset: int, accepted: frozenset[str], what: str
) -> tuple[int, str]:
    """Where to point and what to say for what was not expected at `offset`.

    Parameters
    ----------
    text : str
    offset : int
        Of the first character that does not fit; the length of `text` at its end.
    accepted : frozenset of str
        Terminals of the grammar that would have fitted.
    what : str
        What was being read, for the message.
    """
    expected = _expected(accepted)
    items = _items(text)
    found = next((item for item in items if item.start <= offset < item.end), None)
    before = [item for item in items if item.end <= offset]
    real = _real_around(text, offset)
    if real is not None:
        return real, "REAL numbers are not supported; supported numbers: integers"
    if found is None:
        at = before[-1].end if before else 0
        return at, f"unexpected end of the {what}; expected {expected}"
    special = _special(text, offset, found, accepted)
    if special:
        return offset, special
    if _ends_here(accepted) and before and "\n" in text[before[-1].end : offset]:
        return before[-1].end, f"expected {expected}"
    shown = text[offset : found.end][:40]
    return offset, f"unexpected '{shown}'; expected {expected}"


def _ends_here(accepted: frozenset[str]) -> bool:
    """Whether a semicolon would end something, rather than stand for an empty statement."""
    return "SEMI" in accepted and not accepted >= _STATEMENT_STARTS


def _real_around(text: str, offset: int) -> int | None:
    start = offset
    while start > 0 and (text[start - 1].isdigit() or text[start - 1] in "_."):
        start -= 1
    match = _REAL.match(text, start)
    return start if match and match.end() > offset else None


def _special(text: str, offset: int, found: _Item, accepted: frozenset[str]) -> str:
    for sign, says in FOREIGN_SIGNS:
        if text.startswith(sign, offset):
            return says
    word = found.text
    if found.is_word and word in UNSUPPORTED:
        return f"{word} is not supported; {UNSUPPORTED[word]}"
    if word == "=" and "ASSIGN" in accepted:
        return "'=' compares; use ':=' to assign"
    if word == ":=" and "EQ" in accepted:
        return "':=' assigns; use '=' to compare"
    if word == "PROGRAM" and "$END" in accepted:
        return "a file holds one PROGRAM only"
    names_only = "IDENT" in accepted and not accepted & {"NUMBER", "SEMI"}
    if found.is_word and names_only and word in _WORD_OPERATORS:
        return f"'{text[found.start : found.end]}' is a reserved word and cannot be a name"
    if not (found.is_word or text[offset].isascii()):
        return f"'{text[offset]}' is not a character of Structured Text"
    return ""


def _expected(accepted: frozenset[str]) -> str:
    names: list[str] = []
    left = set(accepted)
    if left >= _STATEMENT_STARTS:
        names.append("a statement")
        left -= _STATEMENT_STARTS | _EXPRESSION_STARTS
    elif "NUMBER" in left:
        names.append("an expression")
        left -= _EXPRESSION_STARTS
    operators = left & _OPERATORS
    left -= _OPERATORS
    if operators:
        left -= {"DOT", "LPAR"}
    names += [_SIGNS.get(name, name) for name in sorted(left, key=_order)]
    if operators:
        names.append("an operator")
    if not names:
        return "nothing more"
    return names[0] if len(names) == 1 else ", ".join(names[:-1]) + " or " + names[-1]


def _order(name: str) -> tuple[bool, str]:
    return (name not in ("SEMI", "RPAR"), name)


def mend(text: str, offset: int, accepted: frozenset[str]) -> str | None:
    """The text without the mistake at `offset`, every other character in its place.

    A missing semicolon is put where there was white space; else the statement or declaration
    around the mistake is blanked.

    Returns
    -------
    str or None
        None where the mistake touches the structure of the program, so that reading on could
        only find mistakes that follow from this one.
    """
    items = _items(text)
    at = next((n for n, item in enumerate(items) if item.start <= offset < item.end), None)
    if at is None:
        return None
    word = items[at].text if items[at].is_word else ""
    on_new_line = at > 0 and "\n" in text[items[at - 1].end : offset]
    begins = word in _STRUCTURE or (on_new_line and word not in UNSUPPORTED)
    missing = _ends_here(accepted) and bool(word) and begins
    gap = text[offset - 1 : offset]
    # A line's end must stay, or later places would shift.
    if missing and gap in (" ", "\t"):
        return text[: offset - 1] + ";" + text[offset:]
    if items[at].text in _LOOPS:
        end = _loop_end(items, at)
        return None if end is None else _blank(text, offset, end)
    structure = [i.text for i in items[:at] if i.is_word and i.text in _STRUCTURE]
    declaring = bool(structure) and structure[-1] in _DECLARING
    start = _stretch_start(items, at, declaring)
    allowed = frozenset(("OF",)) if declaring else frozenset[str]()
    if start is None:
        return None
    for item in items[at:]:
        if item.text == ";":
            return _blank(text, start, item.end)
        if item.is_word and item.text in _STRUCTURE - allowed:
            return None
    return None


def _stretch_start(items: list[_Item], at: int, declaring: bool) -> int | None:
    for item in reversed(items[:at]):
        if item.text == ";" or (declaring and item.text in _DECLARING):
            return item.end
        if item.text == ":" and not declaring:
            return item.end
        if item.is_word and item.text in _STRUCTURE:
            return item.end if item.text in _BODY_STARTS else None
    return None


def _loop_end(items: list[_Item], at: int) -> int | None:
    opens, closes = items[at].text, _LOOPS[items[at].text]
    depth = 0
    for n, item in enumerate(items[at:], at):
        depth += (item.text == opens) - (item.text == closes)
        if depth == 0:
            behind = items[n + 1] if n + 1 < len(items) else None
            return behind.end if behind and behind.text == ";" else item.end
    return None


def _blank(text: str, start: int, end: int) -> str:
    hidden = "".join("\n" if character == "\n" else " " for character in text[start:end])
    return text[:start] + hidden + text[end:]
