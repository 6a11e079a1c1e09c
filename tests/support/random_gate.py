"""Random programs for the gate, and small changes of them."""

from __future__ import annotations

from dataclasses import dataclass, replace

from hypothesis import strategies as st

TERMS = ("shut", "pressed", "drive", "lamp", "seen", "t.Q")
HEAD = """PROGRAM Gate
VAR_INPUT shut, pressed : BOOL; END_VAR
VAR_OUTPUT drive, lamp : BOOL; END_VAR
VAR seen : BOOL; t : TON; END_VAR
"""


@dataclass(frozen=True)
class Source:
    """A program: an expression for each target, in order; that of ``t`` is its input."""

    statements: tuple[tuple[str, str], ...]

    def text(self) -> str:
        """The program's text."""
        lines = [
            f"t(IN := {value}, PT := T#1s);" if name == "t" else f"{name} := {value};"
            for name, value in self.statements
        ]
        return HEAD + "\n".join(lines) + "\nEND_PROGRAM\n"


@st.composite
def expressions(draw: st.DrawFn) -> str:
    """One to three terms, each perhaps negated."""
    n = draw(st.integers(1, 3))
    signs = st.sampled_from(["", "NOT "])
    parts = [draw(signs) + draw(st.sampled_from(TERMS)) for _ in range(n)]
    text = parts[0]
    for part in parts[1:]:
        text = f"({text} {draw(st.sampled_from(['AND', 'OR', 'XOR']))} {part})"
    return text


@st.composite
def sources(draw: st.DrawFn) -> Source:
    """A random program."""
    order = draw(st.permutations(["drive", "lamp", "seen", "t"]))
    return Source(tuple((name, draw(expressions())) for name in order))


@st.composite
def changed(draw: st.DrawFn, source: Source) -> Source:
    """`source` with nothing, one expression or the order of two statements changed."""
    statements = list(source.statements)
    number = draw(st.integers(0, len(statements) - 1))
    match draw(st.sampled_from(["nothing", "negated twice", "expression", "order"])):
        case "negated twice":
            name, value = statements[number]
            statements[number] = (name, f"NOT (NOT {value})")
        case "expression":
            statements[number] = (statements[number][0], draw(expressions()))
        case "order":
            other = draw(st.integers(0, len(statements) - 1))
            statements[number], statements[other] = statements[other], statements[number]
    return replace(source, statements=tuple(statements))
