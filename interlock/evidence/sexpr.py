"""A small reader of the expressions that SMT-LIB 2.6 is made of; every item has its place."""

from __future__ import annotations

import re

# A carriage return ends a comment for one reader and not for the next, a NUL the whole text.
_ENDS_A_COMMENT = re.compile(r"[\r\x00]")
_TOKEN = re.compile(
    r"(?P<skip>(?:[ \t\r\n]+|;[^\n\r\x00]*+(?:\n|\Z))+)|(?P<bracket>[()])"
    r"|(?P<word>\|[^|\\]*\||\"[^\"]*\"|[A-Za-z0-9~!@$%^&*_+=<>.?/#:-]+)"
)

Item = tuple[int, "str | list[Item]"]
"""Where it starts in the text, counted from 0, and a word or a list of items."""


class SexprError(Exception):
    """A text is not what it should be.

    Attributes
    ----------
    start : int
        Index of the character where it is not.
    says : str
    """

    def __init__(self, start: int, says: str) -> None:
        super().__init__(says)
        self.start = start
        self.says = says


def read_all(text: str) -> list[Item]:
    """Every item of `text`, in order; nested as deeply as it likes.

    Raises
    ------
    SexprError
        Where a bracket lacks its other one or a character has no meaning.

    Examples
    --------
    >>> read_all("(not |a|)")
    [(0, [(1, 'not'), (5, '|a|')])]
    """
    top: list[Item] = []
    stack: list[tuple[int, list[Item]]] = []
    here = top
    index = 0
    while index < len(text):
        match = _TOKEN.match(text, index)
        if match is None:
            raise _without_meaning(text, index)
        token = match.group()
        if match.lastgroup == "word":
            here.append((index, token))
        elif token == "(":
            new: list[Item] = []
            here.append((index, new))
            stack.append((index, here))
            here = new
        elif token == ")":
            if not stack:
                raise SexprError(index, "this bracket closes nothing")
            here = stack.pop()[1]
        index = match.end()
    if stack:
        raise SexprError(stack[-1][0], "this bracket is never closed")
    return top


def _without_meaning(text: str, start: int) -> SexprError:
    ending = _ENDS_A_COMMENT.search(text, start) if text[start] == ";" else None
    if ending is not None:
        said = f"the character {ending.group()!r} has no meaning in a comment"
        return SexprError(ending.start(), said)
    return SexprError(start, f"the character {text[start]!r} has no meaning here")


def plain(item: Item) -> str:
    """An item as one text with single spaces, for comparison.

    >>> plain(read_all("( _  BitVec 2)")[0])
    '(_ BitVec 2)'
    """
    words: list[str] = []
    todo: list[Item | str] = [item]
    while todo:
        now = todo.pop()
        if isinstance(now, str):
            words.append(now)
        elif isinstance(now[1], str):
            words.append(now[1])
        else:
            words.append("(")
            todo.append(")")
            todo.extend(reversed(now[1]))
    return " ".join(words).replace("( ", "(").replace(" )", ")")
