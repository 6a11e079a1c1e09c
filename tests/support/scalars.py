"""Random programs of scalars of every type, as syntax trees, from a seed; and what is done to them.

Trees rather than text: some of what elaboration makes, such as a computed choice, is never written.
"""

from __future__ import annotations

from random import Random

from interlock.base.errors import Place
from interlock.st import syntax as sx
from interlock.st.types import LIMITS, SIGNED, UNSIGNED

AT = Place("random.st", 1, 1)

INTEGERS = ("SINT", "INT", "DINT", "USINT", "UINT", "UDINT")
BITS = ("BYTE", "WORD", "DWORD")
ENUM = "E"
_LABELS = ("A", "B", "C")
_ORDERS = ("<", ">", "<=", ">=", "=", "<>")

INPUTS = {
    "b0": "BOOL",
    "b1": "BOOL",
    "i_sint": "SINT",
    "i_uint": "UINT",
    "i_int": "INT",
    "i_small": "INT (-3..4)",
    "i_byte": "BYTE",
    "i_word": "WORD",
    "i_time": "TIME",
}
_VARIABLES = {
    **{f"v_{base.lower()}": base for base in (*INTEGERS, *BITS)},
    "v_small": "INT (-2..5)",
    "v_time": "TIME",
    "v_e": ENUM,
    "v_real": "REAL",
    "q0": "BOOL",
    "q1": "BOOL",
}
_TEMPORARIES = {"t_int": "INT", "t_word": "WORD", "t_bool": "BOOL", "t_dint": "DINT"}
_BLOCKS = {"ton1": "TON", "tof1": "TOF", "tp1": "TP", "cu": "CTU", "cd": "CTD", "cud": "CTUD"}


def name(text: str) -> sx.Name:
    """A name, wherever it stands."""
    return sx.Name(text, AT)


def number(value: int, prefix: str = "") -> sx.Expression:
    """A literal; a negative one with its sign before it."""
    if value < 0 and not prefix:
        return sx.Unary("-", sx.Number(-value, AT), AT)
    return sx.Number(value, AT, prefix)


def type_of(text: str) -> sx.TypeRef:
    """A type as a declaration has it, with its range where one is written."""
    base, _, rest = text.partition(" (")
    if not rest:
        return sx.TypeRef(base, None, None, AT)
    lo, hi = rest.rstrip(")").split("..")
    return sx.TypeRef(base, number(int(lo)), number(int(hi)), AT)


def declared(
    kind: str, variables: dict[str, str], initial: dict[str, sx.Expression] | None = None
) -> tuple[sx.Declaration, ...]:
    """Declarations of variables by name and type."""
    given = initial or {}
    return tuple(
        sx.Declaration(kind, False, (name(v),), type_of(t), given.get(v), AT)
        for v, t in variables.items()
    )


class Scalars:
    """Makes one program.

    Parameters
    ----------
    seed : int
    counted : bool
        Whether timers are counted, so that ET may be read.
    with_reals : bool
    """

    def __init__(self, seed: int, counted: bool, with_reals: bool) -> None:
        self._random = Random(seed)
        self._counted = counted
        self._with_reals = with_reals
        self._n_places = 0

    def _at(self) -> Place:
        # Each place once, so that two flaws are never taken for one.
        self._n_places += 1
        return Place("random.st", self._n_places, 1)

    def _pick(self, *choices: str) -> str:
        return self._random.choice(choices)

    def _one_in(self, n: int) -> bool:
        return self._random.randrange(n) == 0

    def program(self) -> sx.Program:
        """A program of up to eight statements."""
        body = tuple(self.statement(2) for _ in range(self._random.randint(1, 8)))
        labels = tuple(
            sx.EnumLabel(label, number(value), AT)
            for label, value in zip(_LABELS, (3, -1, 7), strict=True)
        )
        enum = sx.TypeDef(ENUM, sx.TypeRef("", None, None, AT, labels=labels), None, AT)
        inputs = declared("VAR_INPUT", INPUTS, {"i_int": number(5)})
        kept = {v: t for v, t in _VARIABLES.items() if self._with_reals or t != "REAL"}
        outputs = declared("VAR_OUTPUT", {v: t for v, t in kept.items() if v < "v"})
        memory = declared("VAR", {v: t for v, t in kept.items() if v >= "v"})
        temps = declared("VAR_TEMP", _TEMPORARIES, {"t_int": number(-7)})
        blocks = declared("VAR", _BLOCKS)
        constant = sx.Declaration(
            "VAR", False, (name("K"),), type_of("DINT"), number(100000), AT, constant=True
        )
        declarations = (constant, *inputs, *outputs, *memory, *temps, *blocks)
        return sx.Program("random", (enum,), declarations, body, AT)

    # Expressions

    def _names(self, *types: str) -> list[str]:
        known = {**INPUTS, **_VARIABLES, **_TEMPORARIES}
        return [v for v, t in known.items() if t.partition(" ")[0] in types]

    def _literal(self, base: str) -> sx.Expression:
        lo, hi = LIMITS[base]
        near = self._random.choice((lo, hi, 0, 1, 2, 3, 7, self._random.randint(lo, hi)))
        return number(near, base if self._one_in(4) and near >= 0 else "")

    def whole(self, depth: int) -> sx.Expression:
        """An integer of some type."""
        kind = self._random.randrange(13 if depth else 3)
        at = self._at()
        match kind:
            case 0:
                return name(self._random.choice(self._names(*INTEGERS)))
            case 1:
                if self._one_in(4):
                    return name(self._pick("K", "cu.CV", "cd.CV", "cud.CV"))
                return self._literal(self._pick(*INTEGERS))
            case 2:
                return number(self._random.randint(-4, 6))
            case 3 | 4 | 5:
                op = self._pick("+", "-", "*", "/", "MOD")
                return sx.Binary(op, self.whole(depth - 1), self.whole(depth - 1), at)
            case 6:
                return sx.Unary("-", self.whole(depth - 1), at)
            case 7:
                function = self._pick("MIN", "MAX", "ADD")
                return sx.Call(function, (self.whole(depth - 1), self.whole(depth - 1)), at)
            case 8:
                return self._chosen([self.whole(depth - 1) for _ in range(3)], at)
            case 9:
                target = self._pick(*INTEGERS)
                source = self._random.choice((self.whole, self.bits, self.time, self.truth))
                return sx.Call(f"TO_{target}", (source(depth - 1),), at)
            case 10:
                exponent = number(self._random.randint(-1, 3))
                base = name(self._pick("i_small", "v_small", "i_sint"))
                return sx.Binary("**", base, exponent, at)
            case 11:
                lists = tuple(self.whole(depth - 1) for _ in range(3))
                return sx.Call("LIMIT", lists, at)
            case _:
                return self._sorted_out(depth, at)

    def _sorted_out(self, depth: int, at: Place) -> sx.Expression:
        """An integer out of another type."""
        if self._with_reals and self._one_in(2):
            function = self._pick("TRUNC", "REAL_TO_INT", "REAL_TO_USINT", "TO_DINT")
            return sx.Call(function, (self.real(depth - 1),), at)
        if self._one_in(2):
            return sx.Call("ABS", (self.whole(depth - 1),), at)
        enum = sx.Qualified(ENUM, self._pick(*_LABELS), at)
        return sx.Binary("+", self._pick_one(enum, name("v_e")), self.whole(depth - 1), at)

    def _pick_one(self, *choices: sx.Expression) -> sx.Expression:
        return self._random.choice(choices)

    def _chosen(self, values: list[sx.Expression], at: Place) -> sx.Expression:
        if self._one_in(2):
            return sx.Call("SEL", (self.truth(0), values[0], values[1]), at)
        index = name(self._pick("i_small", "v_small", "i_sint"))
        return sx.Choice(index, self._random.randint(-1, 2), tuple(values), at)

    def bits(self, depth: int) -> sx.Expression:
        """A bit string of some type."""
        at = self._at()
        match self._random.randrange(9 if depth else 2):
            case 0:
                return name(self._random.choice(self._names(*BITS)))
            case 1:
                base = self._pick(*BITS)
                return number(self._random.randint(*LIMITS[base]), base)
            case 2 | 3:
                other = (
                    self.bits(depth - 1) if self._one_in(2) else number(self._random.randrange(9))
                )
                return sx.Junction(self._pick("AND", "OR"), (self.bits(depth - 1), other), at)
            case 4:
                return sx.Binary("XOR", self.bits(depth - 1), self.bits(depth - 1), at)
            case 5:
                return sx.Unary("NOT", self.bits(depth - 1), at)
            case 6:
                places = self._pick_one(number(self._random.randint(-1, 20)), name("i_small"))
                function = self._pick("SHL", "SHR", "ROL", "ROR")
                return sx.Call(function, (self.bits(depth - 1), places), at)
            case 7:
                source = self._random.choice((self.whole, self.bits, self.truth))
                return sx.Call(f"TO_{self._pick(*BITS)}", (source(depth - 1),), at)
            case _:
                return self._chosen([self.bits(depth - 1) for _ in range(3)], at)

    def time(self, depth: int) -> sx.Expression:
        """A duration."""
        at = self._at()
        match self._random.randrange(7 if depth else 2):
            case 0:
                et = ["ton1.ET", "tp1.ET"] if self._counted else []
                return name(self._random.choice(["i_time", "v_time", *et]))
            case 1:
                return sx.Duration(self._random.choice((0, 50, 100, 250, 70000)), at)
            case 2 | 3:
                op = self._pick("+", "-")
                return sx.Binary(op, self.time(depth - 1), self.time(depth - 1), at)
            case 4:
                op = self._pick("*", "/")
                return sx.Binary(op, self.time(depth - 1), self.whole(depth - 1), at)
            case 5:
                return sx.Call("TO_TIME", (self.whole(depth - 1),), at)
            case _:
                pair = (self.time(depth - 1), self.time(depth - 1))
                return sx.Call(self._pick("MIN", "MAX"), pair, at)

    def real(self, depth: int) -> sx.Expression:
        """A real number of few values."""
        at = self._at()
        match self._random.randrange(8 if depth > 0 else 3):
            case 0:
                return name("v_real")
            case 1:
                return sx.Real(self._pick("0.1", "2.5", "-0.5", "1e30", "3.0"), at)
            case 2:
                small = name(self._pick("i_small", "v_small", "i_small"))
                return sx.Call("INT_TO_REAL", (small,), at)
            case 3 | 4:
                op = self._pick("+", "-", "*", "/")
                return sx.Binary(op, self.real(depth - 1), self.real(depth - 1), at)
            case 5:
                return sx.Call(self._pick("SQRT", "ABS", "SIN", "LN"), (self.real(depth - 1),), at)
            case 6:
                pair = (self.real(depth - 1), self.real(depth - 1))
                return sx.Call(self._pick("MIN", "MAX"), pair, at)
            case _:
                return self._chosen([self.real(depth - 1) for _ in range(3)], at)

    def truth(self, depth: int) -> sx.Expression:
        """A BOOL."""
        at = self._at()
        kinds = 9 if depth else 3
        match self._random.randrange(kinds):
            case 0:
                names = ("b0", "b1", "q0", "q1", "t_bool", "ton1.Q", "tp1.Q", "cu.Q", "cd.Q")
                return name(self._pick(*names, "cud.QU", "cud.QD", "tof1.Q"))
            case 1:
                base = self._random.choice(self._names(*BITS, "INT"))
                return sx.Member(name(base), str(self._random.randrange(8)), at)
            case 2:
                return self._pick_one(sx.Truth(True, at), number(0), number(1))
            case 3 | 4:
                pairs = [
                    self.whole,
                    self.bits,
                    self.time,
                    *([self.real] if self._with_reals else []),
                ]
                make = self._random.choice(pairs)
                op = self._pick(*_ORDERS)
                return sx.Binary(op, make(depth - 1), make(depth - 1), at)
            case 5:
                label = sx.Qualified(ENUM, self._pick(*_LABELS), at)
                other = self._pick_one(label, number(7), number(3))
                return sx.Binary(self._pick("=", "<>"), name("v_e"), other, at)
            case 6:
                both = (self.truth(depth - 1), self.truth(depth - 1))
                return sx.Junction(self._pick("AND", "OR"), both, at)
            case 7:
                return sx.Unary("NOT", self.truth(depth - 1), at)
            case _:
                source = self._random.choice((self.whole, self.bits, self.time))
                return sx.Call("TO_BOOL", (source(depth - 1),), at)

    # Statements

    def statement(self, depth: int) -> sx.Statement:
        """An assignment, a branch or a call."""
        at = self._at()
        match self._random.randrange(9 if depth else 6):
            case 0 | 1 | 2 | 3:
                return self._assignment(at)
            case 4:
                return self._call(at)
            case 5:
                if self._one_in(4):
                    return sx.Defect("the loop runs more than 3 times", at)
                target = sx.Member(name(self._pick("v_word", "v_int", "v_byte", "t_word")), "3", at)
                return sx.Assign(target, self.truth(1), at)
            case 6 | 7:
                branches = tuple(
                    sx.Branch(self.truth(2), self._body(depth), self._at())
                    for _ in range(self._random.randint(1, 2))
                )
                return sx.If(branches, self._body(depth), at)
            case _:
                labels = [sx.Label(number(v), None, at) for v in (-1, 0)]
                labels.append(sx.Label(number(2), number(9), at))
                cases = tuple(
                    sx.CaseBranch((label,), self._body(depth), self._at()) for label in labels
                )
                selector = name(self._pick("i_sint", "v_int", "i_int", "t_dint"))
                return sx.Case(selector, cases, self._body(depth), at)

    def _body(self, depth: int) -> tuple[sx.Statement, ...]:
        return tuple(self.statement(depth - 1) for _ in range(self._random.randrange(3)))

    def _assignment(self, at: Place) -> sx.Statement:
        known = {**_VARIABLES, **_TEMPORARIES}
        if not self._with_reals:
            del known["v_real"]
        target = self._random.choice(list(known))
        base = known[target].partition(" ")[0]
        if base in SIGNED or base in UNSIGNED:
            value = self.whole(2)
            if self._one_in(4):
                value = sx.Binary("+", name(target), number(1), self._at())
        elif base in BITS:
            value = self.bits(2) if self._random.randrange(4) else self.whole(1)
        elif base == "TIME":
            value = self.time(2)
        elif base == "REAL":
            value = self.real(2) if self._random.randrange(4) else name("i_small")
        elif base == ENUM:
            value = sx.Qualified(ENUM, self._pick(*_LABELS), at)
        else:
            value = self.truth(2)
        return sx.Assign(name(target), value, at)

    def _call(self, at: Place) -> sx.Statement:
        instance = self._pick(*_BLOCKS)
        block = _BLOCKS[instance]
        given: dict[str, sx.Expression]
        if block in ("TON", "TOF", "TP"):
            given = {"IN": self.truth(1), "PT": self.time(1)}
        else:
            preset = self._pick_one(number(2), name("i_small"), name("v_int"), name("v_dint"))
            given = {"PV": preset}
            inputs = {"CTU": ("CU", "R"), "CTD": ("CD", "LD"), "CTUD": ("CU", "CD", "R", "LD")}
            given |= {clock: self.truth(1) for clock in inputs[block]}
        arguments = tuple(sx.InputArgument(n, value, at) for n, value in given.items())
        return sx.Invoke(name(instance), arguments, (), at)


def input_values(random: Random) -> dict[str, int]:
    """A value for every input; the limits of its type more often than others."""
    found = {}
    for variable, type_ in INPUTS.items():
        base = type_.partition(" ")[0]
        lo, hi = (0, 1) if base == "BOOL" else LIMITS[base]
        if "(" in type_:
            lo, hi = -3, 4
        near = [v for v in (lo, hi, 0, 1, 2, 3, 100) if lo <= v <= hi]
        found[variable] = random.choice([*near, random.randint(lo, hi)])
    return found
