"""What a sequential function chart remembers: its active steps and the control of its actions."""

from __future__ import annotations

from interlock.st import syntax as sx
from interlock.st.direct.blocks import make_block
from interlock.st.direct.kinds import BOOL, INT, TIME
from interlock.st.direct.storage import Cell, Instance, Record, Store
from interlock.st.layout import Settings, Timers

# Which blocks the control of an action needs for each qualifier: IEC 61131-3, action control
# (from memory). P0 and P1 are pulses at the end and at the start.
NEEDS: dict[str, tuple[tuple[str, str], ...]] = {
    "N": (),
    "R": (),
    "S": (("S_FF", "RS"),),
    "L": (("L_TMR", "TON"),),
    "D": (("D_TMR", "TON"),),
    "P": (("P_TRIG", "R_TRIG"),),
    "P1": (("P1_TRIG", "R_TRIG"),),
    "P0": (("P0_TRIG", "F_TRIG"),),
    "SD": (("SD_FF", "RS"), ("SD_TMR", "TON")),
    "DS": (("DS_TMR", "TON"), ("DS_FF", "RS")),
    "SL": (("SL_FF", "RS"), ("SL_TMR", "TON")),
}


def control_key(action: str) -> str:
    """Under which name an instance keeps the control of an action; no variable has such a name."""
    return f"{action.casefold()} control"


def uses_of(chart: sx.Chart) -> dict[str, list[tuple[sx.Step, sx.ActionUse]]]:
    """Each action by casefolded name, in the order of the text, with the steps that use it."""
    found: dict[str, list[tuple[sx.Step, sx.ActionUse]]] = {}
    for step in chart.steps:
        for use in step.actions:
            found.setdefault(use.name.casefold(), []).append((step, use))
    return found


def make_chart(chart: sx.Chart, instance: Instance, before: str, settings: Settings) -> None:
    """Add the memory of a chart to an instance.

    Parameters
    ----------
    chart : syntax.Chart
    instance : Instance
    before : str
        What stands before the names of its variables.
    settings : Settings
    """
    for step in chart.steps:
        first = int(step.initial)
        name = before + step.name
        members: dict[str, Store] = {"x": Cell(f"{name}.X", BOOL, first, initial=first)}
        if settings.timers is Timers.COUNTED:
            # Time counts from the first call in which the step is active.
            members["t"] = Cell(f"{name}.T", TIME)
            members["seen"] = Cell(f"{name}.seen", BOOL)
        instance.inner[step.name.casefold()] = Record(name, members)
    for key, uses in uses_of(chart).items():
        name = before + uses[0][1].name
        control: dict[str, Store] = {"q": Cell(f"{name}.Q", BOOL)}
        for _, use in uses:
            for block, kind in NEEDS.get(use.qualifier.upper(), ()):
                made = make_block(kind, INT, f"{name}.{block}", settings, False)
                if kind == "F_TRIG":
                    # What was never active does not end.
                    made.members["M"].content = made.members["M"].initial = 1
                control[block.casefold()] = made
        instance.inner[control_key(key)] = Record(name, control)
