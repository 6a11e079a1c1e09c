"""Random well-typed Structured Text programs, as text, for Hypothesis."""

from __future__ import annotations

from dataclasses import dataclass

from hypothesis import strategies as st

from tests.support.choices import Choices

INPUTS = {"b0": (0, 1), "b1": (0, 1), "e0": (0, 2), "n0": (-3, 4)}

_HEAD = """TYPE M : (LOW, MID, TOP) := MID; END_TYPE
PROGRAM random
VAR_INPUT b0, b1 : BOOL; e0 : M; n0 : INT (-3..4); END_VAR
VAR_OUTPUT q0, q1 : BOOL := TRUE; s0 : M; m0 : INT (0..3); END_VAR
VAR RETAIN l0 : BOOL := FALSE; k0 : INT (-2..5) := 1; END_VAR
VAR l1 : BOOL := FALSE; s1 : M := TOP; ton1 : TON; tof1 : TOF; tp1 : TP; r1 : R_TRIG; f1 : F_TRIG;
  sr1 : SR; rs1 : RS; c1 : CTU; END_VAR
VAR RETAIN ton2 : TON; f2 : F_TRIG; END_VAR
"""

_BOOLS = ("b0", "b1", "q0", "q1", "l0", "l1", "TRUE", "FALSE")
_BLOCK_BOOLS = (
    *("ton1.Q", "tof1.Q", "tp1.Q", "ton2.Q", "r1.Q", "f1.Q", "f2.Q", "c1.Q"),
    *("sr1.Q1", "rs1.Q1"),
)
_ENUMS = ("e0", "s0", "s1", "M#LOW", "M#MID", "M#TOP")
_INTS = ("n0", "m0", "k0", "MIN(c1.CV, 3)", "LIMIT(-1, c1.CV, m0)")
_TIMERS = ("ton1", "tof1", "tp1", "ton2")
_PRESETS = ("T#0s", "T#50ms", "T#100ms", "T#250ms", "T#0.3s")
_ORDERS = ("<", ">", "<=", ">=", "=", "<>")


class _Writer:
    """Writes random parts of a program; small parts come first, so that shrinking finds them."""

    def __init__(self, draw: st.DrawFn, counted: bool) -> None:
        self._by = Choices(draw)
        self._counted = counted
        # Arithmetic on what is counted needs every value of it, so few programs do any.
        more = ("(c1.CV - m0)", "(c1.CV MOD 3)", "(c1.CV / (n0 + 5))")
        self._counts = ("c1.CV", *more) if self._number(8) == 7 else ("c1.CV",)
        self._presets = {name: self._pick(*_PRESETS) for name in _TIMERS}

    def _pick(self, *texts: str) -> str:
        return self._by.pick(texts)

    def _number(self, n_kinds: int) -> int:
        return self._by.below(n_kinds)

    def integer(self, depth: int) -> str:
        def inner() -> str:
            return self.integer(depth - 1)

        kind = self._number(8 if depth else 2)
        match kind:
            case 0:
                return self._pick(*_INTS)
            case 1:
                return str(self._by.between(-3, 4))
            case 2 | 3:
                return f"({inner()} {self._pick('+', '-', '*', '/', 'MOD')} {inner()})"
            case 4:
                return f"{self._pick('MIN', 'max')}({inner()}, {inner()})"
            case 5:
                return f"LIMIT({inner()}, {inner()}, {inner()})"
            case 6:
                return f"SEL({self._pick(*_BOOLS)}, {inner()}, {inner()})"
            case _:
                return self._pick("(-{})", "(+{})", "ABS({})").format(inner())

    def enum(self) -> str:
        return self._pick(*_ENUMS)

    def truth(self, depth: int) -> str:
        def inner() -> str:
            return self.truth(depth - 1)

        kind = self._number(8 if depth else 5)
        match kind:
            case 0:
                return self._pick(*_BOOLS)
            case 1:
                return self._pick(*_BLOCK_BOOLS)
            case 2:
                return f"({self.enum()} {self._pick('=', '<>')} {self.enum()})"
            case 3:
                return f"({self._compared()} {self._pick(*_ORDERS)} {self._compared()})"
            case 4:
                return self._elapsed_comparison()
            case 5 | 6:
                return f"({inner()} {self._pick('AND', 'OR', 'XOR', '&', '=')} {inner()})"
            case _:
                return self._pick("NOT ({})", "SEL({}, b1, l0)").format(inner())

    def _compared(self) -> str:
        """An integer, or what a counter has counted: anything more is outside INT."""
        if self._number(4):
            return self.integer(1)
        return self._pick(*self._counts)

    def _elapsed_comparison(self) -> str:
        if not self._counted:
            return self._pick(*_BLOCK_BOOLS)
        time = self._pick("T#0s", "T#100ms", "T#250ms", "T#300ms")
        return f"({self._pick(*_TIMERS)}.ET {self._pick(*_ORDERS)} {time})"

    def _assigned(self) -> str:
        return self.integer(2) if self._number(4) else "c1.CV"

    def call(self) -> str:
        on = self.truth(1)
        match self._number(5):
            case 0 | 1:
                name = self._pick(*_TIMERS)
                taken = self._pick("", ", Q => q1")
                return f"{name}(IN := {on}, PT := {self._presets[name]}{taken});"
            case 2:
                return f"{self._pick('r1', 'f1', 'f2')}(CLK := {on});"
            case 3:
                form = self._pick("sr1(S1 := {}, R := {});", "rs1(R1 := {}, S := {}, Q1 => l1);")
                return form.format(on, self.truth(1))
            case _:
                preset = self._pick("2", "n0", "k0 + 1")
                taken = self._pick("", ", CV => m0")
                return f"c1(CU := {on}, R := {self.truth(1)}, PV := {preset}{taken});"

    def body(self, depth: int) -> str:
        return "\n".join(self.statement(depth) for _ in range(self._number(3)))

    def statement(self, depth: int) -> str:
        match self._number(9 if depth else 6):
            case 0:
                return f"{self._pick('q0', 'q1', 'l0', 'l1')} := {self.truth(2)};"
            case 1:
                number = self._pick("n0", "k0 + 1", "2", "m0 MOD 3")
                chosen = f"SEL({self.truth(1)}, {self.enum()}, TOP)"
                return f"{self._pick('s0', 's1')} := {self._pick(chosen, chosen, number)};"
            case 2:
                return f"{self._pick('m0', 'k0')} := {self._assigned()};"
            case 3 | 4 | 5:
                return self.call()
            case 6 | 7:
                return self._if(depth - 1)
            case _:
                return self._case(depth - 1)

    def _if(self, depth: int) -> str:
        text = f"IF {self.truth(2)} THEN\n{self.body(depth)}\n"
        for _ in range(self._number(3)):
            text += f"ELSIF {self.truth(1)} THEN\n{self.body(depth)}\n"
        return text + self._else(depth) + "END_IF;"

    def _else(self, depth: int) -> str:
        return f"ELSE\n{self.statement(depth)}\n" if self._number(2) else ""

    def _case(self, depth: int) -> str:
        if self._number(2):
            text = f"CASE {self._pick('e0', 's1')} OF\nTOP: {self.body(depth)}\nLOW, MID:\n"
        else:
            selector = self._pick("n0", "k0", "n0 + m0", "c1.CV")
            labels = "5, 2..3" if selector == "c1.CV" else "-1, 2..3"
            text = f"CASE {selector} OF\n{labels}: {self.body(depth)}\n0:\n"
        return text + self.body(depth) + "\n" + self._else(depth) + "END_CASE;"


@dataclass(frozen=True)
class Act:
    """A scan with its inputs, or a restart; before it, perhaps a timer elapses."""

    inputs: dict[str, int]
    elapses: int | None
    restarts: bool


def acts() -> st.SearchStrategy[list[Act]]:
    """What happens to a controller, one scan after the other."""
    inputs = st.fixed_dictionaries({n: st.integers(*span) for n, span in INPUTS.items()})
    act = st.builds(
        Act,
        inputs,
        st.none() | st.integers(0, 3),
        st.integers(0, 15).map(lambda number: number == 0),
    )
    return st.lists(act, min_size=1, max_size=10)


@st.composite
def programs(draw: st.DrawFn, counted: bool) -> str:
    """The text of a program; a few are refused, for a range that is never met."""
    writer = _Writer(draw, counted)
    n_statements = draw(st.integers(1, 6))
    body = [writer.statement(2) for _ in range(n_statements)]
    return _HEAD + "\n".join(body) + "\nEND_PROGRAM\n"
