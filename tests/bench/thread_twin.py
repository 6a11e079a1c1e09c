"""States numbered by several threads against those of a plain search, on many random systems.

``python -m tests.bench.thread_twin --models N`` prints what was compared. The plain search is a
list and a dictionary. Threads are held up here and there, so that they get into each other's way.
"""

from __future__ import annotations

import sys
from array import array
from collections.abc import Mapping
from pathlib import Path

from interlock.engines.enumerate.space import Space
from interlock.kernel.query import Limits
from interlock.kernel.system import Stepper, System
from tests.bench.many_models import compare_many
from tests.support.threads import explored, random_counters, threads_everywhere


class Plain:
    """The states of a system in the order in which a plain search comes to them."""

    def __init__(self, system: System, most: int | None) -> None:
        self.states = [system.initial]
        self.found_before = []  # how many are known before each one's moves are made
        self.n_moves = 0
        known = {system.initial: 0}
        stepper = Stepper(system)
        for state in self.states:
            self.found_before.append(len(self.states))
            for _, target in stepper.successors(state):
                if target not in known:
                    if len(self.states) == most:
                        return
                    known[target] = len(self.states)
                    self.states.append(target)
                self.n_moves += 1


def differences(space: Space, plain: Plain) -> list[str]:
    """What of a space is not as in the plain search."""
    found = []
    states = [space.state(number) for number in range(space.n_states)]
    if states != plain.states:
        pairs = enumerate(zip(states, plain.states, strict=False))
        place = next((n for n, (a, b) in pairs if a != b), None)
        found.append(f"state {place} of {len(states)} and {len(plain.states)}")
    if space.shared["n_moves"] != plain.n_moves:
        found.append(f"moves: {space.shared['n_moves']} and {plain.n_moves}")
    content = space.arrays["checkpoints"].content(-(-space.shared["next"] // 256))
    if array("I", content).tolist() != plain.found_before[::256]:
        found.append("checkpoints")
    table = space.arrays["table"].content(space.shared["n_slots"])
    n_entries = sum(entry != 0 for entry in array("I", table))
    if n_entries != space.n_states:
        found.append(f"the table has {n_entries} entries")
    for number in range(space.n_states):
        words = space.shared["order"] + 8 * space.n_words * number
        if space.routines["index_of"](space.shared.address, words) != number:
            found.append(f"state {number} is not found in the table")
    return found


def compare(seed: int, _folder: Path, most: int) -> tuple[list[str], Mapping[str, int]]:
    """Compare on one system, up to two numbers of states, for two and for three threads."""
    system = random_counters(seed)
    disagreements, n_states = [], 0
    whole = Plain(system, most)
    limit = 1 + 37 * seed % len(whole.states)
    for most_states, plain in ((most, whole), (limit, Plain(system, limit))):
        for n_threads in (2, 3):
            with threads_everywhere(n_threads):
                space = explored(system, Limits(max_states=most_states), 1 + seed)
            n_states += space.n_states
            disagreements += [
                f"seed {seed}, {n_threads} threads, limit {most_states}: {text}"
                for text in differences(space, plain)
            ]
    return disagreements, {"explorations": 4, "states": n_states}


if __name__ == "__main__":
    sys.exit(compare_many(__doc__, compare, states=600))
