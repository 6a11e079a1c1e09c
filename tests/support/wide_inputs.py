"""Random small programs with an input that has many values, and what they reach, tried by hand."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from random import Random

from interlock.st.direct.controller import DirectController
from interlock.st.layout import PREFIX, Settings
from interlock.st.parser import parse_file

WIDE = {
    "USINT": (0, 255),
    "BYTE": (0, 255),
    "SINT": (-128, 127),
    "INT (-12..15)": (-12, 15),
    "USINT (3..30)": (3, 30),
}
"""Least and greatest value of each type of a wide input."""

_FUNCTION = """FUNCTION over : BOOL
VAR_INPUT x : INT; by : INT := 3; END_VAR
over := x > by AND x MOD 3 <> 1;
END_FUNCTION
"""
_PROGRAM = """PROGRAM main
VAR_INPUT b0 : BOOL; w0 : {type}; END_VAR
VAR_OUTPUT q0 : BOOL; k0 : INT (0..3); END_VAR
VAR s : {kept} := {initial}; c : INT (0..3); t : BOOL; i : INT; END_VAR
VAR_TEMP row : ARRAY [0..3] OF BOOL; END_VAR
{body}
k0 := c;
END_PROGRAM
"""


@dataclass(frozen=True)
class WideProgram:
    """A program, its requirements, and the same requirements as functions.

    Attributes
    ----------
    text : str
    span : (int, int)
        Of the input ``w0``.
    requirements : dict of str to (str, callable)
        What must never be, as the model writes it and as a function of the inputs of a scan and of
        every variable after it.
    """

    text: str
    span: tuple[int, int]
    requirements: dict[str, tuple[str, Callable[[Mapping[str, float]], bool]]]


def wide_program(seed: int) -> WideProgram:
    """The random program number `seed`."""
    random = Random(seed)
    type_ = random.choice([*WIDE, "INT (-12..15)", "USINT (3..30)"])
    lo, hi = WIDE[type_]
    body = _Body(random, type_, lo, hi)
    statements = "\n".join(body.statement(2) for _ in range(random.randint(2, 5)))
    initial = random.randint(lo, hi)
    text = _FUNCTION + _PROGRAM.format(type=type_, kept=type_, initial=initial, body=statements)
    limit = random.randint(lo, hi)
    requirements: dict[str, tuple[str, Callable[[Mapping[str, float]], bool]]] = {
        "R1": ("q0", lambda v: v["q0"] == 1),
        "R2": ("k0 = 2", lambda v: v["k0"] == 2),
        "R3": ("main.t AND NOT q0", lambda v: v["t"] == 1 and v["q0"] == 0),
    }
    if type_ != "BYTE":
        requirements["R4"] = (f"q0 AND w0 > {limit}", lambda v: v["q0"] == 1 and v["w0"] > limit)
        requirements["R5"] = (f"main.s = {limit}", lambda v: v["s"] == limit)
    return WideProgram(text, (lo, hi), requirements)


class _Body:
    """Writes random statements."""

    def __init__(self, random: Random, type_: str, lo: int, hi: int) -> None:
        self._random, self._type = random, type_
        self._lo, self._hi = lo, hi
        self._may_keep = random.random() < (0.3 if hi - lo < 40 else 0.05)

    def _wide(self) -> str:
        return self._random.choice(("w0", "w0", "w0", "s"))

    def _number(self) -> str:
        return str(self._random.randint(max(self._lo, -9), self._hi))

    def _integer(self) -> str:
        """Something of an integer type that is made of the input."""
        w = self._wide()
        word = f"BYTE_TO_INT({w})" if self._type == "BYTE" else w
        forms = (
            word, word, f"({word} MOD 5)", f"({word} + 7)", f"({word} - c)", f"({word} / 4)",
            f"LIMIT(2, {word}, 11)", f"MAX({word}, 5)", f"MIN({word}, c)", f"SEL(t, {word}, 3)",
            f"({word} * 2)", f"ABS({word} - 4)", f"(-{word})",
        )  # fmt: skip
        return self._random.choice(forms)

    def condition(self, depth: int) -> str:
        """A random condition."""
        order = self._random.choice(("<", ">", "<=", ">=", "=", "<>"))
        forms = [
            "b0", "t", f"c = {self._random.randint(0, 3)}", "row[1]", "row[c]",
            f"({self._wide()} {order} {self._number()})",
            f"({self._integer()} {order} {self._number()})",
            f"({self._integer()} {order} c)",
            f"(w0 {order} s)",
        ]  # fmt: skip
        if self._type == "BYTE":
            forms += [f"{self._wide()}.{self._random.randint(0, 7)}", "((w0 AND 16#0C) = 16#04)"]
            forms += ["(SHL(w0, 3) > 16#80)", "(ROL(w0, 1) = 16#03)"]
        else:
            forms += [f"over({self._integer()})", "row[w0 MOD 4]", "row[LIMIT(0, w0, 3)]"]
        if depth:
            one, other = self.condition(depth - 1), self.condition(depth - 1)
            forms += [f"({one} {op} {other})" for op in ("AND", "OR", "XOR")]
            forms.append(f"NOT {one}")
        return self._random.choice(forms)

    def statement(self, depth: int) -> str:
        """A random statement."""
        forms: list[Callable[[], str]] = [
            lambda: f"q0 := {self.condition(1)};",
            lambda: f"t := {self.condition(1)};",
            lambda: self._random.choice(("c := 0;", "IF c < 3 THEN c := c + 1; END_IF;")),
            lambda: f"row[{self._random.choice(('0', '1', 'c', '3 - c'))}] := {self.condition(0)};",
        ]
        if self._may_keep:
            forms.append(lambda: "s := w0;")
        if depth:
            forms += [self._if, self._if, self._case, self._loop]
        return self._random.choice(forms)()

    def _if(self) -> str:
        then, otherwise = self.statement(1), self.statement(1)
        return f"IF {self.condition(1)} THEN {then} ELSE {otherwise} END_IF;"

    def _case(self) -> str:
        at = self._random.randint(max(self._lo, 0), self._hi - 3)
        selector = "BYTE_TO_INT(w0)" if self._type == "BYTE" else "w0"
        return (
            f"CASE {selector} OF {at}: {self.statement(0)} "
            f"{at + 1}..{at + 3}: {self.statement(0)} ELSE {self.statement(0)} END_CASE;"
        )

    def _loop(self) -> str:
        return (
            f"FOR i := 0 TO 2 DO IF {self.condition(0)} THEN EXIT; END_IF; "
            f"{self.statement(0)} END_FOR;"
        )


def reached(program: WideProgram, most_scans: int) -> set[str] | None:
    """Requirements that a scan violates: every value of every input in every state there is.

    None where that takes more than `most_scans` scans.
    """
    controller = DirectController(
        [parse_file(program.text, "main.st")], "main", Settings(overflow="wrap")
    )
    violated: set[str] = set()
    start = controller.values()
    known = {tuple(sorted(start.items()))}
    stack = [start]
    lo, hi = program.span
    n_scans = 0
    while stack:
        state = stack.pop()
        for b0 in (0, 1):
            for w0 in range(lo, hi + 1):
                n_scans += 1
                if n_scans > most_scans:
                    return None
                controller.load(state)
                flawed = controller.scan({"b0": b0, "w0": w0}).defects
                after = controller.values()
                seen = {name.removeprefix(PREFIX): value for name, value in after.items()}
                seen |= {"b0": b0, "w0": w0}
                violated |= {id_ for id_, (_, is_so) in program.requirements.items() if is_so(seen)}
                violated |= {"ARITHMETIC"} if flawed else set()
                key = tuple(sorted(after.items()))
                if key not in known:
                    known.add(key)
                    stack.append(after)
    return violated
