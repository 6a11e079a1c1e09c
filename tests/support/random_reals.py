"""Random programs over one REAL input, held against themselves executed as written.

The checked program takes a class of values; the written one every value of it. Both must answer
alike, for values next to where they change as well.
"""

from __future__ import annotations

import re
import struct
from collections import Counter
from collections.abc import Iterator
from random import Random

from interlock.base.errors import InputError
from interlock.st.direct.controller import DirectController
from interlock.st.idle import without_idle, without_real_outputs
from interlock.st.interpret import Controller
from interlock.st.layout import Settings
from interlock.st.load import load_project
from interlock.st.number_line import LIMIT
from interlock.st.reals import rounded
from interlock.st.types import EnumType

_NUMBERS = (
    "0.0",
    "0.1",
    "1.0",
    "2.5",
    "-3.0",
    "20.0",
    "37.5",
    "80.0",
    "100.0",
    "27648.0",
    "1.0E-3",
)


def random_text(random: Random) -> str:
    """A program that scales, limits, keeps and compares its input `x`."""

    kind = random.choice(("REAL", "REAL", "LREAL"))

    def number() -> str:
        # Nothing writes w.
        return random.choice((*_NUMBERS, f"INT_TO_{kind}(w)"))

    def made(of: str) -> str:
        return random.choice(
            (
                f"{of} * {number()}",
                f"{of} / {random.choice(_NUMBERS[1:])}",
                f"{of} + {number()}",
                f"{number()} - {of}",
                f"ABS({of})",
                f"LIMIT(0.0, {of}, 100.0)",
                f"LIMIT({number()}, {of}, {number()})",
                f"MIN({of}, {number()})",
                f"SQRT({of})",
                f"{of} * 1.0E32",
                f"-{of}",
                f"SEL(a, {of}, {number()})",
            )
        )

    def asked(of: str) -> str:
        compared = f"{of} {random.choice(('<', '<=', '>', '>=', '=', '<>'))} {number()}"
        whole = f"REAL_TO_INT(LIMIT(0.0, {of}, 5.0)) > 2"
        return random.choice((compared, compared, whole, f"REAL_TO_BOOL({of})"))

    lines = [f"u := {made('x')};", f"v := {made('u')};"]
    lines.append(f"IF {asked('v')} THEN q := TRUE; ELSIF {asked('x')} THEN q := FALSE; END_IF;")
    lines.append(random.choice(("IF a THEN k := v; END_IF;", "k := x;", f"k := {made('v')};")))
    lines.append(f"r := {asked('k')} OR a AND {asked('u')};")
    random.shuffle(lines)
    body = "\n".join(lines).replace("REAL_TO_INT", f"{kind}_TO_INT")
    return (
        f"PROGRAM p VAR_INPUT x : {kind}; a : BOOL; END_VAR\n"
        f"VAR_OUTPUT q, r : BOOL; END_VAR VAR u, v, k : {kind}; w : INT := 40; END_VAR\n"
        f"{body}\nEND_PROGRAM"
    )


def _near(value: float, kind: str) -> Iterator[float]:
    """`value` and its two neighbours in its type."""
    real, whole = ("<f", "<i") if kind == "REAL" else ("<d", "<q")
    (place,) = struct.unpack(whole, struct.pack(real, abs(value)))
    for at in (place - 1, place, place + 1):
        (found,) = struct.unpack(real, struct.pack(whole, abs(at)))
        yield found if (value >= 0) is (at >= 0) else -found


def disagreement(random: Random, counts: Counter[str]) -> str:
    """Where a random program as written and as checked differ; empty where they do not."""
    text = random_text(random)
    try:
        loaded = load_project({"p.st": text})
        program = without_idle(without_real_outputs(loaded.program))[0]
        checked = Controller(program, Settings())
    except InputError as refused:
        counts[f"refused: {refused.mistakes[0].says.partition(chr(39))[0]}"] += 1
        return ""
    counts["compared"] += 1
    written = DirectController(loaded.files, loaded.root, Settings())
    type_ = next(v.type for v in loaded.program.inputs if v.name == "x")
    assert isinstance(type_, EnumType)
    kind = "LREAL" if "LREAL" in type_.name else "REAL"
    classes = [_span(label, kind) for label in type_.labels]
    values = [v for c in classes for end in c for v in _near(end, kind)]
    values += [v for text in _NUMBERS for v in _near(float(text), kind)]
    values = [v for v in values if any(lo <= v <= hi for lo, hi in classes)]
    for _ in range(60):
        x, a = random.choice(values), random.randrange(2)
        number = next(n for n, (lo, hi) in enumerate(classes) if lo <= x <= hi)
        ours, theirs = checked.scan({"x": number, "a": a}), written.scan({"x": x, "a": a})
        answers = [(name, theirs.outputs[name], value) for name, value in ours.outputs.items()]
        lines = [{flaw.place.line for flaw in one.defects} for one in (theirs, ours)]
        for found in (*answers, ("flaws in lines", *lines)):
            if found[1] != found[2]:
                return f"x = {x!r}, class {type_.labels[number]}: {found}\n{text}"
    return ""


def _span(label: str, kind: str) -> tuple[float, float]:
    """The least and the greatest number of a class, as its label tells."""
    lo, hi = -LIMIT, LIMIT
    limits = re.findall(r"(from|above|up to|below) (\S+)", label)
    if not limits and label != "any":
        lo = hi = rounded(float(label), kind)
    for word, text in limits:
        near = sorted(_near(rounded(float(text), kind), kind))
        value = rounded(float(text), kind)
        match word:
            case "from":
                lo = value
            case "above":
                lo = min(v for v in near if v > value)
            case "up to":
                hi = value
            case _:
                hi = max(v for v in near if v < value)
    return lo, hi
