"""The cause-and-effect matrix of a program, as a picture and as a CSV table."""

from __future__ import annotations

import csv
import io
from collections.abc import Iterator, Sequence

from interlock.model.build import Built
from interlock.pictures.dot import Markup, marked
from interlock.pictures.picture import Picture, assumption_notes
from interlock.pictures.shown.influence import Cause, Effect, Influence
from interlock.pictures.style import MANDATORY, MANDATORY_FILL, PALE, new_graph

# Blue is mandatory (IEC 60073); the other fills are greys, and each cell has its letter, too.
_LOOK = {
    Effect.PERMITS_ALWAYS: f'BGCOLOR="{MANDATORY}"',
    Effect.PERMITS: f'BGCOLOR="{MANDATORY_FILL}"',
    Effect.BLOCKS_ALWAYS: 'BGCOLOR="#4d4d4d"',
    Effect.BLOCKS: 'BGCOLOR="#d9d9d9"',
    Effect.BOTH: 'BGCOLOR="white"',
    Effect.NONE: 'BGCOLOR="white"',
}
_WHITE_LETTERS = (Effect.PERMITS_ALWAYS, Effect.BLOCKS_ALWAYS)


def draw_matrix(built: Built, influence: Influence) -> Picture:
    """Rows are causes, columns effects; a letter says what the one does to the other."""
    model = built.model
    title = f"Cause and effect: {model.title}"
    assumed = assumption_notes(model)
    graph = new_graph("matrix", title, [*_notes(influence), *assumed])
    graph.node("matrix", _table(influence), shape="plain", fontsize="10")
    table = to_csv(influence, assumed)
    return Picture("matrix", "cause-and-effect matrix", graph.text, {"matrix.csv": table})


def shown_causes(influence: Influence) -> list[Cause]:
    """The signals, and the memory that influences anything."""
    used = {cause for cause, _ in influence.cells}
    return [c for c in influence.causes if not c.is_memory or c.name in used]


def _notes(influence: Influence) -> Iterator[str]:
    for effect in Effect:
        if effect is not Effect.NONE:
            yield f"{effect.value}  {effect.says}."
    yield (
        "Computed from what one scan of the program makes of every reachable state, with the "
        "signal forced to TRUE and to FALSE; not from its text."
    )
    yield "An empty row is a signal without any influence within a scan."
    if influence.left_out:
        yield f"Too many values to take apart: {', '.join(influence.left_out)}."
    if not influence.complete:
        yield "Incomplete: a limit cut the exploration short; letters may be missing."


def _table(influence: Influence) -> Markup:
    rows = [_heading(influence)]
    n_columns = len(influence.effects) + 2
    told_memory = False
    for cause in shown_causes(influence):
        if cause.is_memory and not told_memory:
            told_memory = True
            words = "memory that the scan starts with"
            rows.append(f'<TR><TD COLSPAN="{n_columns}" ALIGN="LEFT"><I>{words}</I></TD></TR>')
        rows.append(_row(influence, cause))
    body = "".join(rows)
    return Markup(
        '<TABLE BORDER="1" CELLBORDER="1" CELLSPACING="0" CELLPADDING="3" '
        f'COLOR="#9a9a9a">{body}</TABLE>'
    )


def _heading(influence: Influence) -> str:
    cells = "".join(
        f"<TD><B>{'<BR/>'.join(marked(part) for part in _parts(effect))}</B></TD>"
        for effect in influence.effects
    )
    return f'<TR><TD COLSPAN="2"><B>signal</B></TD>{cells}</TR>'


def _parts(name: str) -> list[str]:
    """A name in short lines, broken behind underscores, before points and around signs."""
    return [part for part in name.replace("_", "_ ").replace(".", " .").split(" ") if part]


def _row(influence: Influence, cause: Cause) -> str:
    name = f'<TD ALIGN="LEFT"><B>{marked(cause.name)}</B></TD>'
    says = "" if cause.is_memory else cause.says
    told = f'<FONT COLOR="{PALE}">{marked(says)}</FONT>' if says else ""
    cells = "".join(_cell(_effect(influence, cause, effect)) for effect in influence.effects)
    return f'<TR>{name}<TD ALIGN="LEFT">{told}</TD>{cells}</TR>'


def _cell(effect: Effect) -> str:
    if effect is Effect.NONE:
        return "<TD></TD>"
    letter = f"<B>{effect.value}</B>"
    if effect in _WHITE_LETTERS:
        letter = f'<FONT COLOR="white">{letter}</FONT>'
    return f"<TD {_LOOK[effect]}>{letter}</TD>"


def _effect(influence: Influence, cause: Cause, effect: str) -> Effect:
    return influence.cells.get((cause.name, effect), Effect.NONE)


def to_csv(influence: Influence, assumed: Sequence[str] = ()) -> str:
    """The matrix as CSV (RFC 4180, with line feeds), the legend behind an empty line.

    What was `assumed` ends it.
    """
    stream = io.StringIO()
    writer = csv.writer(stream, lineterminator="\n")
    writer.writerow(["cause", "kind", "says", *influence.effects])
    for cause in shown_causes(influence):
        kind = "memory" if cause.is_memory else "signal"
        letters = [_effect(influence, cause, effect).value for effect in influence.effects]
        writer.writerow([cause.name, kind, cause.says, *letters])
    writer.writerow([])
    for effect in Effect:
        writer.writerow([effect.value or "(empty)", "legend", effect.says])
    for note in [*list(_notes(influence))[len(Effect) - 1 :], *assumed]:
        writer.writerow(["", "note", note])
    return stream.getvalue()
