"""What the pictures have in common: who moves, what colours mean, how text is broken.

Colours carry the meanings of IEC 60073: red danger, yellow abnormal, green normal or safe, blue
mandatory, white and grey neutral. None stands alone: a word and a shape or a line say the same,
so that a picture can be read in black and white.
"""

from __future__ import annotations

import re
import textwrap
from collections.abc import Iterable
from dataclasses import dataclass

from interlock.kernel.system import MoveKind
from interlock.pictures.dot import Graph, Markup, marked

# Every renderer and browser has these or metric twins of them.
FONT = "Helvetica"
MONOSPACED = "Courier"
NOTE_WIDTH = 96

INK = "#1a1a1a"
PAPER = "#ffffff"
PALE = "#6b6b6b"
DANGER, DANGER_FILL = "#a30015", "#fbdada"
ABNORMAL_FILL = "#fff3bf"
SAFE, SAFE_FILL = "#1b6e37", "#dff2e1"
MANDATORY, MANDATORY_FILL = "#1f4e9c", "#dde8f8"
NEUTRAL_FILL = "#f2f2f2"


@dataclass(frozen=True)
class Who:
    """How the moves of one kind are drawn.

    Attributes
    ----------
    says : str
        Stands at the head of each label.
    line : str
        The line in words, for a legend.
    """

    says: str
    line: str
    style: str
    color: str
    width: str
    arrow: str

    @property
    def edge(self) -> dict[str, str]:
        """Attributes of an edge."""
        return {
            "style": self.style,
            "color": self.color,
            "penwidth": self.width,
            "arrowhead": self.arrow,
        }


WHO = {
    MoveKind.PLANT: Who("plant", "solid line", "solid", INK, "1.3", "normal"),
    MoveKind.OPERATOR: Who("operator", "dashed line", "dashed", INK, "1.3", "vee"),
    MoveKind.DRIVER: Who("driver", "dotted line", "dotted", INK, "2.2", "empty"),
    MoveKind.INPUT: Who("input", "thin dotted line", "dotted", INK, "1.0", "vee"),
    MoveKind.TIMER: Who("timer", "grey line", "solid", PALE, "1.3", "odot"),
    MoveKind.HUMAN: Who("human error", "heavy dashed line", "dashed", DANGER, "2.6", "box"),
    MoveKind.FAULT: Who("fault", "heavy dotted line", "dotted", DANGER, "2.6", "diamond"),
    MoveKind.BUS: Who("bus", "grey dashed line", "dashed", PALE, "1.3", "vee"),
    MoveKind.EFFECT: Who("output", "pale line", "solid", PALE, "1.3", "vee"),
    MoveKind.SCAN: Who("controller", "blue line", "solid", MANDATORY, "1.3", "normal"),
    MoveKind.TIME: Who("time", "thin grey line", "solid", PALE, "0.8", "none"),
}


def new_graph(name: str, title: str, notes: Iterable[str] = (), **attributes: str) -> Graph:
    """A graph with its title and, below it, the notes and the legend."""
    given = {
        "fontname": FONT,
        "fontsize": "11",
        "labelloc": "t",
        "labeljust": "l",
        "label": caption(title, notes),
        "pad": "0.25",
        "bgcolor": "white",
    }
    graph = Graph(name, **{**given, **attributes})
    graph.defaults("node", fontname=FONT, fontsize="11", color=INK, fontcolor=INK)
    graph.defaults("edge", fontname=FONT, fontsize="10", color=INK, fontcolor=INK)
    return graph


def draw_states(graph: Graph, states: Iterable[tuple[str, str]], initial: int) -> None:
    """The nodes of a state diagram, by name and label; the state at power-up says 'start'."""
    graph.defaults(
        "node", shape="box", style="rounded,filled", fillcolor="white", margin="0.18,0.1"
    )
    for number, (name, label) in enumerate(states):
        if number == initial:
            graph.node(name, f"{label}\nstart", penwidth="3")
        else:
            graph.node(name, label)


def caption(title: str, notes: Iterable[str]) -> Markup:
    """A title line and smaller lines below it."""
    rows = [f'<FONT POINT-SIZE="15"><B>{marked(title)}</B></FONT><BR ALIGN="LEFT"/>']
    rows.append('<FONT POINT-SIZE="4"> <BR ALIGN="LEFT"/></FONT>')
    lines = [line for note in notes for line in wrapped(note, NOTE_WIDTH)]
    rows += [f'<FONT COLOR="{PALE}">{marked(line)}</FONT><BR ALIGN="LEFT"/>' for line in lines]
    rows.append('<FONT POINT-SIZE="8"> <BR ALIGN="LEFT"/></FONT>')
    return Markup("".join(rows))


def line_legend(kinds: Iterable[MoveKind]) -> str:
    """Which line stands for whom, in the order of `MoveKind`."""
    used = set(kinds)
    return ", ".join(f"{WHO[k].says}: {WHO[k].line}" for k in MoveKind if k in used)


def wrapped(text: str, width: int) -> list[str]:
    """The lines of `text` with at most `width` characters, words whole where they fit."""
    return textwrap.wrap(text, width) or [""]


_BEFORE_OPERATOR = re.compile(r" (?=(?:AND|OR|XOR) )")


def wrapped_expression(text: str, width: int) -> list[str]:
    """The lines of a Structured Text expression, broken before AND, OR and XOR."""
    lines: list[str] = []
    for part in _BEFORE_OPERATOR.split(text):
        if lines and len(lines[-1]) + 1 + len(part) <= width:
            lines[-1] += " " + part
        elif len(part) <= width:
            lines.append(part)
        else:
            lines += textwrap.wrap(part, width, subsequent_indent="  ")
    return lines or [""]


def stacked(rows: Iterable[str]) -> Markup:
    """Rows of markup below each other, left aligned, as an edge's label."""
    # The narrow empty column keeps the text off the line that it belongs to.
    cells = "".join(f'<TR><TD WIDTH="6"></TD><TD ALIGN="LEFT">{row}</TD></TR>' for row in rows)
    return Markup(
        f'<TABLE BORDER="0" CELLBORDER="0" CELLSPACING="0" CELLPADDING="1">{cells}</TABLE>'
    )


def code(text: str) -> str:
    """A part of a label in the typeface of programs."""
    return f'<FONT FACE="{MONOSPACED}">{marked(text)}</FONT>'
