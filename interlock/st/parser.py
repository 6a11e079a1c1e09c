"""Text to syntax tree.

A syntax mistake does not end the search: reading goes on behind the statement or declaration it
stands in, as long as that cannot make up a mistake that is not there.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from pathlib import PurePath

from interlock.base.errors import InputError, Mistake
from interlock.st import syntax as sx
from interlock.st.cursor import (
    MAX_DEPTH,
    EndOfReadingError,
    Locate,
    UnexpectedTokenError,
    locator,
)
from interlock.st.markup import is_marked_up, without_markup
from interlock.st.parse_expressions import ExpressionParser
from interlock.st.parse_files import FileParser, program_of

__all__ = [
    "MAX_DEPTH",
    "locator",
    "parse_expression",
    "parse_file",
    "parse_program",
    "parse_statements",
    "parse_units",
    "parse_value",
]


def parse_file(text: str, file: str) -> sx.SourceFile:
    """Read one file of a project, with whatever units it holds.

    Parameters
    ----------
    text : str
    file : str
        Its name, for places; a program without a head is called after it.

    Raises
    ------
    InputError
        With every syntax mistake that could be told apart.

    Examples
    --------
    >>> source = parse_file("FUNCTION_BLOCK Lamp VAR_INPUT on : BOOL; END_VAR", "lamp.st")
    >>> source.units[0].name, source.notes[0].says
    ('Lamp', 'END_FUNCTION_BLOCK of Lamp is missing; the end was taken to be where it fits')
    """
    name = PurePath(file).stem
    if not is_marked_up(text):
        return FileParser(text, locator(text, file), "program", name).source_file()
    inside = without_markup(text, locator(text, file))
    locate = locator(inside, file)
    found = FileParser(inside, locate, "program", name).source_file()
    note = sx.Note(locate(0), "the markup round the program was read over")
    return replace(found, notes=(note, *found.notes))


def parse_units(text: str, locate: Locate, name: str) -> sx.SourceFile:
    """Read units that stand somewhere in another file.

    Parameters
    ----------
    text : str
    locate : callable
        Place of an offset of `text`.
    name : str
        What a program without a head is called.

    Raises
    ------
    InputError
        With every syntax mistake that could be told apart.
    """
    return FileParser(text, locate, "program", name).source_file()


def parse_statements(
    text: str, locate: Locate
) -> tuple[tuple[sx.Statement, ...], tuple[sx.Note, ...]]:
    """Read statements that stand by themselves, and what was read over in them.

    Raises
    ------
    InputError
        With every syntax mistake that could be told apart.
    """
    parser = FileParser(text, locate, "body", "body")
    found = parser.statements()
    return found, tuple(parser.notes)


def parse_program(text: str, file: str) -> sx.Program:
    """Read a file with types and one program, and nothing else.

    Raises
    ------
    InputError
        With every syntax mistake that could be told apart.
    """
    return program_of(parse_file(text, file), locator(text, file)(len(text.rstrip())))


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
    parser = ExpressionParser(text, where, "expression")
    return _whole(parser, parser.expression)


def parse_value(text: str, locate: Locate) -> sx.Expression:
    """Read an initial value, which may be that of an array or a structure.

    Raises
    ------
    InputError
    """
    parser = ExpressionParser(text, locate, "value")
    return _whole(parser, parser.initial_value)


def _whole(parser: ExpressionParser, read: Callable[[], sx.Expression]) -> sx.Expression:
    """What `read` reads, where nothing is left behind it."""
    for at, _ in parser.lexed.pragmas:
        says = "pragmas are not supported in an expression"
        raise InputError([Mistake(parser.locate(at), says)])
    try:
        found = read()
        if parser.now.kind != "end":
            parser.fail("the end", "an operator")
    except (UnexpectedTokenError, EndOfReadingError):
        pass
    if parser.mistakes:
        raise InputError(parser.mistakes)
    return found
