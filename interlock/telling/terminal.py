"""Terminals that show a mark for every character that is not seen."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any

from rich.console import Console, ConsoleOptions, RenderableType
from rich.segment import Segment
from rich.text import Text

from interlock.base.visible import made_visible


class Terminal(Console):
    """A console for texts of anybody: none turns a line round or hides a part of it."""

    def render_str(self, text: str, **options: Any) -> Text:
        """As the console does; marks take part in the layout."""
        return super().render_str(made_visible(text), **options)

    def render(
        self, renderable: RenderableType, options: ConsoleOptions | None = None
    ) -> Iterable[Segment]:
        """As the console does, with marks also in what is no plain text."""
        for segment in super().render(renderable, options):
            if segment.control or segment.text == "\n":
                yield segment
            else:
                yield Segment(made_visible(segment.text), segment.style)

    def on_broken_pipe(self) -> None:
        """Leave it to the command; rich would end with 1, which here is a violation."""
        raise BrokenPipeError
