"""Inputs that no sensor is given for, tried at some of their values and tried at every one.

``python -m tests.bench.free_inputs --models N`` prints what was compared. What is compared with
reads the program as it is written, executes it for each value of each input in each state that is
reached, and knows no classes of values.
"""

from __future__ import annotations

import sys
from collections.abc import Mapping
from dataclasses import replace
from pathlib import Path

from interlock.base.errors import InputError
from interlock.engines import catalogue
from interlock.judgement.verify import verify
from interlock.kernel.requirement import Outcome
from interlock.model.load import load
from tests.bench.many_models import compare_many
from tests.support.wide_inputs import WideProgram, reached, wide_program


def compare(seed: int, folder: Path, most: int) -> tuple[list[str], Mapping[str, int]]:
    """Compare on one program, up to a number of scans."""
    program = wide_program(seed)
    try:
        violated = _violated(program, folder)
    except InputError as refused:
        says = str(refused)
        if "values of it matter" in says or "never" in says:
            return [], {"refused": 1}
        return [f"seed {seed}: {says}\n{program.text}"], {}
    expected = reached(program, most)
    if expected is None:
        return [], {"too large": 1}
    counts = {"programs": 1, "requirements": len(program.requirements), "violated": len(expected)}
    if violated == expected:
        return [], counts
    return [f"seed {seed}: {sorted(violated)}, not {sorted(expected)}\n{program.text}"], counts


def compare_with_any_values(seed: int, folder: Path, most: int) -> list[str]:
    """As `compare`, where next to nothing has few enough classes: more may be violated, never less.

    The caller has made the product's limits that small.
    """
    program = wide_program(seed)
    # The others ask for values of the input, which are then too many.
    asked = {id_: asks for id_, asks in program.requirements.items() if id_ in ("R1", "R2", "R3")}
    program = replace(program, requirements=asked)
    try:
        violated = _violated(program, folder)
    except InputError as refused:
        return [] if "values of it matter" in str(refused) else [f"seed {seed}: {refused}"]
    missing = (reached(program, most) or set()) - violated
    return [f"seed {seed}: {sorted(missing)} not violated\n{program.text}"] if missing else []


def _violated(program: WideProgram, folder: Path) -> set[str]:
    lines = ["title: Wide", "controller: main.st", "requirements:"]
    for id_, (text, _) in program.requirements.items():
        lines.append(f"  {id_}: {{says: random, never: {text}, judged: after scan}}")
    folder.mkdir(parents=True, exist_ok=True)
    (folder / "model.yaml").write_text("\n".join(lines) + "\n")
    (folder / "main.st").write_text(program.text)
    found = verify(load(folder), catalogue()["enumerate"]()).findings
    return {f.requirement.id for f in found if f.verdict.outcome is Outcome.VIOLATED}


if __name__ == "__main__":
    sys.exit(compare_many(__doc__, compare, states=20_000))
