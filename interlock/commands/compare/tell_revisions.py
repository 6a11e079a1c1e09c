"""Several revisions of one model, side by side: for the terminal, as JSON and as a document."""

from __future__ import annotations

import json
from collections.abc import Iterator, Sequence
from typing import Any

from rich.console import Console, Group, RenderableType
from rich.table import Table
from rich.text import Text

from interlock import __version__
from interlock.commands.compare.document import Block, Heading, Items, Paragraph, table
from interlock.commands.compare.revisions import Revision, outcome_of
from interlock.commands.compare.tell import STYLE
from interlock.commands.compare.tell_impact import CAUTION, SCOPE
from interlock.model.model import Model

_HEADINGS = (
    "",
    "revision",
    "requirements",
    "outputs that differ",
    "moves otherwise",
    "to validate again",
    "steps",
)


# So many moves are named in a row; the statement of the revision has them all.
_MOST_MOVES = 2


def folder_name(place: int, revision: Revision) -> str:
    """Where the statement of a revision lies below the folder of all of them; unlike any other."""
    return f"{place + 1}-{revision.name}"


def write(console: Console, old: Model, revisions: Sequence[Revision]) -> None:
    """Print the revisions side by side."""
    console.print(Group(*_parts(old, revisions)))


def _parts(old: Model, revisions: Sequence[Revision]) -> Iterator[RenderableType]:
    yield Text(_title(old, revisions), style="bold")
    yield ""
    grid = Table(box=None, pad_edge=False, header_style="bold", padding=(0, 2, 0, 0))
    for heading in _HEADINGS:
        grid.add_column(heading)
    for row in _rows(revisions):
        grid.add_row(*map(Text, row))
    yield grid
    yield ""
    for number, one in enumerate(revisions, 1):
        yield Text(f"{number}  {one.title}: {one.conclusion}", style=STYLE[one.outcome])
    yield Text(CAUTION)
    yield ""
    yield Text("What was not looked at", style="bold")
    for sentence in _not_looked_at(revisions):
        yield Text(f"- {sentence}")


def _title(old: Model, revisions: Sequence[Revision]) -> str:
    return f"{old.title} → {len(revisions)} revisions, each by itself"


def _rows(revisions: Sequence[Revision]) -> Iterator[tuple[str, ...]]:
    for number, one in enumerate(revisions, 1):
        yield (
            str(number),
            one.name,
            "; ".join(f"{effect}: {', '.join(ids)}" for effect, ids in one.effects.items())
            or ("the same verdicts" if one.documents else "undecided"),
            _outputs(one),
            _moves(one),
            str(one.n_touched) if one.documents else "",
            str(one.n_steps) if one.documents else "",
        )


def _outputs(one: Revision) -> str:
    if one.outputs is None:
        return "not run in lockstep"
    undecided = [f"{one.n_outputs_open} undecided"] if one.n_outputs_open else []
    return ", ".join((*one.outputs, *undecided)) or "none"


def _moves(one: Revision) -> str:
    if one.moves_cut_short:
        return "undecided"
    n_more = len(one.moves) - _MOST_MOVES
    more = [f"{n_more} more"] if n_more > 0 else []
    return ", ".join((*one.moves[:_MOST_MOVES], *more)) or "none"


def _not_looked_at(revisions: Sequence[Revision]) -> Iterator[str]:
    """What holds of all of them first, and then of which the rest does."""
    of: dict[str, list[int]] = {}
    for number, one in enumerate(revisions, 1):
        for sentence in one.not_looked_at:
            of.setdefault(sentence, []).append(number)
    yield from (sentence for sentence, numbers in of.items() if len(numbers) == len(revisions))
    for sentence, numbers in of.items():
        if len(numbers) < len(revisions):
            yield f"{', '.join(map(str, numbers))}: {sentence}"


def to_json(old: Model, revisions: Sequence[Revision]) -> str:
    """Each comparison as JSON, in one document; wall times are left out."""
    data: dict[str, Any] = {
        "interlock": __version__,
        "outcome": outcome_of(revisions).value,
        "old": old.title,
        "revisions": [
            {
                "name": one.name,
                "title": one.title,
                "outcome": one.outcome.value,
                "conclusion": one.conclusion,
                "comparison": json.loads(one.documents["impact.json"]) if one.documents else None,
            }
            for one in revisions
        ],
    }
    return json.dumps(data, indent=2, ensure_ascii=False) + "\n"


def blocks(old: Model, revisions: Sequence[Revision]) -> list[Block]:
    """The revisions side by side as a document; the statement of each is one of its own."""
    return [
        Heading(1, f"Change impact: {_title(old, revisions)}"),
        Paragraph(SCOPE),
        table(_HEADINGS, _rows(revisions)),
        Items(tuple(f"{one.title}: {one.conclusion}" for one in revisions)),
        Heading(2, "What was not looked at"),
        Items(tuple(_not_looked_at(revisions))),
        Paragraph(f"Written by interlock {__version__}. {CAUTION}"),
    ]
