"""Variables inside the program that requirements may name by their path."""

from __future__ import annotations

from interlock.st.blocks import BLOCKS
from interlock.st.typed import Program
from interlock.st.types import BOOL, Type


def inside_names(program: Program) -> dict[str, Type]:
    """Types by path, as ``program.block.step`` and ``program.timer.Q``.

    Inputs have none: what they read is the truth or a signal.
    """
    found = {v.name: v.type for v in program.variables if v.kind != "VAR_INPUT"}
    for instance in program.instances:
        for output, type_ in BLOCKS[instance.block].outputs.items():
            if type_ == BOOL:
                found[f"{instance.name}.{output}"] = BOOL
    return {f"{program.name}.{name}": type_ for name, type_ in found.items()}
