"""Random drawn bodies, as files of the exchange format, and what they do by a slow evaluator.

The evaluator is written from the standard's rules and apart from what reads the files: every part
has a turn, is evaluated once when all that comes into it is, and a wire that leads back carries the
value of the evaluation before.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

from hypothesis import strategies as st

from tests.support.exchange_files import Sheet, Wire, interface, pou, project, st_body

INPUTS = {"a": 1, "b": 1, "c": 1, "k": 3}
BOOLS = ("p", "q", "r")
NUMBERS = ("n", "m")
_FACES = {
    "VAR_INPUT": "a:BOOL;b:BOOL;c:BOOL;k:INT",
    "VAR_OUTPUT": "p:BOOL;q:BOOL;n:INT",
}
_TOGGLE = pou(
    "Toggle",
    st_body("IF go THEN y := NOT y; END_IF;"),
    interface(VAR_INPUT="go:BOOL", VAR_OUTPUT="y:BOOL"),
    "functionBlock",
)
_TWICE = pou(
    "Twice",
    st_body("Twice := 2 * x;"),
    interface("INT", VAR_INPUT="x:INT"),
    "function",
)


@dataclass
class Part:
    """An element of a random body.

    Attributes
    ----------
    kind : str
        ``contact``, ``coil``, ``value``, ``assign``, ``jump``, ``return``, or a block's type.
    at : tuple of int
        Row and column.
    wires : list of list of int
        What is connected to each of its inputs: numbers of parts; -1 is the rail.
    text : str
        The variable or the expression it shows; the label of a jump.
    sign : str
        ``negated``, ``rising``, ``falling``, ``set``, ``reset`` or empty.
    enable : int or None
        What enables it, where it is a function with EN: the number of a part.
    order : int or None
        Its executionOrderId.
    """

    kind: str
    at: tuple[int, int]
    wires: list[list[int]] = field(default_factory=list)
    text: str = ""
    sign: str = ""
    enable: int | None = None
    order: int | None = None

    @property
    def number(self) -> bool:
        """Whether its value is an INT."""
        return self.kind in ("ADD", "MOVE", "Twice", "SEL") or (
            self.kind == "value" and self.text in ("k", "n", "m", "INT#1")
        )


@dataclass
class Body:
    """A random body; labels by their rows."""

    parts: list[Part]
    labels: dict[int, str]


# Blocks by type: names and kinds of inputs (b or i), the output.
_BLOCKS: Mapping[str, tuple[str, str, str]] = {
    "AND": ("IN1,IN2", "bb", "OUT"),
    "OR": ("IN1,IN2", "bb", "OUT"),
    "XOR": ("IN1,IN2", "bb", "OUT"),
    "NOT": ("IN", "b", "OUT"),
    "GT": ("IN1,IN2", "ii", "OUT"),
    "ADD": ("IN1,IN2", "ii", "OUT"),
    "MOVE": ("IN", "i", "OUT"),
    "SEL": ("G,IN0,IN1", "bii", "OUT"),
    "Twice": ("x", "i", "Twice"),
    "SR": ("S1,R", "bb", "Q1"),
    "RS": ("S,R1", "bb", "Q1"),
    "R_TRIG": ("CLK", "b", "Q"),
    "Toggle": ("go", "b", "y"),
}
_LOOPING = ("AND", "OR", "XOR", "NOT", "SR", "RS", "contact")
_INSTANCES = ("SR", "RS", "R_TRIG", "Toggle")


@st.composite
def bodies(draw: st.DrawFn) -> Body:
    """Random bodies of one to four groups of parts that hang together or fall apart."""
    parts: list[Part] = []
    for group in range(draw(st.sampled_from((1, 1, 2, 3)))):
        _draw_group(draw, 10 * (group + 1), parts)
    labels: dict[int, str] = {}
    if draw(st.integers(0, 2)) == 0:
        acting = [p for p in parts if p.kind not in ("value", "contact")]
        for order, part in enumerate(draw(st.permutations(acting))):
            part.order = order + 1
        return Body(parts, labels)
    for network in networks_of(parts):
        row = min(part.at[0] for part in network)
        later = sorted({p.at[0] for p in parts if p.at[0] > row})
        conditions = [p for p in network if _gives(p) and not p.number]
        if later and conditions and draw(st.integers(0, 3)) == 0:
            goal = draw(st.sampled_from(later))
            labels[goal] = f"L{goal}"
            wire = parts.index(draw(st.sampled_from(conditions)))
            parts.append(Part("jump", (row + 5, 90), [[wire]], f"L{goal}"))
    return Body(parts, labels)


def _gives(part: Part) -> bool:
    return part.kind not in ("coil", "assign", "jump", "return")


def _draw_group(draw: st.DrawFn, row: int, parts: list[Part]) -> None:
    before = len(parts)

    def place() -> tuple[int, int]:
        return row + draw(st.integers(0, 4)), draw(st.integers(1, 9))

    def source(wanted: str) -> int:
        fitting = [
            n
            for n, p in enumerate(parts)
            if n >= before and _gives(p) and p.number == (wanted == "i")
        ]
        if fitting and draw(st.integers(0, 3)):
            return draw(st.sampled_from(fitting))
        # What the body itself writes tells orders apart.
        texts = ("k", "n", "m", "INT#1") if wanted == "i" else ("a", "b", "c", *BOOLS, *BOOLS)
        sign = "negated" if wanted == "b" and draw(st.integers(0, 3)) == 0 else ""
        parts.append(Part("value", place(), [], draw(st.sampled_from(texts)), sign))
        return len(parts) - 1

    for _ in range(draw(st.integers(2, 6))):
        kind = draw(st.sampled_from(("contact", "contact", "MOVE", *_BLOCKS)))
        if kind == "contact":
            left = [-1] if draw(st.booleans()) else [source("b") for _ in range(2)]
            text = draw(st.sampled_from(("a", "b", *BOOLS)))
            sign = draw(st.sampled_from(("", "", "negated", "rising", "falling")))
            parts.append(Part("contact", place(), [left], text, sign))
            continue
        wires = [[source(wanted)] for wanted in _BLOCKS[kind][1]]
        enable = None
        if kind in ("ADD", "MOVE", "Twice") and draw(st.booleans()):
            enable = source("b")
        parts.append(Part(kind, place(), wires, "", "", enable))
    for part in parts[before:]:
        # Some wires come from what is drawn later, and may lead back.
        later = [n for n in range(before, len(parts)) if parts[n].kind in _LOOPING]
        if part.kind in _LOOPING and later and draw(st.booleans()):
            part.wires[draw(st.integers(0, len(part.wires) - 1))] = [draw(st.sampled_from(later))]
    for _ in range(draw(st.integers(2, 5))):
        wanted = draw(st.sampled_from("bi"))
        wire = source(wanted)
        if wanted == "i":
            parts.append(Part("assign", place(), [[wire]], draw(st.sampled_from(NUMBERS))))
        else:
            sign = draw(st.sampled_from(("", "", "negated", "set", "reset", "rising")))
            kind = draw(st.sampled_from(("coil", "assign")))
            parts.append(Part(kind, place(), [[wire]], draw(st.sampled_from(BOOLS)), sign))
    if draw(st.integers(0, 5)) == 0:
        parts.append(Part("return", (row + 5, 95), [[source("b")]]))


# As a file


def as_file(body: Body) -> str:
    """The file of a random body, in ladder."""
    sheet = Sheet()
    ids = {-1: sheet.rail()} | {n: str(n + 2) for n in range(len(body.parts))}
    instances = []
    for number, part in enumerate(body.parts):
        wires = [tuple(_wire(body, ids, one) for one in wire) for wire in part.wires]
        words = _words(part)
        if part.kind == "contact":
            sheet.contact(part.text, *wires[0], at=part.at, **words)
        elif part.kind == "value":
            sheet.value(part.text, at=part.at, **words)
        elif part.kind == "coil":
            sheet.coil(part.text, *wires[0], at=part.at, **words)
        elif part.kind == "assign":
            sheet.assign(part.text, *wires[0], at=part.at, **words)
        elif part.kind in ("jump", "return"):
            label = part.text if part.kind == "jump" else None
            sheet.end(part.kind, *wires[0], at=part.at, label=label, **words)
        else:
            names, _, output = _BLOCKS[part.kind]
            given = dict(zip(names.split(","), (w[0] for w in wires), strict=True))
            instance = f"i{number}" if part.kind in _INSTANCES else None
            if instance is not None:
                instances.append(f"{instance}:{part.kind}")
            if part.enable is not None:
                given = {"EN": _wire(body, ids, part.enable), **given}
                output = f"ENO,{output}"
            sheet.block(part.kind, given, output, instance, at=part.at, **words)
    for row, label in body.labels.items():
        sheet.end("label", at=(row, 0), label=label)
    faces = interface(**_FACES, VAR=";".join((*instances, "r:BOOL", "m:INT")))
    return project(_TOGGLE, _TWICE, pou("Main", sheet.body("LD"), faces))


def _wire(body: Body, ids: Mapping[int, str], number: int) -> Wire:
    if number < 0:
        return ids[number]
    part = body.parts[number]
    return (ids[number], _BLOCKS[part.kind][2]) if part.kind in _BLOCKS else ids[number]


def _words(part: Part) -> dict[str, str]:
    words = {} if part.order is None else {"executionOrderId": str(part.order)}
    if part.sign == "negated":
        words["negated"] = "true"
    elif part.sign in ("rising", "falling"):
        words["edge"] = part.sign
    elif part.sign:
        words["storage"] = part.sign
    return words


# What it does


def _wired(part: Part) -> list[int]:
    """The parts that give a part its values, in the order of its inputs: EN first."""
    enable = [] if part.enable is None else [part.enable]
    return [*enable, *(one for wire in part.wires for one in wire if one >= 0)]


def networks_of(parts: list[Part]) -> list[list[Part]]:
    """What hangs together, from top to bottom."""
    groups = [{n} for n in range(len(parts))]
    for number, part in enumerate(parts):
        for other in _wired(part):
            one = next(g for g in groups if number in g)
            two = next(g for g in groups if other in g)
            if one is not two:
                groups.remove(two)
                one |= two
    first = {min(group): min((*parts[n].at, n) for n in group) for group in groups}
    in_order = sorted(groups, key=lambda group: first[min(group)])
    return [[parts[n] for n in sorted(group)] for group in in_order]


class Evaluator:
    """Executes a random body, part by part.

    Parameters
    ----------
    body : Body
    """

    def __init__(self, body: Body) -> None:
        self.body = body
        self.values: dict[str, int] = dict.fromkeys((*INPUTS, *BOOLS, *NUMBERS), 0)
        # By number of a part: what it gives, what it saw last (for an edge), what it holds.
        self._gives = dict.fromkeys(range(len(body.parts)), 0)
        # The block for falling edges sees one in its first call without CLK, as in edition 2.
        self._seen = {n: int(p.sign == "falling") for n, p in enumerate(body.parts)}
        self._back = self._wires_back()
        self._done: set[int] = set()

    def _wires_back(self) -> set[tuple[int, int]]:
        """Of every loop the wires to the part that comes first: by number, else leftmost."""
        parts = self.body.parts
        back: set[tuple[int, int]] = set()

        def leads(source: int, goal: int, among: set[int]) -> bool:
            waiting, seen = [source], set()
            while waiting:
                here = waiting.pop()
                for taker in among:
                    wired = here in _wired(parts[taker]) and (here, taker) not in back
                    if wired and taker not in seen:
                        seen.add(taker)
                        waiting.append(taker)
            return goal in seen

        while True:
            every = set(range(len(parts)))
            loops = [n for n in every if leads(n, n, every)]
            if not loops:
                return back
            some = loops[0]
            loop = {n for n in loops if leads(some, n, every) and leads(n, some, every)}
            numbered = {n for n in loop if parts[n].order is not None}
            first = min(
                numbered or loop, key=lambda n: (parts[n].order, parts[n].at[1], parts[n].at[0], n)
            )
            back |= {(n, first) for n in loop if n in _wired(parts[first])}

    def scan(self, inputs: Mapping[str, int]) -> None:
        """Execute the body once."""
        self.values.update(inputs)
        self._done.clear()
        parts = self.body.parts
        used = {one for part in parts for one in _wired(part)}
        goals: list[tuple[tuple[int, ...], str | list[Part]]] = [
            ((row, 0), label) for row, label in self.body.labels.items()
        ]
        networks = networks_of(parts)
        if any(part.order is not None for part in parts):
            # Numbers go through all networks.
            networks = [list(parts)]
        for network in networks:
            least = min((*p.at, parts.index(p)) for p in network)
            goals.append(((least[0], 1, *least[1:]), network))
        to = ""
        for _, goal in sorted(goals, key=lambda pair: pair[0]):
            if isinstance(goal, str):
                to = "" if goal == to else to
            elif not to:
                to = self._network(goal, used)
                if to == "return":
                    return

    def _network(self, network: list[Part], used: set[int]) -> str:
        parts = self.body.parts
        feeding = {source for source, _ in self._back}
        turns = [
            n
            for n, part in enumerate(parts)
            if part in network
            and (
                not _gives(part)
                or part.kind in _INSTANCES
                or n in feeding
                or (part.kind in _BLOCKS and (n not in used))
                or (part.kind == "Twice" and part.enable is None)
                or (part.kind in _BLOCKS and part.order is not None)
            )
        ]
        leaving = []
        for number in sorted(turns, key=lambda n: (parts[n].order or 0, *parts[n].at, n)):
            self._evaluate(number, parts[number].order)
            if parts[number].kind in ("jump", "return"):
                leaving.append(number)
        for number in leaving:
            if self._gives[number]:
                return parts[number].text or "return"
        return ""

    def _evaluate(self, number: int, turn: int | None) -> None:
        """Evaluate a part, and what it needs before, but for what has a later turn."""
        if number in self._done:
            return
        part = self.body.parts[number]
        for source in _wired(part):
            later = turn is not None and (self.body.parts[source].order or 0) > turn
            if (source, number) not in self._back and not later:
                self._evaluate(source, turn)
        self._done.add(number)
        inputs = [int(any(self._in(one) for one in wire)) for wire in part.wires]
        if part.kind in _BLOCKS:
            kinds = _BLOCKS[part.kind][1]
            inputs = [
                value if kind == "b" else self._in(wire[0])
                for value, kind, wire in zip(inputs, kinds, part.wires, strict=True)
            ]
        elif part.kind == "assign" and part.text in NUMBERS:
            inputs = [self._in(part.wires[0][0])]
        self._do(number, part, inputs)

    def _in(self, source: int) -> int:
        return 1 if source < 0 else self._gives[source]

    def _do(self, number: int, part: Part, inputs: list[int]) -> None:
        if part.kind == "value":
            value = self.values.get(part.text, 1)
            self._gives[number] = int(not value) if part.sign == "negated" else value
        elif part.kind == "contact":
            value = self.values[part.text]
            if part.sign in ("rising", "falling"):
                value = self._edge(number, value, part.sign)
            elif part.sign == "negated":
                value = int(not value)
            self._gives[number] = inputs[0] & value
        elif part.kind in ("coil", "assign"):
            self._write(number, part, inputs[0])
        elif part.kind in ("jump", "return"):
            self._gives[number] = inputs[0]
        elif part.enable is None or self._gives[part.enable]:
            self._gives[number] = self._block(number, part.kind, inputs)

    def _edge(self, number: int, value: int, sign: str) -> int:
        before, self._seen[number] = self._seen[number], value
        if sign == "rising":
            return int(value and not before)
        return int(before and not value)

    def _write(self, number: int, part: Part, value: int) -> None:
        if part.sign == "rising":
            value = self._edge(number, value, "rising")
        if part.sign == "negated":
            value = int(not value)
        if part.sign in ("set", "reset"):
            if value:
                self.values[part.text] = int(part.sign == "set")
            return
        enabled = self._enabled(part)
        if enabled:
            self.values[part.text] = value

    def _enabled(self, part: Part) -> bool:
        """A variable that takes the value of a function with EN stays while that is FALSE.

        What comes from the evaluation before is a value as any other.
        """
        source = part.wires[0][0]
        if part.kind != "assign" or source not in self._done:
            return True
        enable = self.body.parts[source].enable
        return enable is None or bool(self._gives[enable])

    def _block(self, number: int, kind: str, x: list[int]) -> int:
        if kind in ("SR", "RS"):
            set_, reset = x
            if kind == "SR":
                return int(set_ or (not reset and self._gives[number]))
            return int(not reset and (set_ or self._gives[number]))
        if kind == "R_TRIG":
            return self._edge(number, x[0], "rising")
        if kind == "Toggle":
            return int(not self._gives[number]) if x[0] else self._gives[number]
        return _wrapped(
            {
                "AND": lambda: x[0] & x[1],
                "OR": lambda: x[0] | x[1],
                "XOR": lambda: x[0] ^ x[1],
                "NOT": lambda: int(not x[0]),
                "GT": lambda: int(x[0] > x[1]),
                "ADD": lambda: x[0] + x[1],
                "MOVE": lambda: x[0],
                "SEL": lambda: x[2] if x[0] else x[1],
                "Twice": lambda: 2 * x[0],
            }[kind]()
        )


def _wrapped(value: int) -> int:
    """As an INT of 16 bits holds it."""
    return (value + (1 << 15)) % (1 << 16) - (1 << 15)
