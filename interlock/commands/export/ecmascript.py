"""Guards of a chart, in ECMAScript, as Structured Text."""

from __future__ import annotations

import re
from collections.abc import Mapping

from interlock.base.errors import InputError, Place, nearest
from interlock.model.names import is_reserved
from interlock.st.parser import parse_expression
from interlock.st.write import write_expression

_TOKEN = re.compile(
    r"\s*(?:(?P<in>In\(\s*['\"](?P<state>[\w.\-]+)['\"]\s*\))|(?P<word>[A-Za-z_][A-Za-z0-9_]*)"
    r"|(?P<number>\d+)|(?P<sign>&&|\|\||===|!==|==|!=|<=|>=|\+\+|--|[!()<>+\-*%]))"
)
_SIGNS = {"&&": "AND", "||": "OR", "!": "NOT", "==": "=", "===": "=", "!=": "<>", "!==": "<>"}
_SIGNS |= {"%": "MOD"}
_WORDS = {"true": "TRUE", "false": "FALSE"}


class NoGuardError(Exception):
    """A guard that no model can say as it is meant; the text says why."""


class GuardReader:
    """Reads the guards of one chart.

    Parameters
    ----------
    asked : mapping of str to str
        What ``In()`` asks, as Structured Text, by the id of a state.
    """

    def __init__(self, asked: Mapping[str, str]) -> None:
        self._asked = asked
        # Structured Text does not tell names apart by case alone.
        self._written: dict[str, str] = {}

    def read(self, cond: str, place: Place) -> str:
        """A guard as Structured Text: the signs that both languages have, and ``In()``.

        Raises
        ------
        NoGuardError
        """
        at, parts = 0, []
        while at < len(cond.rstrip()):
            found = _TOKEN.match(cond, at)
            if found is None:
                raise NoGuardError(f"cannot be read from '{cond[at : at + 20].strip()}' on")
            at = found.end()
            parts.append(self._part(found, cond[at:].lstrip()[:1]))
        try:
            tree = parse_expression(" ".join(parts), locate=lambda _offset: place)
        except InputError:
            said = f"'{cond}' is no expression over In(), names and && || !"
            raise NoGuardError(said) from None
        return write_expression(tree)

    def _part(self, found: re.Match[str], follows: str) -> str:
        if found["in"]:
            if found["state"] not in self._asked:
                near = nearest(found["state"], list(self._asked))
                raise NoGuardError(f"In: '{found['state']}' is no state{near}")
            return self._asked[found["state"]]
        if found["word"]:
            return self._word(found["word"], follows)
        number = found["number"]
        if number and number != "0" and number.startswith("0"):
            raise NoGuardError(f"'{number}' is a number to the base of eight")
        if found["sign"] in ("++", "--"):
            raise NoGuardError(f"'{found['sign']}' changes what it asks")
        return number or _SIGNS.get(found["sign"], found["sign"])

    def _word(self, word: str, follows: str) -> str:
        if word in _WORDS:
            return _WORDS[word]
        if follows == "(":
            raise NoGuardError(f"'{word}' is a function, and only In() can be asked")
        if is_reserved(word):
            raise NoGuardError(f"'{word}' means something else in Structured Text")
        known = self._written.setdefault(word.casefold(), word)
        if known != word:
            raise NoGuardError(f"'{word}' and '{known}' would be one name in Structured Text")
        return word
