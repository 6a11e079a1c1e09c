"""Text to syntax tree.

A syntax mistake does not end the search: reading goes on behind the statement or declaration it
stands in, as long as that cannot make up a mistake that is not there.
"""

from __future__ import annotations

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
from interlock.st.parse_expressions import ExpressionParser
from interlock.st.parse_files import FileParser, program_of

__all__ = ["MAX_DEPTH", "locator", "parse_expression", "parse_file", "parse_program"]


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
    return FileParser(text, locator(text, file), "program", PurePath(file).stem).source_file()


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
    for at, _ in parser.lexed.pragmas:
        raise InputError([Mistake(where(at), "pragmas are not supported in an expression")])
    try:
        found = parser.expression()
        if parser.now.kind != "end":
            parser.fail("the end", "an operator")
    except (UnexpectedTokenError, EndOfReadingError):
        pass
    if parser.mistakes:
        raise InputError(parser.mistakes)
    return found
