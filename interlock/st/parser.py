"""Text to syntax tree. The only file that knows the parser generator.

A syntax mistake does not end the search: the statement or declaration it stands in is blanked and
the text is read again, as long as that cannot make up a mistake that is not there.
"""

from __future__ import annotations

import os
from bisect import bisect_right
from functools import cache
from pathlib import Path
from typing import TYPE_CHECKING

from interlock.base.errors import InputError, Mistake, Place
from interlock.st import syntax as sx
from interlock.st.mistakes import explain_unexpected, find_unclosed, mend
from interlock.st.tree import Builder, Locate, find_too_deep
from interlock.st.words import RESERVED

if TYPE_CHECKING:
    from lark import Lark, Token, Tree

_MAX_MISTAKES = 20


@cache
def _lark() -> Lark:
    from lark import Lark

    grammar = Path(__file__).with_name("grammar.lark").read_text("utf-8")
    reserved = "|".join(sorted(RESERVED, key=lambda word: (-len(word), word)))
    return Lark(
        grammar.replace("__RESERVED__", reserved),
        parser="lalr",
        lexer="contextual",
        start=["program", "expression"],
        maybe_placeholders=False,
        cache=_tables() or False,
    )


def _tables() -> str | None:
    """Where the parser's tables are kept between runs: making them takes a tenth of a second.

    The library notes its version and the grammar in the file and makes a stale or damaged one
    anew; without a folder to write to, it does without.
    """
    base = os.environ.get("XDG_CACHE_HOME") or "~/.cache"
    folder = Path(base).expanduser() / "interlock"
    try:
        folder.mkdir(mode=0o700, parents=True, exist_ok=True)
    except OSError:
        return None
    return str(folder / "structured-text.tables") if os.access(folder, os.W_OK) else None


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


def parse_program(text: str, file: str) -> sx.Program:
    """Read a file with enumerations and one program.

    Raises
    ------
    InputError
        With every syntax mistake that could be told apart.
    """
    locate = locator(text, file)
    tree = _parse(text, "program", locate)
    builder = Builder(locate)
    program = builder.program(tree)
    _raise(builder.mistakes)
    return program


def parse_expression(
    text: str,
    file: str = "expression",
    line: int = 1,
    column: int = 1,
    locate: Locate | None = None,
) -> sx.Expression:
    """Read one expression that stands somewhere in a file.

    Parameters
    ----------
    text : str
    file, line, column
        Where the text begins; used unless `locate` is given.
    locate : callable, optional
        Place of an offset of `text`.

    Raises
    ------
    InputError

    Examples
    --------
    >>> from interlock.st.write import write_expression
    >>> write_expression(parse_expression("not a and (b = 1)"))
    'NOT a AND b = 1'
    """
    where = locate or locator(text, file, line, column)
    tree = _parse(text, "expression", where)
    builder = Builder(where)
    expression = builder.expression(tree)
    _raise(builder.mistakes)
    return expression


def _raise(mistakes: list[Mistake]) -> None:
    if mistakes:
        raise InputError(mistakes)


def _parse(text: str, start: str, locate: Locate) -> Tree[Token]:
    unclosed = find_unclosed(text)
    if unclosed is not None:
        raise InputError([Mistake(locate(unclosed), "this comment is never closed")])
    mistakes: list[Mistake] = []
    rest: str | None = text
    last = -1
    while rest is not None and len(mistakes) < _MAX_MISTAKES:
        tree, offset, accepted = _attempt(rest, start)
        if tree is not None:
            _raise(mistakes)
            return _shallow(tree, locate)
        # What was found before is not found again: the text before it is blank or right.
        if offset <= last:
            break
        last = offset
        at, says = explain_unexpected(rest, offset, accepted, start)
        mistakes.append(Mistake(locate(at), says))
        rest = mend(rest, offset, accepted) if start == "program" else None
    raise InputError(mistakes)


def _shallow(tree: Tree[Token], locate: Locate) -> Tree[Token]:
    deep = find_too_deep(tree)
    if deep is not None:
        raise InputError([Mistake(locate(deep), "nested too deeply; divide it into parts")])
    return tree


def _attempt(text: str, start: str) -> tuple[Tree[Token] | None, int, frozenset[str]]:
    """The tree, or the offset of what was not expected and the terminals that were."""
    from lark.exceptions import UnexpectedCharacters, UnexpectedToken

    try:
        return _lark().parse(text, start=start), 0, frozenset()
    except UnexpectedToken as error:
        at_end = error.token.type == "$END"
        offset = len(text) if at_end else error.token.start_pos or 0
        return None, offset, frozenset(error.accepts or error.expected)
    except UnexpectedCharacters as error:
        return None, error.pos_in_stream or 0, frozenset(error.allowed or ())
