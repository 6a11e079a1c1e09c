"""Every construct of Structured Text: what becomes of it, its meaning, an example.

The examples are tried, so what stands here is so.
"""

from __future__ import annotations

from collections.abc import Mapping
from types import MappingProxyType

from interlock.st.constructs.expressions import EXPRESSIONS
from interlock.st.constructs.functions import BLOCKS, FUNCTIONS
from interlock.st.constructs.objects import CHARTS, OBJECTS
from interlock.st.constructs.row import Construct, Fate
from interlock.st.constructs.statements import STATEMENTS
from interlock.st.constructs.types import TYPES
from interlock.st.constructs.units import UNITS
from interlock.st.constructs.variables import VARIABLES

__all__ = ["CONSTRUCTS", "Construct", "Fate", "table"]

CONSTRUCTS: Mapping[str, tuple[Construct, ...]] = MappingProxyType(
    {
        "units and files": UNITS,
        "variables": VARIABLES,
        "types": TYPES,
        "statements": STATEMENTS,
        "expressions": EXPRESSIONS,
        "functions": FUNCTIONS,
        "blocks": BLOCKS,
        "objects": OBJECTS,
        "charts": CHARTS,
    }
)
"""All constructs, by what they belong to."""


def table(constructs: Mapping[str, tuple[Construct, ...]] = CONSTRUCTS) -> str:
    """Constructs as a table in Markdown, one row for each group."""
    fates = list(Fate)
    lines = [
        f"| | {' | '.join(fate.value for fate in fates)} |",
        f"|---|{'---|' * len(fates)}",
    ]
    for group, rows in constructs.items():
        cells = [
            " · ".join(row.name.replace("|", "\\|") for row in rows if row.fate is fate)
            for fate in fates
        ]
        lines.append(f"| {group} | {' | '.join(cells)} |")
    return "\n".join(lines)
