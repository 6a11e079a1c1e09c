"""Program text that an environment keeps inside XML, in sections of characters (CDATA).

The text in the sections is the program; of the markup between them only what names a part of a
unit means anything, since that stands nowhere else.
"""

from __future__ import annotations

import re

from interlock.base.errors import InputError, Mistake
from interlock.st.cursor import Locate

_OPENS, _CLOSES = "<![CDATA[", "]]>"
_TAG = re.compile(r"<(/?)([A-Za-z][\w.:-]*)((?:\s+[\w.:-]+\s*=\s*(?:\"[^\"]*\"|'[^']*'))*)\s*(/?)>")
_NAME = re.compile(r"\sName\s*=\s*[\"']([^\"']*)[\"']")
_BODY = "implementation"
# What a body may be in, beside the text itself.
_IN_TEXT = ("st", _BODY)


def is_marked_up(text: str) -> bool:
    """Whether a text is XML with sections of characters, and no text of a program itself."""
    return text.lstrip("\ufeff \t\r\n").startswith("<") and _OPENS in text


def without_markup(text: str, locate: Locate) -> str:
    """The program in the sections of `text`, each character where it stood.

    Raises
    ------
    InputError
        Where a body is in another language, or a section never ends.

    Examples
    --------
    >>> from interlock.st.cursor import locator
    >>> text = "<POU><Declaration><![CDATA[VAR q : BOOL; END_VAR]]></Declaration></POU>"
    >>> without_markup(text, locator(text, "q.xml")).strip()
    'VAR q : BOOL; END_VAR'
    """
    found: list[str] = []
    at = 0
    while (start := text.find(_OPENS, at)) >= 0:
        end = text.find(_CLOSES, start)
        if end < 0:
            says = f"'{_OPENS}' is never closed; expected '{_CLOSES}'"
            raise InputError([Mistake(locate(start), says)])
        inside = start + len(_OPENS)
        found += [_meaning(text, at, start, locate), " " * len(_OPENS), text[inside:end]]
        found.append(" " * len(_CLOSES))
        at = end + len(_CLOSES)
    found.append(_meaning(text, at, len(text), locate))
    return "".join(found)


def _meaning(text: str, start: int, end: int, locate: Locate) -> str:
    """What a run of markup says, where its tags stand; all else of it is white."""
    found = [" " if letter != "\n" else letter for letter in text[start:end]]
    is_body = False
    for tag in _TAG.finditer(text, start, end):
        closes, name, attributes, empty = tag.groups()
        kind = name.rpartition(":")[2].casefold()
        if is_body and not closes and kind not in _IN_TEXT:
            says = f"a body in {name} is not supported; supported: Structured Text (ST)"
            raise InputError([Mistake(locate(tag.start()), says)])
        is_body = not closes and (is_body or (kind == _BODY and not empty))
        called = _NAME.search(attributes)
        says = ""
        if kind == "action" and not closes and called is not None:
            says = f"ACTION {called[1]}:"
        elif kind in ("get", "set") and not closes and not empty:
            says = kind.upper()
        # A tag is longer than what it says, and ends of parts may be missing.
        found[tag.start() - start : tag.start() - start + len(says)] = says
    return "".join(found)
