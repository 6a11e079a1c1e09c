"""Random projects in the whole of Structured Text, as texts of two files, for Hypothesis.

They have types, globals, functions, a function block, one that extends it, and a program with
instances, arrays of them and structures. Values are small; what does not fit is meant to happen.
"""

from __future__ import annotations

from dataclasses import dataclass, field, replace

from hypothesis import strategies as st

from tests.support.choices import Choices
from tests.support.random_frames import BLOCK, FUNCTION, PROGRAM, TYPES

INPUTS = {"b0": (0, 1), "b1": (0, 1), "n0": (-3, 4), "e0": (0, 2), "w0": (0, 255)}
"""Least and greatest value of each input of a random project, as the kernel counts them."""


@dataclass(frozen=True)
class Scope:
    """What may be named at some place of a project, by the type of its value.

    Attributes
    ----------
    ints, bools, enums, words, times, reals : tuple of str
        What may be read.
    targets : dict of str to tuple of str
        What may be assigned, by the same names of types.
    calls : tuple of str
        Templates of calls as statements; ``{bool}`` and the like are filled in.
    int_calls, bool_calls : tuple of str
        Templates of calls that give a value.
    counter : str
        What a loop counts with.
    indexes : tuple of str
        What elements of arrays are found by.
    selector : str
        An integer of which every label of a CASE may be the value.
    """

    ints: tuple[str, ...]
    bools: tuple[str, ...]
    enums: tuple[str, ...] = ("gm", "Mode#IDLE", "FAST", "Mode.SLOW")
    words: tuple[str, ...] = ("BYTE#16#0F", "BYTE#16#81")
    times: tuple[str, ...] = ("T#100ms", "T#0s")
    reals: tuple[str, ...] = ("0.5", "REAL#0.25")
    targets: dict[str, tuple[str, ...]] = field(default_factory=dict)
    calls: tuple[str, ...] = ()
    int_calls: tuple[str, ...] = ()
    bool_calls: tuple[str, ...] = ()
    counter: str = ""
    indexes: tuple[str, ...] = ("0",)
    selector: str = "g0 - 1"


_GLOBALS = Scope(
    ints=("g0", "MUCH", "GVL.g0", "0", "1", "3", "-2"),
    bools=("gb", "TRUE", "FALSE", "given", "%MX1.0"),
)


def _more(scope: Scope, **added: tuple[str, ...]) -> Scope:
    """`scope` with more names."""
    return replace(scope, **{name: getattr(scope, name) + more for name, more in added.items()})


class _Writer:
    """Writes random parts of a project; small parts come first, so that shrinking finds them."""

    def __init__(self, draw: st.DrawFn) -> None:
        self._by = Choices(draw)
        # Half of the projects have no loops, so that others are not drowned by what they cost.
        self._loops = self.number(2)

    def pick(self, *texts: str) -> str:
        return self._by.pick(texts)

    def number(self, n_kinds: int) -> int:
        return self._by.below(n_kinds)

    # Expressions

    def integer(self, s: Scope, depth: int) -> str:
        kind = self.number(11 if depth else 2)
        a = self.integer(s, depth - 1) if kind > 1 else ""
        match kind:
            case 0 | 1:
                return self.pick(*s.ints)
            case 2 | 3 | 4:
                return f"({a} {self.pick('+', '-', '*', '/', 'MOD')} {self.integer(s, depth - 1)})"
            case 5:
                return f"{self.pick('MIN', 'MAX', 'ADD')}({a}, {self.integer(s, depth - 1)})"
            case 6:
                return f"LIMIT({self.pick('-2', '0')}, {a}, {self.pick('3', 'MUCH')})"
            case 7:
                return f"SEL({self.truth(s, 0)}, {a}, {self.integer(s, 0)})"
            case 8:
                form = self.pick("(-{})", "ABS({})", "INT_TO_SINT({})", "DINT_TO_INT({} * 9999)")
                return form.format(a)
            case 9:
                return f"BYTE_TO_INT(WORD_TO_BYTE({self.word(s, 0)} AND 16#07))"
            case _:
                return self.pick("{} + {m}", "MUX({}, 1, 2, {m})").format(a, m=self.mode_number(s))

    def mode_number(self, s: Scope) -> str:
        return f"SEL({self.truth(s, 0)}, {self.pick('gm', 'Mode#FAST')} + 0, 1)"

    def word(self, s: Scope, depth: int) -> str:
        kind = self.number(5 if depth else 1)
        a = self.word(s, depth - 1) if kind else ""
        match kind:
            case 0:
                return self.pick(*s.words)
            case 1 | 2:
                other = self.pick("16#3C", self.word(s, depth - 1), "16#1FF")
                return f"({a} {self.pick('AND', 'OR', 'XOR')} {other})"
            case 3:
                function = self.pick("SHL", "SHR", "ROL", "ROR")
                return f"{function}(WORD_TO_BYTE({a}), {self.pick('1', '3', '9', *s.ints)})"
            case _:
                return f"(NOT BYTE_TO_WORD({a}))" if self.number(2) else f"TO_WORD({a})"

    def truth(self, s: Scope, depth: int) -> str:
        kind = self.number(9 if depth else 2)
        match kind:
            case 0 | 1:
                return self.pick(*s.bools)
            case 2 | 3:
                order = self.pick("<", ">", "<=", ">=", "=", "<>")
                return f"({self.integer(s, 1)} {order} {self.integer(s, 0)})"
            case 4:
                return f"({self.pick(*s.enums)} {self.pick('=', '<>')} gm)"
            case 5:
                op = self.pick("AND", "OR", "XOR", "=")
                return f"({self.truth(s, depth - 1)} {op} {self.truth(s, depth - 1)})"
            case 6:
                return f"(NOT {self.truth(s, depth - 1)})"
            case 7:
                return f"({self.word(s, 0)} {self.pick('=', '<>', '<')} {self.pick(*s.words)})"
            case _:
                return f"({self.pick(*s.times)} {self.pick('<', '>=')} {self.pick(*s.times)})"

    def filled(self, template: str, s: Scope) -> str:
        """A template with random values in place of its blanks."""
        while "{" in template:
            before, _, rest = template.partition("{")
            blank, _, after = rest.partition("}")
            template = before + self._value(blank, s, 1) + after
        return template

    def _value(self, type_: str, s: Scope, depth: int) -> str:
        match type_:
            case "int":
                return self.integer(s, depth)
            case "bool":
                return self.truth(s, depth)
            case "word":
                return self.word(s, depth)
            case "enum":
                if self.number(3) < 2:
                    return self.pick(*s.enums)
                # A bare number that no value has would be refused.
                return self.pick(s.selector, f"ABS({self.integer(s, depth)})")
            case "time":
                if self.number(3):
                    return self.pick(*s.times)
                return f"({self.pick(*s.times)} {self.pick('+', '-')} T#50ms)"
            case "real":
                if self.number(2):
                    return self.pick(*s.reals)
                return f"({self.pick(*s.reals)} {self.pick('+', '-', '*')} {self.pick(*s.reals)})"
            case _:
                return self._target("in_out", s)

    # Statements

    def body(self, s: Scope, depth: int, least: int = 0) -> str:
        count = least + self.number(3)
        return "\n".join(self.statement(s, depth) for _ in range(count)) or ";"

    def statement(self, s: Scope, depth: int) -> str:
        kind = self.number(12 if depth else 7)
        if kind >= 10 and not s.counter:
            kind = 7
        match kind:
            case 0 | 1 | 2 | 3:
                return self._assignment(s)
            case 4 | 5:
                return self.filled(self.pick(*s.calls), s) if s.calls else self._assignment(s)
            case 6:
                return self._assigned_call(s)
            case 7 | 8:
                return self._if(s, depth - 1)
            case 9:
                return self._case(s, depth - 1)
            case _:
                return self._loop(s, depth - 1)

    def _assignment(self, s: Scope) -> str:
        type_ = self.pick(*(type_ for type_ in s.targets if type_ != "in_out"))
        return f"{self._target(type_, s)} := {self._value(type_, s, 2)};"

    def _target(self, type_: str, s: Scope) -> str:
        """What may be assigned; a computed index may be outside."""
        return self.pick(*s.targets[type_]).replace("?", self.pick(*s.indexes))

    def _assigned_call(self, s: Scope) -> str:
        if s.int_calls and self.number(2):
            return f"{self._target('int', s)} := {self.filled(self.pick(*s.int_calls), s)};"
        if s.bool_calls:
            return f"{self._target('bool', s)} := {self.filled(self.pick(*s.bool_calls), s)};"
        return self._assignment(s)

    def _if(self, s: Scope, depth: int) -> str:
        text = f"IF {self.truth(s, 2)} THEN\n{self.body(s, depth)}\n"
        for _ in range(self.number(3)):
            text += f"ELSIF {self.truth(s, 1)} THEN\n{self.body(s, depth)}\n"
        if self.number(2):
            text += f"ELSE\n{self.body(s, depth)}\n"
        if self.number(8) == 7:
            text += f"END_IF;\nIF {self.truth(s, 1)} THEN RETURN;\n"
        return text + "END_IF;"

    def _case(self, s: Scope, depth: int) -> str:
        if self.number(2):
            text = f"CASE {self.pick(*s.enums[:1])} OF\nFAST: {self.body(s, depth)}\nSLOW, IDLE:\n"
        else:
            text = f"CASE {s.selector} OF\n-1, MUCH..3: {self.body(s, depth)}\n0, 4:\n"
        end = f"ELSE\n{self.body(s, depth)}\n" if self.number(2) else ""
        return text + self.body(s, depth) + "\n" + end + "END_CASE;"

    def _loop(self, s: Scope, depth: int) -> str:
        if self._loops:
            return self._if(s, depth)
        self._loops += 1
        leaves = self.pick("", "", "EXIT", "CONTINUE")
        inner = replace(_more(s, ints=(s.counter,)), counter="")
        body = self.body(inner, min(depth, 1), 1)
        if leaves:
            body += f"\nIF {self.truth(inner, 1)} THEN {leaves}; END_IF;\n{self.body(inner, 0)}"
        self._loops -= 1
        i = s.counter
        match self.number(4):
            case 0 | 1:
                span = self.pick("0 TO 2", "3 TO 1 BY -1", "1 TO n0", "1 TO MUCH BY 2", "0 TO 0")
                span = span if "n0" in s.ints else span.replace("n0", "g0")
                return f"FOR {i} := {span} DO\n{body}\nEND_FOR;"
            case 2:
                return f"{i} := 0;\nWHILE {i} < 3 DO\n{i} := {i} + 1;\n{body}\nEND_WHILE;"
            case _:
                until = f"{i} >= MUCH OR {self.truth(s, 0)}"
                text = f"{i} := 0;\nREPEAT\n{i} := {i} + 1;\n{body}\nUNTIL {until} END_REPEAT;"
                return text.replace("CONTINUE;", "EXIT;")


def _base_scope() -> Scope:
    return _more(
        replace(
            _GLOBALS,
            targets={
                "int": ("n", "kept.n", "i", "tmp", "shared", "g0"),
                "bool": ("q", "kept.on", "gb", "kept.w.3", "here", "shown"),
                "in_out": ("shared", "i", "n"),
                "enum": ("m", "gm"),
                "word": ("kept.w",),
            },
            counter="j",
        ),
        ints=("n", "level", "kept.n", "tmp", "shared", "THIS^.n"),
        bools=(
            "on",
            "clock",
            "q",
            "t.Q",
            "p.Q",
            "rise.Q",
            "up.Q",
            "kept.on",
            "kept.w.0",
            "here",
            "seen",
            "own",
            "shown",
        ),
        enums=("m",),
        words=("kept.w",),
        calls=(
            "t(IN := {bool}, PT := T#200ms);",
            "p(IN := {bool}, PT := T#100ms, Q => q);",
            "rise(CLK := {bool});",
            "up(CU := {bool}, R := {bool}, PV := 2);",
            "nudge({in_out}, by := {int});",
        ),
        int_calls=("Twice({int})", "gauge({int}, {bool})", "THIS^.Twice(v := {int})"),
        bool_calls=("nudge(at := {in_out}, by := {int})",),
    )


def _program_scope() -> Scope:
    return _more(
        replace(
            _GLOBALS,
            targets={
                "int": ("k0", "kept", "pair.n", "row[2]", "row[?]", "i", "g0", "us", "wide"),
                "in_out": ("raw", "i", "row[2]", "row[?]", "kept"),
                "bool": ("q0", "q1", "pair.on", "grid[1, 0]", "grid[?, 1]", "gb", "w1.9", "us.7",
                         "lamp", "%M1.0", "given"),
                "enum": ("s0", "gm"),
                "word": ("w1", "pair.w"),
                "time": ("span",),
                "real": ("x", "y"),
            },
            counter="j",
            indexes=("n0", "k0", "one.n", "raw", "(n0 + 1)"),
            selector="n0 + k0",
        ),
        ints=("n0", "k0", "kept", "pair.n", "row[1]", "row[n0]", "one.n", "legs[k0].n", "two.d",
              "us", "wide", "down.CV", "legs[1].level", "raw"),
        bools=("b0", "b1", "q0", "pair.on", "grid[0, n0]", "one.q", "two.q", "legs[0].q",
               "t1.Q", "f1.Q", "sr1.Q1", "down.Q", "w0.2", "pair.w.7", "one.t.Q",
               "lamp", "also", "at0", "one.own", "%QX0.0", "t2.Q", "rs1.Q1", "both.QU", "cup.Dry()",
               "late"),
        enums=("e0", "s0", "one.m", "legs[n0].m"),
        words=("w0", "w1", "pair.w"),
        times=("span",),
        reals=("x", "y"),
        calls=(
            "one(on := {bool}, clock := {bool}, shared := {in_out}, q => q0);",
            "one(shared := raw);",
            "two(on := {bool}, level := {int}, shared := {in_out}, n => k0);",
            "legs[0](on := {bool}, clock := b1, shared := raw);",
            "legs[k0](on := {bool}, shared := raw, q => pair.on);",
            "legs[1](EN := {bool}, on := {bool}, shared := raw, ENO => q1);",
            "t1(IN := {bool}, PT := {time});",
            "f1(CLK := {bool});",
            "sr1(S1 := {bool}, R := {bool}, Q1 => q1);",
            "down(CD := {bool}, LD := {bool}, PV := {int});",
            "t2(IN := {bool}, PT := {time});",
            "rs1(S := {bool}, R1 := {bool});",
            "both(CU := {bool}, CD := {bool}, R := {bool}, LD := {bool}, PV := 2, CV => i);",
            "cup.Fill({int});",
            "late := TRUNC({real}) > 1 OR INT_TO_TIME({int}) > T#2ms;",
            "nested[0] := pair; nested[n0] := nested[1];",
            "one.Step1();",
            "two.Step1();",
            "one.on := {bool};",
            "two.Level2 := {int};",
            "pair := other;",
            "other := pair;",
            "raw := LIMIT(-9, {int}, 9);",
            "nudge(at := raw);",
        ),
        int_calls=("gauge({int}, {bool}, more => q1)", "gauge(a := {int}, x := {bool})",
                   "two.Twice({int})", "legs[k0].Twice(v := {int})", "one.Level2",
                   "gauge(EN := {bool}, a := {int}, x := FALSE)"),
        bool_calls=("nudge({in_out}, {int})", "nudge(at := raw, by := {int})"),
    )  # fmt: skip


@dataclass(frozen=True)
class RandomProject:
    """The texts of a project by name of file, and its root."""

    texts: dict[str, str]
    root: str = "main"


@st.composite
def random_projects(draw: st.DrawFn) -> RandomProject:
    """A project; a few are refused, for a call that changes what its own statement reads."""
    writer = _Writer(draw)
    function = replace(
        _more(_GLOBALS, ints=("a", "k", "gauge", "kept", "brief.n"), bools=("x", "more")),
        targets={
            "int": ("k", "gauge", "g0", "kept"),
            "bool": ("more", "gb", "at0"),
            "in_out": ("k",),
        },
        calls=("brief(by := {int}, at := {in_out});", "brief(at := k, n => gauge);"),
        counter="j",
    )
    base, program = _base_scope(), _program_scope()
    method = replace(
        _more(base, ints=("v", "l", "Twice")),
        ints=("v", "l", "Twice", "n", "level", "g0", "2", "all", "each"),
        bools=("on", "q", "gb", "t.Q", "own"),
        targets={"int": ("l", "Twice", "n", "all", "each"), "bool": ("q", "here")},
        enums=("m", "gm"),
        words=("kept.w",),
        calls=(),
        int_calls=("gauge({int}, {bool})",),
        bool_calls=(),
        counter="",
    )
    action = replace(method, ints=("n", "level", "g0", "2"), targets={"int": ("n", "kept.n")})
    derived = _more(base, ints=("d",), bools=("extra",))
    derived = replace(derived, targets={**base.targets, "bool": ("extra", "q"), "int": ("d", "n")})
    blocks = BLOCK.format(
        body=writer.body(base, 2, 3),
        action=writer.body(action, 0, 1),
        method=writer.body(method, 1, 1),
        before=writer.body(derived, 1),
        after=writer.body(derived, 1),
        twice=writer.pick("n", "v * d", "SUPER^.Twice(v)"),
    )
    functions = FUNCTION.format(body=writer.body(function, 2, 1))
    body = writer.body(program, 2, 5)
    return RandomProject(
        {"GVL.st": TYPES, "main.st": functions + blocks + PROGRAM.format(body=body)}
    )


@dataclass(frozen=True)
class Act:
    """A scan with its inputs, or a restart; before it, perhaps a timer elapses."""

    inputs: dict[str, int]
    elapses: int | None
    restarts: bool


def random_acts() -> st.SearchStrategy[list[Act]]:
    """What happens to a controller, one scan after the other."""
    inputs = st.fixed_dictionaries({n: st.integers(*span) for n, span in INPUTS.items()})
    restarts = st.integers(0, 15).map(lambda number: number == 0)
    act = st.builds(Act, inputs, st.none() | st.integers(0, 3), restarts)
    return st.lists(act, min_size=1, max_size=8)
