"""The sequence chart of a replayed run: lifelines, messages in order, what changed.

Every place is given, so the layout program only draws: lifelines stand side by side, time goes
down. Lengths are in inches, as the layout program takes them.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from interlock.independent_judge.judge import Replayed
from interlock.independent_judge.story import Line, tell_to_the_end
from interlock.judgement.finding import Finding
from interlock.model.model import Model
from interlock.pictures.dot import Graph, Markup, identifier, marked
from interlock.pictures.picture import Picture, assumption_notes
from interlock.pictures.style import (
    ABNORMAL_FILL,
    DANGER,
    DANGER_FILL,
    FONT,
    INK,
    NEUTRAL_FILL,
    PALE,
    caption,
    wrapped,
)

_APART = 2.6  # between lifelines
_LINE_HEIGHT = 0.165
_GAP = 0.2
_WIDTH = 36  # characters between two lifelines
_NOTE_WIDTH = 40
_CONTROLLER, _PLANT = "controller", "plant"
# The person who acts, by who is told of in the story.
_PEOPLE = ("driver", "operator", "human error")
# What comes from outside the four parties.
_STRUCK = ("fault",)


@dataclass(frozen=True)
class _Row:
    """One message: who sends it to whom, its words, and what changed."""

    number: int
    sender: str
    receiver: str
    words: str
    notes: tuple[str, ...]


def draw_sequence(model: Model, finding: Finding) -> Picture:
    """The run that violates a requirement.

    Parameters
    ----------
    model : Model
    finding : Finding
        With a replayed run.
    """
    assert finding.run is not None
    requirement = finding.requirement
    # The last one always is worth drawing, since the violation comes after it.
    lines = tell_to_the_end(model, finding.run)
    told = [(line, _rows(model, finding.run, line)) for line in lines]
    parties = _parties([row for _, rows in told for row in rows])
    title = f"{requirement.id} violated: {requirement.says}"
    notes = [*_notes(finding.run, lines), *assumption_notes(model)]
    chart = _Chart(f"run-{requirement.id}", title, parties, notes)
    in_loop = False
    for line, rows in told:
        if line.loop and not in_loop:
            in_loop = True
            chart.bar("from here on for ever", ABNORMAL_FILL)
        for row in rows:
            chart.message(row)
    if finding.run.loop_start == len(finding.run.happenings):
        chart.bar("and so it stays for ever", ABNORMAL_FILL)
    chart.end(f"{requirement.id} VIOLATED", [model.hazards[h].says for h in requirement.hazards])
    return Picture(f"run-{requirement.id}", f"run that violates {requirement.id}", chart.text)


def _notes(run: Replayed, lines: Sequence[Line]) -> list[str]:
    n_steps, n_told = len(run.happenings), len(lines)
    notes = [f"A shortest run of {n_steps} steps, replayed on the model. Time goes down."]
    if n_told < n_steps:
        notes.append("Scans that change no output are left out; the numbers count them.")
    notes.append("Right of the plant: what a step changes, and the program lines that decided it.")
    return notes + ([run.note] if run.note else [])


def _parties(rows: Sequence[_Row]) -> list[str]:
    """Who takes part, from left to right; controller and plant always do."""
    used = {party for row in rows for party in (row.sender, row.receiver)}
    people = [party for party in (*_PEOPLE, *_STRUCK) if party in used]
    return [*people, _CONTROLLER, _PLANT]


def _rows(model: Model, run: Replayed, line: Line) -> list[_Row]:
    if line.who == _CONTROLLER:
        return _scan_rows(line)
    happening = run.happenings[line.number - 1]
    move = next((m for m in model.moves if m.name == happening.move), None)
    receiver = _PLANT
    if move is not None and model.machines[move.machine].is_control:
        receiver = _CONTROLLER
    sender = line.who if line.who in (*_PEOPLE, *_STRUCK) else _PLANT
    if line.who == "timer":
        sender = receiver = _CONTROLLER
    return [_Row(line.number, sender, receiver, line.says, line.changes)]


def _scan_rows(line: Line) -> list[_Row]:
    decided = (f"decided in {', '.join(p.short for p in line.decided)}",) if line.decided else ()
    words = ", ".join(line.changes) or "scan, no output changes"
    return [_Row(line.number, _CONTROLLER, _PLANT, words, decided)]


class _Chart:
    """The growing chart; `_y` is where its last row ended."""

    def __init__(self, name: str, title: str, parties: Sequence[str], notes: list[str]) -> None:
        self._x = {party: 0.6 + _APART * n for n, party in enumerate(parties)}
        self._graph = Graph(
            name,
            layout="neato",
            splines="line",
            overlap="true",
            notranslate="true",
            fontname=FONT,
            fontsize="11",
            labelloc="t",
            labeljust="l",
            label=caption(title, notes),
            pad="0.25",
            bgcolor="white",
        )
        self._graph.defaults("node", fontname=FONT, fontsize="10", fontcolor=INK, color=INK)
        self._graph.defaults("edge", fontname=FONT, fontsize="10", color=INK)
        self._parties = list(parties)
        self._y = 0.0
        self._n = 0
        for party in parties:
            head = {"shape": "box", "style": "filled", "fillcolor": NEUTRAL_FILL}
            self._put(f"head {party}", Markup(f"<B>{marked(party)}</B>"), self._x[party], 0, **head)
        self._y = -0.35

    def _put(self, name: str, label: str, x: float, y: float, **look: str) -> str:
        node = identifier(name)
        self._graph.node(node, label, pos=f"{x:.3f},{y:.3f}!", **look)
        return node

    def _point(self, x: float, y: float) -> str:
        self._n += 1
        name = f"point {self._n}"
        return self._put(name, "", x, y, shape="point", width="0.01", height="0.01")

    @property
    def _right(self) -> float:
        """Where the notes begin."""
        return self._x[_PLANT] + 0.15

    def message(self, row: _Row) -> None:
        """Add a message, or an event on one lifeline."""
        start, end = self._x[row.sender], self._x[row.receiver]
        is_own, at_plant = start == end, start == end == self._x[_PLANT]
        span = max(1, round(abs(end - start) / _APART))
        words = [marked(line) for line in wrapped(row.words, _WIDTH * span)]
        notes = [marked(line) for note in row.notes for line in wrapped(note, _NOTE_WIDTH)]
        beside = [f"<B>{word}</B>" for word in words] if at_plant else []
        beside += [f'<FONT COLOR="{PALE}">{note}</FONT>' for note in notes]
        n_above = 0 if at_plant else len(words)
        room = max(n_above + 0.5, len(beside) / 2 + 0.3) * _LINE_HEIGHT
        y = self._y - _GAP - room
        self._text(f"number {row.number}", [marked(str(row.number))], -0.35, y, 0.4)
        if is_own:
            look = {"shape": "box", "style": "filled", "fillcolor": "white"}
            size = {"width": "0.14", "height": "0.22", "fixedsize": "true"}
            self._put(f"event {row.number}", "", start, y, **look, **size)
        else:
            self._graph.edge(self._point(start, y), self._point(end, y), penwidth="1.3")
        if not at_plant:
            above = y + _LINE_HEIGHT * (len(words) / 2 + (0.9 if is_own else 0.25))
            wide = _APART if is_own else abs(end - start)
            left = start - wide / 2 if is_own else min(start, end)
            self._text(f"words {row.number}", words, left, above, wide, centred=True)
        if beside:
            self._text(f"notes {row.number}", beside, self._right, y, 2.9)
        self._y = y - _LINE_HEIGHT * max(0.0, len(beside) / 2 - 0.5)

    def _text(
        self,
        name: str,
        rows: Sequence[str],
        left: float,
        y: float,
        width: float,
        centred: bool = False,
    ) -> None:
        """Rows of text from `left` on, or centred over `width`."""
        align = "CENTER" if centred else "LEFT"
        # A table wider than its text is set to the left; one as wide as its text is centred.
        fixed = "" if centred else f' WIDTH="{round(width * 72)}"'
        cells = "".join(f'<TR><TD ALIGN="{align}">{row}</TD></TR>' for row in rows)
        look = f'BORDER="0" CELLBORDER="0" CELLSPACING="0" CELLPADDING="0"{fixed}'
        table = f"<TABLE {look}>{cells}</TABLE>"
        self._n += 1
        self._put(f"{name} {self._n}", Markup(table), left + width / 2, y, shape="plain")

    def bar(self, words: str, fill: str) -> None:
        """Add a bar across all lifelines."""
        y = self._y - 0.35
        look = {"shape": "box", "style": "filled", "fillcolor": fill, "height": "0.25"}
        self._n += 1
        self._put(f"bar {self._n}", words, self._middle, y, width=f"{self._wide:.2f}", **look)
        self._y = y - 0.15

    @property
    def _middle(self) -> float:
        return (self._x[self._parties[0]] + self._x[_PLANT]) / 2

    @property
    def _wide(self) -> float:
        return self._x[_PLANT] - self._x[self._parties[0]] + 0.4

    def end(self, words: str, hazards: Sequence[str]) -> None:
        """Add the violation below everything, and the lifelines down to it."""
        y = self._y - 0.3 - 0.16 * (len(hazards) + 1)
        lines = [f"<B>{marked(words)}</B>"] + [
            marked(line) for hazard in hazards for line in wrapped(hazard, 60)
        ]
        label = Markup("<BR/>".join(lines))
        look = {"shape": "octagon", "style": "filled", "fillcolor": DANGER_FILL, "color": DANGER}
        self._put("violated", label, self._middle, y, penwidth="2.5", **look)
        for party in self._parties:
            foot = self._point(self._x[party], y - 0.3)
            look = {"dir": "none", "style": "dashed", "color": PALE, "penwidth": "0.8"}
            self._graph.edge(identifier(f"head {party}"), foot, **look)

    @property
    def text(self) -> str:
        """The DOT text."""
        return self._graph.text
