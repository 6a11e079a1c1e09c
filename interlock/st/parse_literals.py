"""Literals: what a token says, as a node of the syntax tree."""

from __future__ import annotations

import re
from collections.abc import Callable

from interlock.base.errors import Place
from interlock.st import syntax as sx
from interlock.st.tokens import DATE_KINDS, Token
from interlock.st.words import INTEGER_TYPES

_DECIMAL = re.compile(r"\d+(_\d+)*", re.ASCII)
_TIME_WITHOUT_PREFIX = re.compile(r"\d[\d_]*(?:ms|s|m|h|d)", re.IGNORECASE)
_BASED = re.compile(r"(2|8|16)#([0-9A-Fa-f]+(?:_[0-9A-Fa-f]+)*)")
_REAL = re.compile(r"\d+(?:_\d+)*(?:\.\d+(?:_\d+)*)?(?:[eE][+-]?\d+)?", re.ASCII)
_PART = re.compile(r"(\d+)(?:\.(\d+))?(ms|us|ns|[dhms])", re.ASCII)
_UNITS_NS = {
    "d": 86_400_000_000_000,
    "h": 3_600_000_000_000,
    "m": 60_000_000_000,
    "s": 1_000_000_000,
    "ms": 1_000_000,
    "us": 1000,
    "ns": 1,
}
_LONGEST = 100
_SHOWN = 40

Refuse = Callable[[Token, str], None]


def literal(token: Token, place: Place, refuse: Refuse) -> sx.Expression:
    """The literal that `token` is; mistakes in it go to `refuse`."""
    match token.kind:
        case "number":
            if _is_real(token.text):
                return sx.Real(token.text.replace("_", ""), place)
            return sx.Number(_integer(token, token.text, refuse), place)
        case "duration":
            prefix = token.text.partition("#")[0].upper()
            long = "LTIME" if prefix.startswith("L") else ""
            return sx.Duration(_duration(token, refuse), place, long)
        case "date":
            prefix = token.text.partition("#")[0].upper()
            return sx.Opaque(token.text, DATE_KINDS[prefix], place)
        case "string":
            wide = '"' in token.text[:1] or token.text[:1] in "wW"
            return sx.Opaque(token.text, "WSTRING" if wide else "STRING", place)
        case _:
            return _typed(token, place, refuse)


def _is_real(text: str) -> bool:
    return _REAL.fullmatch(text) is not None and any(sign in text for sign in ".eE")


def _typed(token: Token, place: Place, refuse: Refuse) -> sx.Expression:
    prefix, _, rest = token.text.partition("#")
    rest = rest.strip()
    kind = prefix.upper()
    if kind == "BOOL" and rest.upper() in ("0", "1", "TRUE", "FALSE"):
        return sx.Truth(rest.upper() in ("1", "TRUE"), place)
    if not (rest[0].isdigit() or rest[0] in "+-"):
        return sx.Qualified(prefix, rest, place)
    digits = rest.lstrip("+-")
    sign = "-" if rest[0] == "-" else ""
    if kind in ("REAL", "LREAL") and _REAL.fullmatch(digits) and len(digits) < _LONGEST:
        return sx.Real(sign + digits.replace("_", ""), place, kind)
    if kind not in INTEGER_TYPES:
        known = "INT#, WORD# and those of the other integers and bit strings, REAL#, LREAL#, BOOL#"
        refuse(token, f"'{token.text[:_SHOWN]}' is not supported; supported prefixes: {known}")
        return sx.Number(0, place)
    value = _integer(token, digits, refuse)
    return sx.Number(-value if sign else value, place, kind)


def _integer(token: Token, text: str, refuse: Refuse) -> int:
    if _DECIMAL.fullmatch(text) and len(text) < _LONGEST:
        return int(text.replace("_", ""))
    based = _BASED.fullmatch(text)
    if based and len(text) < _LONGEST:
        try:
            return int(based[2].replace("_", ""), int(based[1]))
        except ValueError:
            pass  # a digit that the base does not have
    if _TIME_WITHOUT_PREFIX.fullmatch(text):
        refuse(
            token, f"'{text[:_SHOWN]}' is no duration without its prefix; write T#{text[:_SHOWN]}"
        )
        return 0
    refuse(token, f"'{text[:_SHOWN]}' is not an integer; write 10, 1_000, 2#1010 or 16#FF")
    return 0


def _duration(token: Token, refuse: Refuse) -> int:
    text = token.text.partition("#")[2].replace("_", "").strip().lower()
    sign = -1 if text[0] == "-" else 1
    text = text.lstrip("+-")
    advice = "write a TIME such as T#5s, T#1m30s or T#250ms, in whole milliseconds"
    parts = list(_PART.finditer(text)) if len(text) < _LONGEST else []
    sizes = [_UNITS_NS[part[3]] for part in parts]
    whole = "".join(part[0] for part in parts) == text
    ordered = sizes == sorted(set(sizes), reverse=True)
    if not (parts and whole and ordered and all(part[2] is None for part in parts[:-1])):
        refuse(token, f"'{token.text[:_SHOWN]}' is not a duration; {advice}")
        return 0
    fraction = parts[-1][2] or "0"
    scale: int = 10 ** len(fraction)
    total = sum(int(part[1]) * size for part, size in zip(parts, sizes, strict=True)) * scale
    ms, rest = divmod(total + int(fraction) * sizes[-1], scale * _UNITS_NS["ms"])
    if rest:
        refuse(token, f"'{token.text[:_SHOWN]}' is no whole number of milliseconds; {advice}")
    return sign * ms
