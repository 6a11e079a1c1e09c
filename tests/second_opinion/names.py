"""The names of a random model, and random conditions over them."""

from __future__ import annotations

import random
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field


@dataclass
class Names:
    """What a random model is made of.

    Attributes
    ----------
    machines, controls : dict of str to list of str
        With their states or positions; a button has none.
    inputs : dict of str to str
        The program's inputs with their types.
    outputs : dict of str to str
    terms : list of str
        Grows while the terms are written, so that they build on each other.
    faults : list of str
    counted : bool
        Timers are counted.
    """

    machines: dict[str, list[str]]
    controls: dict[str, list[str]]
    inputs: dict[str, str]
    outputs: dict[str, str]
    n_terms: int
    faults: list[str]
    counted: bool
    terms: list[str] = field(default_factory=list)

    @classmethod
    def draw(cls, by: random.Random) -> Names:
        """Names for one model."""
        labels = [["A", "B"], ["A", "B", "C"], ["DOWN", "UP"], ["IN", "PART", "OUT"]]
        machines = {f"m{n}": by.choice(labels) for n in range(by.choice([1, 2, 2]))}
        positions: list[list[str]] = [[], [], ["NONE", "UP", "OFF"], ["X", "Y"]]
        controls = {f"c{n}": by.choice(positions) for n in range(by.choice([0, 1, 1, 2]))}
        inputs = {f"s{n}": "BOOL" for n in range(by.choice([1, 2, 2, 3]))}
        if by.random() < 0.2:
            inputs["place"] = "m0"
        if by.random() < 0.2:
            inputs["level"] = "INT (0..3)"
        outputs = {f"q{n}": "BOOL" for n in range(by.choice([1, 2, 2]))}
        if by.random() < 0.3:
            outputs["n0"] = f"INT ({by.choice([-1, 0])}..{by.choice([1, 2, 3])})"
        faults = [f"F{n}" for n in range(by.choice([0, 1, 2, 2, 3, 3, 4]))]
        return cls(
            machines, controls, inputs, outputs, by.choice([0, 1, 2]), faults, by.random() < 0.5
        )

    @property
    def bool_inputs(self) -> list[str]:
        """The inputs that may be stuck."""
        return [name for name, type_ in self.inputs.items() if type_ == "BOOL"]

    @property
    def bool_outputs(self) -> list[str]:
        """The outputs that may be stuck."""
        return [name for name, type_ in self.outputs.items() if type_ == "BOOL"]

    def written_terms(self) -> Iterator[str]:
        """Each term in turn, known to those that follow."""
        for number in range(self.n_terms):
            yield f"t{number}"
            self.terms.append(f"t{number}")

    def atom(self, by: random.Random, more: Sequence[str] = ()) -> str:
        """A condition over one thing."""
        found = [
            f"{name} = {by.choice(states)}"
            for name, states in (*self.machines.items(), *self.machines.items())
        ]
        for name, positions in self.controls.items():
            found.append(f"{name} <> {by.choice(positions)}" if positions else name)
        found += [*self.bool_outputs, *self.terms, *more]
        if "n0" in self.outputs:
            found.append(f"n0 {by.choice(['<', '>', '=', '<='])} {by.randint(0, 2)}")
        if by.random() < 0.02:
            return by.choice(["TRUE", "FALSE"])
        return by.choice(found)

    def truth(self, by: random.Random, most: int, more: Sequence[str] = ()) -> str:
        """A condition of up to `most` parts over the truth and `more`."""
        return joined(by, lambda: self.atom(by, more), most)


def joined(by: random.Random, atom: object, most: int, words: Sequence[str] = ()) -> str:
    """Up to `most` atoms, each perhaps negated, joined by one of `words` each."""
    assert callable(atom)
    text = ""
    for number in range(by.randint(1, most)):
        part = by.choice(["", "", "NOT "]) + f"({atom()})"
        if number == 0:
            text = part
            continue
        word = by.choice(words or ["AND", "AND", "OR", "OR", "XOR"])
        text = (
            f"({text}) {word} {part}"
            if word == "XOR" or "XOR" in text
            else (f"{text} {word} {part}")
        )
    return text
