"""The state diagram of what the program remembers from scan to scan."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from interlock.model.build import Built
from interlock.pictures.dot import identifier
from interlock.pictures.picture import Picture, assumption_notes
from interlock.pictures.shown.memory import Passage, Remembered
from interlock.pictures.style import (
    MANDATORY,
    code,
    draw_states,
    new_graph,
    stacked,
    wrapped_expression,
)

_WIDTH = 40
_MOST_LINES = 8


def draw_memory(built: Built, found: Sequence[Remembered]) -> Iterator[Picture]:
    """A picture of each block, or variable, that remembers something."""
    for one in found:
        yield _draw(built, one)


def _draw(built: Built, found: Remembered) -> Picture:
    title = f"What {found.name} remembers from scan to scan"
    notes = [
        "An arrow is a scan that changes it; a scan that changes nothing has none.",
        "if: exactly then. only if: never else, but then other scans are possible, too.",
        "Bold outline and the word 'start': the state at power-up. 'before': by the last scan.",
        "Only what is reachable in the model is drawn, and conditions are as short as that allows.",
        *assumption_notes(built.model),
    ]
    if not found.is_complete:
        notes.append("Incomplete: a limit cut the exploration short.")
    graph = new_graph("memory", title, notes, rankdir="TB", nodesep="0.6", ranksep="0.6")
    names = [identifier("state", str(number)) for number in range(len(found.states))]
    draw_states(graph, zip(names, map("\n".join, found.states), strict=True), initial=0)
    for passage in found.passages:
        source, target = names[passage.source], names[passage.target]
        graph.edge(source, target, stacked(_told(passage)), color=MANDATORY)
    name = "".join(c if c.isalnum() or c in "._-" else "-" for c in found.name)
    return Picture(f"memory-{name}", f"what {found.name} remembers", graph.text)


def _told(passage: Passage) -> Iterator[str]:
    word = "if" if passage.is_exact else "only if"
    lines: list[str] = []
    for term in passage.when:
        text = " AND ".join(term) or ("TRUE" if passage.is_exact else "more than is told decides")
        lines += wrapped_expression(f"or {word} {text}" if lines else f"{word} {text}", _WIDTH)
    yield from (code(line) for line in lines[:_MOST_LINES])
    if len(lines) > _MOST_LINES:
        yield code(f"... and {len(lines) - _MOST_LINES} lines more")
