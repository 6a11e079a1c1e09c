"""What a text says in comments, and about what: for those who write a program in another form."""

from __future__ import annotations

import re
from bisect import bisect_right
from collections.abc import Iterable, Iterator
from dataclasses import dataclass, field

from interlock.base.errors import Place
from interlock.st import syntax as sx
from interlock.st.tokens import Token, tokenize

_FRAME = re.compile(r"^[ \t]*[*=\-#~]*[ \t]?|[ \t]*[*=\-#~]*$")


@dataclass
class Source:
    """A text of the project with its comments, each belonging to what it stands beside.

    A comment behind something in its line belongs to that; one that stands alone in its line to
    what comes next.

    Parameters
    ----------
    text : str
    file : syntax.SourceFile
        What was read from it.
    """

    text: str
    file: sx.SourceFile
    _said: dict[tuple[int, int], list[str]] = field(default_factory=dict)
    _last: list[str] = field(default_factory=list)

    def __post_init__(self) -> None:
        found = tokenize(self.text)
        self._lines = [0, *(m.end() for m in re.finditer("\n", self.text))]
        self._tokens: list[Token] = found.tokens
        self._starts = [token.start for token in found.tokens]
        things = sorted({self.offset(place): place for place in _places(self.file)}.items())
        starts = [start for start, _ in things]
        for begin, end in found.comments:
            text = _plain(self.text[begin:end])
            before = self.text[self._lines[self._line_of(begin)] : begin]
            at = bisect_right(starts, begin)
            if before.strip() and at:
                at -= 1
            if at == len(things):
                self._last.append(text)
                continue
            place = things[at][1]
            self._said.setdefault((place.line, place.column), []).append(text)

    def _line_of(self, offset: int) -> int:
        return bisect_right(self._lines, offset) - 1

    def offset(self, place: Place) -> int:
        """The offset of a place of this text."""
        line = min(place.line, len(self._lines)) - 1
        return self._lines[line] + place.column - 1

    def about(self, place: Place) -> list[str]:
        """The comments that belong to what stands at `place`."""
        return self._said.get((place.line, place.column), [])

    @property
    def last(self) -> list[str]:
        """The comments behind everything."""
        return self._last

    def body(self, first: Place, ends: Iterable[str]) -> str:
        """The text from behind what comes before a statement up to a word that ends its body.

        Parameters
        ----------
        first : Place
            Of the first statement.
        ends : iterable of str
            Such words, in upper case.
        """
        words = frozenset(ends)
        at = bisect_right(self._starts, self.offset(first)) - 1
        begin = self._tokens[at - 1].end if at > 0 else 0
        while at < len(self._tokens) - 1 and self._tokens[at].upper not in words:
            at += 1
        return self.text[begin : self._tokens[at].start]


def _plain(comment: str) -> str:
    """The words of a comment, without its signs and frames."""
    inner = comment[2:] if comment.startswith("//") else comment[2:-2]
    lines = [_FRAME.sub("", line) for line in inner.splitlines()]
    return "\n".join(line.strip() for line in lines if line.strip())


def _places(file: sx.SourceFile) -> Iterator[Place]:
    """The places of all that a comment may be about."""
    for t in file.types:
        yield t.place
        yield from (name.place for d in t.type.fields for name in d.names)
    for unit in file.units:
        yield from _of_unit(unit)
    yield from (name.place for d in file.globals for name in d.names)
    yield from (task.place for task in file.tasks)
    yield from (instance.place for instance in file.instances)


def _of_unit(unit: sx.Unit) -> Iterator[Place]:
    yield unit.place
    yield from (name.place for d in unit.declarations for name in d.names)
    yield from (s.place for s in statements_in(unit.body))
    for action in unit.actions:
        yield action.place
        yield from (s.place for s in statements_in(action.body))
    for method in unit.methods:
        yield from _of_unit(method)
    if unit.chart is not None:
        yield from (step.place for step in unit.chart.steps)
        yield from (transition.place for transition in unit.chart.transitions)


def statements_in(body: Iterable[sx.Statement]) -> Iterator[sx.Statement]:
    """All statements of a body, with those that stand in others."""
    for s in body:
        yield s
        match s:
            case sx.If() | sx.Case():
                for branch in s.branches:
                    yield from statements_in(branch.body)
                yield from statements_in(s.otherwise)
            case sx.For() | sx.While() | sx.Repeat():
                yield from statements_in(s.body)
            case _:
                pass
