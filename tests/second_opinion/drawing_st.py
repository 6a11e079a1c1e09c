"""Random programs over the names of a random model."""

from __future__ import annotations

import random

from tests.second_opinion.names import Names, joined

_PRESETS = ["T#0s", "T#100ms", "T#150ms", "T#250ms"]
_ORDERS = ["<", ">", "<=", ">=", "=", "<>"]


def draw_program(by: random.Random, names: Names) -> str:
    """The text of a program."""
    return _Writer(by, names).text()


class _Writer:
    """Writes one program."""

    def __init__(self, by: random.Random, names: Names) -> None:
        self._by = by
        self._names = names
        self._locals = [f"l{n}" for n in range(by.choice([0, 1, 1, 2]))]
        blocks = ["TON", "TON", "TOF", "TP", "SR", "RS", "R_TRIG", "F_TRIG", "CTU"]
        drawn = [by.choice(blocks) for _ in range(by.choice([0, 1, 1, 1, 2]))]
        self._blocks = {f"b{n}": block for n, block in enumerate(drawn)}
        self._presets = {name: by.choice(_PRESETS) for name in self._blocks}
        self._count = by.random() < 0.3
        self._bools = [*names.bool_inputs, *names.bool_inputs, *names.bool_outputs, *self._locals]
        self._numbers = [
            name for name in ("level", "n0") if name in {**names.inputs, **names.outputs}
        ]
        self._numbers += ["k0"] if self._count else []

    def text(self) -> str:
        by, names = self._by, self._names
        lines = []
        if "place" in names.inputs:
            lines.append(f"TYPE m0 : ({', '.join(names.machines['m0'])}); END_TYPE")
        lines += ["PROGRAM Drawn", "VAR_INPUT"]
        lines += [f"  {name} : {type_};" for name, type_ in names.inputs.items()]
        lines.append("END_VAR")
        kept = " RETAIN" if by.random() < 0.15 else ""
        lines.append(f"VAR_OUTPUT{kept}")
        for name, type_ in names.outputs.items():
            first = " := TRUE" if type_ == "BOOL" and by.random() < 0.15 else ""
            lines.append(f"  {name} : {type_}{first};")
        lines.append("END_VAR")
        lines += self._memory()
        lines += self._statements()
        return "\n".join([*lines, "END_PROGRAM", ""])

    def _memory(self) -> list[str]:
        lines = []
        declared = [f"{name} : BOOL;" for name in self._locals]
        declared += [f"{name} : {block};" for name, block in self._blocks.items()]
        declared += ["k0 : INT (-1..2) := 0;"] if self._count else []
        for text in declared:
            kept = " RETAIN" if self._by.random() < 0.25 else ""
            lines.append(f"VAR{kept} {text} END_VAR")
        return lines

    def _statements(self) -> list[str]:
        by = self._by
        statements = [f"{name} := {self._truth(3)};" for name in self._names.bool_outputs]
        statements += [f"{name} := {self._truth(2)};" for name in self._locals]
        statements += [self._call(name) for name in self._blocks]
        if self._count:
            statements.append(f"k0 := {self._number(2)};")
        if "n0" in self._names.outputs:
            statements.append(f"n0 := {self._number(2)};")
        by.shuffle(statements)
        for number, statement in enumerate(statements):
            if by.random() < 0.3:
                statements[number] = self._wrapped(statement)
        if self._blocks and by.random() < 0.15:
            statements.append(self._call(by.choice(list(self._blocks))))
        return statements

    def _wrapped(self, statement: str) -> str:
        """A statement that is reached only sometimes."""
        by = self._by
        other = ""
        if by.random() < 0.5:
            name = by.choice([*self._names.bool_outputs, *self._locals])
            other = f"\nELSE\n  {name} := {self._truth(1)};"
        if self._numbers and by.random() < 0.3:
            number = by.choice(self._numbers)
            return (
                f"CASE {number} OF\n-1, 1: {statement}\n2..3: {other[6:] or statement}\nEND_CASE;"
            )
        if "place" in self._names.inputs and by.random() < 0.4:
            label = by.choice(self._names.machines["m0"])
            return f"CASE place OF\n{label}: {statement}{other}\nEND_CASE;"
        if by.random() < 0.3:
            name = by.choice([*self._names.bool_outputs, *self._locals])
            other = f"\nELSIF {self._truth(1)} THEN\n  {name} := NOT {name};{other}"
        return f"IF {self._truth(2)} THEN\n  {statement}{other}\nEND_IF;"

    def _call(self, name: str) -> str:
        by, block = self._by, self._blocks[name]
        on = self._truth(2)
        taken = by.choice(["", "", "", f", Q => {by.choice(self._names.bool_outputs)}"])
        match block:
            case "SR":
                return f"{name}(S1 := {on}, R := {self._truth(1)});"
            case "RS":
                return f"{name}(S := {on}, R1 := {self._truth(1)});"
            case "R_TRIG" | "F_TRIG":
                return f"{name}(CLK := {on}{taken});"
            case "CTU":
                preset = by.choice(["1", "2", *self._numbers])
                if "n0" in self._names.outputs and by.random() < 0.3:
                    taken = ", CV => n0"
                return f"{name}(CU := {on}, R := {self._truth(1)}, PV := {preset}{taken});"
        return f"{name}(IN := {on}, PT := {self._presets[name]}{taken});"

    def _truth(self, most: int) -> str:
        return joined(self._by, self._atom, most)

    def _atom(self) -> str:
        by = self._by
        found = list(self._bools)
        for name, block in self._blocks.items():
            found += [f"{name}.Q1" if block in ("SR", "RS") else f"{name}.Q"] * 2
            if block == "CTU":
                found.append(f"{name}.CV {by.choice(_ORDERS)} 1")
            if block in ("TON", "TOF", "TP") and self._names.counted:
                found.append(f"{name}.ET {by.choice(_ORDERS)} T#{by.choice([0, 100, 150, 200])}ms")
        if self._numbers:
            found.append(f"{by.choice(self._numbers)} {by.choice(_ORDERS)} {by.randint(-1, 2)}")
        if "place" in self._names.inputs:
            found.append(f"place = {by.choice(self._names.machines['m0'])}")
        return by.choice(found)

    def _number(self, depth: int) -> str:
        by = self._by
        plain = [*self._numbers, str(by.randint(-1, 2))]
        if depth == 0 or by.random() < 0.3:
            return by.choice(plain)
        a, b = self._number(depth - 1), self._number(depth - 1)
        forms = [
            f"SEL({self._truth(1)}, {a}, {b})",
            f"SEL({self._truth(1)}, {a}, {b})",
            f"LIMIT(0, ({a}) + ({b}), 1)",
            f"MIN({a}, {b}, 1)",
            f"MAX({a}, {b})",
            f"ABS({a})",
            f"({a}) + ({b})",
            f"({a}) - ({b})",
            f"({a}) * ({b})",
            f"({a}) / ({b})",
            f"({a}) MOD ({b})",
            f"-({a})",
        ]
        return by.choice(forms)
