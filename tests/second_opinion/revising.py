"""Revisions of a random model: its files with a few things written otherwise."""

from __future__ import annotations

import random
import re
from collections.abc import Callable
from pathlib import Path

from interlock.base.errors import InputError
from interlock.model.load import load
from interlock.model.model import Model
from tests.second_opinion.drawing import Drawn, draw
from tests.second_opinion.reached import TooManyError, reach
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
    """A model and a revision of it, each of at most `most` states; they depend on `seed` alone."""
    by = random.Random(f"pair {seed}")
    drawn, old = draw(seed, folder / "old", most)
    files = (drawn.yaml, drawn.program)
    if by.random() < 0.4:
        files = _claiming(by, files)
        Drawn(*files, drawn.run_class).write(folder / "old")
        old = load(folder / "old")
    for _ in range(200):
        revised = files
        for _ in range(by.choice([0, 1, 2, 2, 3, 3, 4, 5, 6])):
            revised = by.choice(_CHANGES)(by, revised)
        Drawn(*revised, drawn.run_class).write(folder / "new")
        try:
            new = load(folder / "new")
            for model in (old, new):
                reach(World(model, Class(model.independent_faults, 1)), most * 4)
        except (InputError, TooManyError):
            continue
        return old, new
    raise AssertionError(f"seed {seed} gives no revision")


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
    other = f"moves_per_scan: {by.choice([1, 2])}"
    return re.sub("moves_per_scan: [0-9]", other, files[0]), files[1]


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
]
