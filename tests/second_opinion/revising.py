"""Revisions of a random model: its files with a few things written otherwise."""

from __future__ import annotations

import random
import re
from collections.abc import Callable, Iterable
from dataclasses import replace
from pathlib import Path

from interlock.base.errors import InputError
from interlock.model.load import load
from interlock.model.model import Duration, Model
from interlock.model.timing import Timing
from interlock.st.layout import Timers
from tests.second_opinion.drawing_small import draw_small
from tests.second_opinion.opinion import opinions
from tests.second_opinion.reached import TooManyError, reach
from tests.second_opinion.timed import SCANS, SPANS, UNITS, in_time
from tests.second_opinion.timed_world import world_of
from tests.second_opinion.world import Class, World

# What stands in brackets: (m0 = A), (c0 <> UP), (q0), (s1), (n0 < 2), (b0.Q).
_ATOM = re.compile(r"\(([a-z]+[0-9](?:\.Q1?)?(?: (?:=|<>|<|<=|>) \w+)?)\)")
_MOVE = re.compile(r"^      - \{.*$", re.MULTILINE)
_REQUIREMENT = re.compile(r"^  R[0-9]: \{.*$", re.MULTILINE)
_FAULT = re.compile(r"^  F[0-9]: \{.*$", re.MULTILINE)
_STATES = re.compile(r"    states: \[([A-Z, ]+)\]")
_SIMPLE = re.compile(r"^(?:q|l)[0-9] := .*;$", re.MULTILINE)

Files = tuple[str, str]
"""The texts of the model file and of the program."""


def draw_pair(seed: int, folder: Path, most: int) -> tuple[Model, Model]:
    """A model and a revision of it, which depend on `seed` alone.

    The revision has at most `most` states under one fault.
    """
    by = random.Random(f"pair {seed}")
    files = draw_small(by)
    if by.random() < 0.5:
        files = _claiming(by, files)
    _write(folder / "old", files)
    old = load(folder / "old")
    for _ in range(200):
        revised = files
        # One change alone says most of what spreads from it; of many the last ones hide the rest.
        wanted = [by.choice(_ATTACKS)] if by.random() < 0.5 else []
        wanted = wanted or by.choices(_CHANGES, k=by.choice([0, 1, 2, 3, 4, 5]))
        for change in wanted:
            revised = change(by, revised)
        _write(folder / "new", revised)
        try:
            new = load(folder / "new")
            reach(World(new, Class(new.independent_faults, 1)), most)
            if by.random() < 0.7:
                new = _without_what_it_violates(old, new, folder / "new", revised)
        except (InputError, TooManyError):
            continue
        return old, new
    raise AssertionError(f"seed {seed} gives no revision")


def timed_pair(seed: int, folder: Path, most: int) -> tuple[Model, Model]:
    """A pair with time, in which a few moves take another time after the change.

    Raises
    ------
    TooManyError
        Where either has more than `most` states.
    """
    by = random.Random(f"timed pair {seed}")
    old, new = draw_pair(seed, folder, most)
    timing = Timing(by.choice(UNITS), *by.choice(SCANS))
    spans: dict[str, tuple[int, int] | None] = {}
    found = []
    for model in (old, new):
        is_slower = by.random() < 0.3
        moves = []
        for move in model.moves:
            if move.name not in spans or (is_slower and by.random() < 0.3):
                spans[move.name] = by.choice(SPANS[1:]) if by.random() < 0.7 else None
            span, takes = spans[move.name], None
            if span is not None and not (move.takes_no_turn or move.may):
                takes = Duration(span[0] / 1000, span[1] / 1000, None, assumed=True)
            moves.append(replace(move, takes=takes))
        statements = {
            id_: in_time(s, timing, random.Random(f"{seed} {id_}"))
            for id_, s in model.statements.items()
        }
        settings = replace(model.settings, timers=Timers.FREE)
        timed = replace(model, moves=tuple(moves), timing=timing, settings=settings)
        timed = replace(timed, statements=statements)
        reach(world_of(timed, Class()), most)
        found.append(timed)
    return found[0], found[1]


def _write(folder: Path, files: Files) -> None:
    folder.mkdir(parents=True, exist_ok=True)
    for name, text in zip(("model.yaml", "controller.st"), files, strict=True):
        (folder / name).write_text(text, "utf-8")


def _without_what_it_violates(old: Model, new: Model, folder: Path, files: Files) -> Model:
    """The revision, asked something easy wherever it violates what the old model keeps."""
    kept = {id_ for id_, one in opinions(old, Class()).items() if not one.is_violated}
    now = opinions(new, Class())
    worse = [id_ for id_ in new.statements if id_ in kept and now[id_].is_violated]
    if not worse:
        return new
    yaml, _ = excused(files, worse)
    (folder / "model.yaml").write_text(yaml, "utf-8")
    return load(folder)


def _changed_match(
    by: random.Random, text: str, pattern: re.Pattern[str], change: Callable[[re.Match[str]], str]
) -> str:
    """`text` with one of the matches written otherwise."""
    found = list(pattern.finditer(text))
    if not found:
        return text
    match = by.choice(found)
    return text[: match.start()] + change(match) + text[match.end() :]


def _other_atom(by: random.Random, files: Files) -> Files:
    atoms = _ATOM.findall(files[0])
    return _changed_match(by, files[0], _ATOM, lambda _: f"({by.choice(atoms)})"), files[1]


def _negated_atom(by: random.Random, files: Files) -> Files:
    return _changed_match(by, files[0], _ATOM, lambda match: f"(NOT {match[0]})"), files[1]


def _other_in_program(by: random.Random, files: Files) -> Files:
    atoms = _ATOM.findall(files[1])
    return files[0], _changed_match(by, files[1], _ATOM, lambda _: f"({by.choice(atoms)})")


def _negated_in_program(by: random.Random, files: Files) -> Files:
    return files[0], _changed_match(by, files[1], _ATOM, lambda match: f"(NOT {match[0]})")


def _swapped(by: random.Random, files: Files) -> Files:
    lines = _SIMPLE.findall(files[1])
    if len(lines) < 2:
        return files
    one, other = by.sample(lines, 2)
    text = files[1].replace(one, "\0").replace(other, one).replace("\0", other)
    return files[0], text


def _retained(by: random.Random, files: Files) -> Files:
    kept = re.compile(r"^VAR( RETAIN)? (?=[a-z])", re.MULTILINE)
    return files[0], _changed_match(by, files[1], kept, lambda m: "VAR " if m[1] else "VAR RETAIN ")


def _preset(by: random.Random, files: Files) -> Files:
    other = by.choice(["T#0s", "T#100ms", "T#250ms"])
    return files[0], _changed_match(by, files[1], re.compile("T#[0-9a-z]+"), lambda _: other)


def _dropped_move(by: random.Random, files: Files) -> Files:
    return _changed_match(by, files[0], _MOVE, lambda _: "").replace("\n\n", "\n"), files[1]


def _added_move(by: random.Random, files: Files) -> Files:
    def twice(match: re.Match[str]) -> str:
        other = re.sub(r", by: [a-z]+", "", match[0])[:-1]
        other = re.sub(r", when: '[^']*'", "", other)
        return f"{match[0]}\n{other}, by: {by.choice(['operator', 'driver'])}}}"

    return _changed_match(by, files[0], _MOVE, twice), files[1]


def _other_hands(by: random.Random, files: Files) -> Files:
    hands = re.compile("by: (operator|driver|human)")
    other = by.choice(["operator", "driver", "plant"])
    return _changed_match(by, files[0], hands, lambda _: f"by: {other}"), files[1]


def _alone(by: random.Random, files: Files) -> Files:
    along = re.compile(r", also: \{[^}]*\}")
    return _changed_match(by, files[0], along, lambda _: ""), files[1]


def _new_state(by: random.Random, files: Files) -> Files:
    def added(match: re.Match[str]) -> str:
        states = match[1].split(", ")
        initial = f"\n    initial: {states[0]}" if "initial" not in files[0] else ""
        states.insert(by.randint(0, len(states)), "GONE")
        return f"    states: [{', '.join(states)}]{initial}"

    yaml = _changed_match(by, files[0], _STATES, added)
    if by.random() < 0.7 and "    moves:\n" in yaml:
        move = f"      - {{from: GONE, to: {by.choice(['A', 'IN', 'UP', 'DOWN'])}}}\n"
        back = move.replace("from: GONE, to: ", "from: ").replace("}", ", to: GONE, by: operator}")
        yaml = yaml.replace("    moves:\n", f"    moves:\n{move}{back}", 1)
    return yaml, files[1]


def _dropped_requirement(by: random.Random, files: Files) -> Files:
    return _changed_match(by, files[0], _REQUIREMENT, lambda _: "").replace("\n\n", "\n"), files[1]


def _dropped_fault(by: random.Random, files: Files) -> Files:
    return _changed_match(by, files[0], _FAULT, lambda _: "").replace("\n\n", "\n"), files[1]


def _weaker(by: random.Random, files: Files) -> Files:
    weaker = by.choice([", judged: after scan}", ", survives: 0}", ", scope: {after: (c0)}}"])

    def other(match: re.Match[str]) -> str:
        return re.sub(r", (judged: after scan|survives: 1)", "", match[0])[:-1] + weaker

    return _changed_match(by, files[0], _REQUIREMENT, other), files[1]


def _more_moves(by: random.Random, files: Files) -> Files:
    other = by.choice(["one in all, ", "two in all, ", "each once, ", "any number, ", ""])
    other = other and f"between_scans: {other}"
    return re.sub("(between_scans: [a-z ]*, )?(?=scan_ms)", other, files[0], count=1), files[1]


# What somebody does who wants the comparison to say something false.


def _along(by: random.Random, files: Files) -> Files:
    """A move takes another machine along, and is called as before."""
    machines = re.findall(r"^  (m[0-9]):\n    states: \[([^\]]*)\]", files[0], re.MULTILINE)
    name, states = by.choice(machines)
    along = f", also: {{{name}: '{by.choice(states.split(', '))}'}}}}"

    def with_it(match: re.Match[str]) -> str:
        return match[0] if "also" in match[0] else match[0][:-1] + along

    return _changed_match(by, files[0], _MOVE, with_it), files[1]


def _seen_by(yaml: str, st: str, name: str, reads: str) -> Files:
    """The files with one more signal."""
    yaml = yaml.replace("\nsensors:\n", f"\nsensors:\n  {name}: {{reads: '{reads}'}}\n")
    return yaml, st.replace("VAR_INPUT\n", f"VAR_INPUT\n  {name} : BOOL;\n")


def _behind_a_new_state(by: random.Random, files: Files) -> Files:
    """An output that is another only where the old plant never comes."""
    if "GONE" in files[0]:
        return files
    head = re.search(r"^  m0:\n    states: \[([A-Z, ]+)\]\n", files[0], re.MULTILINE)
    assert head is not None
    states = head[1].split(", ")
    yaml = files[0].replace(head[0], head[0].replace("]", ", GONE]"))
    move = f"      - {{from: {by.choice(states)}, to: GONE, by: operator}}\n"
    moves = yaml.index("    moves:\n", yaml.index("  m0:\n")) + len("    moves:\n")
    yaml = yaml[:moves] + move + yaml[moves:]
    yaml, st = _seen_by(yaml, files[1], "gone", "(m0 = GONE)")
    return yaml, st.replace("END_PROGRAM", "q0 := (q0) XOR (gone);\nEND_PROGRAM")


def _behind_a_new_move(by: random.Random, files: Files) -> Files:
    """An output that is another only in a place to which a new move may lead."""
    if "gone" in files[0]:
        return files
    name, source, target = by.choice([("m0", "A", "C"), ("m0", "B", "A"), ("m1", "IN", "OUT")])
    moves = files[0].index("    moves:\n", files[0].index(f"  {name}:\n")) + len("    moves:\n")
    move = f"      - {{from: [{source}], to: {target}, by: operator}}\n"
    yaml = files[0][:moves] + move + files[0][moves:]
    place = f"(m0 = {by.choice('ABC')}) AND (m1 = {by.choice(['IN', 'OUT'])})"
    yaml, st = _seen_by(yaml, files[1], "gone", place)
    output = by.choice(["q0", "q1", "q1"])
    return yaml, st.replace("END_PROGRAM", f"{output} := ({output}) XOR (gone);\nEND_PROGRAM")


def _second_switch(by: random.Random, files: Files) -> Files:
    """A second switch that says the same as long as neither fails."""
    reads = re.search(r"^  s0: \{reads: '(.*)'\}$", files[0], re.MULTILINE)
    if reads is None or "again" in files[0]:
        return files
    yaml, st = _seen_by(*files, "again", reads[1])
    return yaml, _changed_match(by, st, re.compile(r"\(s0\)"), lambda _: "(again)")


def _other_fault(by: random.Random, files: Files) -> Files:
    other = by.choice(["'TRUE'", "'FALSE'", "frozen"])
    stuck = re.compile(r"(?<=[sq][0-9]: )('TRUE'|'FALSE'|frozen)")
    return _changed_match(by, files[0], stuck, lambda _: other), files[1]


def excused(files: Files, ids: Iterable[str]) -> Files:
    """The files with something that surely holds in the place of some requirements."""
    yaml = files[0]
    for id_ in ids:
        line = f"  {id_}: {{says: asked at random, exists: '(q0) OR NOT (q0)'}}"
        yaml = re.sub(rf"^  {id_}: .*$", line, yaml, flags=re.MULTILINE)
    return yaml, files[1]


def _claiming(by: random.Random, files: Files) -> Files:
    """Half of the requirements claim to survive one fault."""

    def claimed(match: re.Match[str]) -> str:
        return match[0][:-1] + ", survives: 1}" if by.random() < 0.5 else match[0]

    return _REQUIREMENT.sub(claimed, files[0]), files[1]


_CHANGES: list[Callable[[random.Random, Files], Files]] = [
    _other_atom,
    _other_atom,
    _other_atom,
    _negated_atom,
    _other_in_program,
    _other_in_program,
    _negated_in_program,
    _swapped,
    _retained,
    _preset,
    _dropped_move,
    _added_move,
    _other_hands,
    _alone,
    _new_state,
    _dropped_requirement,
    _dropped_fault,
    _weaker,
    _more_moves,
    *[_along, _behind_a_new_state, _second_switch, _other_fault] * 2,
]
_ATTACKS = [
    _along,
    _along,
    _alone,
    _behind_a_new_state,
    _behind_a_new_move,
    _behind_a_new_move,
    _second_switch,
    _second_switch,
    _other_fault,
    _retained,
    _other_in_program,
    _negated_in_program,
]
