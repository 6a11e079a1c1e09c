"""Bodies: as text, or drawn where that means the same."""

from __future__ import annotations

import re
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from typing import Any

from interlock.base.errors import InputError, Place
from interlock.exchange.known_types import KnownTypes, Scope
from interlock.exchange.units import variables_of
from interlock.exchange.writing.declared import Comments
from interlock.exchange.writing.diagram import Diagram
from interlock.exchange.writing.drawable import CannotDrawError, Known, leaves
from interlock.exchange.writing.ladder import Ladder
from interlock.exchange.writing.networks import Networks
from interlock.exchange.writing.pages import Page
from interlock.exchange.writing.tags import Tag, formatted, tag
from interlock.st import syntax as sx
from interlock.st.comments import statements_in
from interlock.st.parser import parse_statements
from interlock.st.write import write_statements

LANGUAGES: dict[str, type[Networks[Any]]] = {"ladder": Ladder, "blocks": Diagram}
"""In which language bodies are drawn, by what it is called here."""

_HAVE_ACTIONS = frozenset(("PROGRAM", "FUNCTION_BLOCK"))
# What ends a body in text: the end of its unit or of the text, or what stands behind it.
_ENDS = frozenset(
    (
        *("END_PROGRAM", "END_FUNCTION_BLOCK", "END_FUNCTION", "END_CLASS", "END_ACTION"),
        *("END_METHOD", "END_GET", "END_SET", "END_PROPERTY", "ACTION", "METHOD", "PROPERTY"),
        *("PROGRAM", "FUNCTION_BLOCK", "FUNCTION", "CLASS", "TYPE", "CONFIGURATION"),
        *("NAMESPACE", "END_NAMESPACE"),
    )
)
_WORD = re.compile(r"[^\W\d]\w*")
BodyText = Callable[[Place, Sequence[str]], str]


@dataclass
class Bodies:
    """Writes the bodies of one unit.

    Parameters
    ----------
    unit : syntax.Unit
    known : KnownTypes
    drawn : str
        ``ladder`` or ``blocks``; empty where bodies are text.
    comments : callable
    text_of : callable or None
        The text of a body as it was written, where there is one.

    Attributes
    ----------
    actions : list of (str, Tag)
        Actions that hold what has no drawing.
    told : list of (Place, str)
        What has none.
    lost : bool
        Whether comments in a text were not kept.
    """

    unit: sx.Unit
    known: KnownTypes
    drawn: str
    comments: Comments
    text_of: BodyText | None
    actions: list[Tag] = field(default_factory=list)
    told: list[tuple[Place, str]] = field(default_factory=list)
    lost: bool = False

    def body(self, statements: tuple[sx.Statement, ...]) -> Tag:
        """The element in which statements stand."""
        found = self._drawn(statements) if self.drawn and statements else None
        return tag("body", found or self._text(statements))

    # Text

    def _text(self, statements: tuple[sx.Statement, ...]) -> Tag:
        text = "\n".join(write_statements(statements))
        if statements and self.text_of is not None:
            original = self.text_of(statements[0].place, sorted(_ENDS))
            if _reads_as(original, statements):
                return tag("ST", formatted(_without_margin(original)))
        said = any(self.comments(s.place) for s in statements_in(statements))
        self.lost = self.lost or said
        return tag("ST", formatted(text))

    # Drawn

    def _drawn(self, statements: tuple[sx.Statement, ...]) -> Tag | None:
        scope = Scope(self.known, variables_of(self.unit, self.known))
        names = frozenset(action.name.casefold() for action in self.unit.actions)
        networks = LANGUAGES[self.drawn](Known(scope, self.unit.declarations, names))
        page = Page(networks.language)
        waiting: list[sx.Statement] = []
        n_drawn, n_actions, n_told = 0, len(self.actions), len(self.told)
        for s in statements:
            try:
                roots = networks.draw(s)
            except CannotDrawError as error:
                self.told.append((error.place, f"{error.says} has no drawing and is text"))
                if self._stays(s) or self.unit.kind not in _HAVE_ACTIONS:
                    self._undone(n_actions, n_told, error)
                    return None
                waiting.append(s)
                continue
            self._flush(waiting, page, networks)
            try:
                page.add(roots, self._said(s))
            except ValueError as error:
                self.told.append((s.place, f"a network of {error} is not drawn and is text"))
                waiting.append(s)
                continue
            n_drawn += 1
        if n_drawn == 0:
            del self.actions[n_actions:], self.told[n_told:]
            return None
        self._flush(waiting, page, networks)
        return page.body()

    def _stays(self, s: sx.Statement) -> bool:
        """Whether a statement would do something else in an action, or could not stand there."""
        # What a call is given, and what it forgets, only the body itself knows.
        own = {
            name.text.casefold()
            for d in self.unit.declarations
            if d.kind in ("VAR_IN_OUT", "VAR_TEMP")
            for name in d.names
        }
        words = set(_WORD.findall("\n".join(write_statements([s])).casefold()))
        return leaves([s]) or "super" in words or bool(own & words)

    def _undone(self, n_actions: int, n_told: int, error: CannotDrawError) -> None:
        """Leave the whole body as text, and say why."""
        del self.actions[n_actions:], self.told[n_told:]
        says = f"{error.says} has no drawing, so all of {self.unit.name} is text"
        self.told.append((error.place, says))

    def _flush(self, waiting: list[sx.Statement], page: Page, networks: Networks[Any]) -> None:
        """Write what waits into an action, and draw its call."""
        statements = tuple(waiting)
        waiting.clear()
        if all(isinstance(s, sx.Empty) for s in statements):
            return
        name = self._free_name()
        inner = "\n".join(write_statements(statements))
        self.actions.append(tag("action", tag("body", tag("ST", formatted(inner))), name=name))
        networks.known = Known(
            networks.known.scope,
            networks.known.declarations,
            networks.known.actions | {name.casefold()},
        )
        place = statements[0].place
        called = sx.Invoke(sx.Name(name, place), (), (), place, None, True)
        said = [text for s in statements for text in self._said(s)]
        page.add(networks.draw(called), said)

    def _said(self, s: sx.Statement) -> list[str]:
        return [text for inner in statements_in([s]) for text in self.comments(inner.place)]

    def _free_name(self) -> str:
        taken = set(variables_of(self.unit, self.known)) | set(self.known.units)
        taken |= set(self.known.globals) | {a.name.casefold() for a in self.unit.actions}
        taken |= {method.name.casefold() for method in self.unit.methods}
        if self.unit.chart is not None:
            taken |= {step.name.casefold() for step in self.unit.chart.steps}
        number = len(self.actions) + 1
        while f"text_{number}" in taken:
            number += 1
        return f"Text_{number}"


def _reads_as(text: str, statements: tuple[sx.Statement, ...]) -> bool:
    try:
        found, _ = parse_statements(text, lambda _: Place("", 1, 1))
    except InputError:
        return False
    return found == statements


def _without_margin(text: str) -> str:
    """A body without empty lines around it; its own lines as they are."""
    lines = text.rstrip().split("\n")
    while lines and not lines[0].strip():
        del lines[0]
    return "\n".join(lines)
