"""The standard function blocks, executed call by call.

Source: IEC 61131-3, standard function blocks (from memory). What its timing diagrams leave open is
decided so: a pulse (TP) that ends while IN is TRUE needs IN FALSE at a later call before the next
one; both edges of CTUD in one call change nothing.
"""

from __future__ import annotations

from interlock.st.direct.kinds import BOOL, ELEMENTARY, INT, TIME, Kind
from interlock.st.direct.storage import Cell, Standard
from interlock.st.layout import Settings, Timers

TIMERS = ("TON", "TOF", "TP")
_BOOLS = {
    "SR": (("S1", "R"), ("Q1",)),
    "RS": (("S", "R1"), ("Q1",)),
    "R_TRIG": (("CLK",), ("M", "Q")),
    "F_TRIG": (("CLK",), ("M", "Q")),
    "CTU": (("CU", "R"), ("M",)),
    "CTD": (("CD", "LD"), ("M",)),
    "CTUD": (("CU", "CD", "R", "LD"), ("MU", "MD")),
}
_COUNTERS = {"CTU": ("Q",), "CTD": ("Q",), "CTUD": ("QU", "QD")}
_COUNTED = ("INT", "DINT", "LINT", "UDINT", "ULINT")

INPUTS: dict[str, tuple[str, ...]] = {
    **{name: inputs for name, (inputs, _) in _BOOLS.items()},
    **dict.fromkeys(TIMERS, ("IN", "PT")),
    **{name: (*_BOOLS[name][0], "PV") for name in _COUNTERS},
}


def standard_block(name: str) -> tuple[str, Kind] | None:
    """A standard block by its name in any case, with the type of its count; ``CTU_DINT`` too."""
    block = name.upper()
    base, _, counted = block.partition("_")
    if base in TIMERS and counted == "TIME":
        return base, INT
    if base in _COUNTERS and counted in _COUNTED:
        return base, ELEMENTARY[counted]
    return (block, INT) if block in INPUTS else None


def position_of(settings: Settings) -> str:
    """The member of a timer that says how far it has come."""
    return "elapsed" if settings.timers is Timers.FREE else "elapsed_scans"


def make_block(block: str, counted: Kind, name: str, settings: Settings, retain: bool) -> Standard:
    """A new instance of a standard block."""
    made = Standard(name, block)

    def add(member: str, kind: Kind = BOOL, initial: int = 0) -> None:
        cell = Cell(f"{name}.{member}", kind, initial, initial=initial, retain=retain)
        made.members[member] = cell

    if block in TIMERS:
        add("IN")
        add("PT", TIME)
        add("running")
        add(position_of(settings), TIME)
        if settings.timers is Timers.COUNTED:
            add("ET", TIME)
        add("Q")
        return made
    inputs, memory = _BOOLS[block]
    for member in (*inputs, *memory):
        # M of F_TRIG is the last NOT CLK. Starting at 1 it hides an edge on the first call.
        hides = block == "F_TRIG" and member == "M" and settings.edges == 1
        add(member, BOOL, int(hides))
    if block in _COUNTERS:
        add("PV", counted)
        add("CV", counted)
        for member in _COUNTERS[block]:
            add(member)
    return made


def top_of(block: Standard, settings: Settings) -> int:
    """The position at which a timer has elapsed, by the preset time that it has now."""
    preset_ms = max(block.members["PT"].read().number, 0)
    if settings.timers is Timers.FREE:
        return min(preset_ms, 1)
    return -(-preset_ms // settings.scan_ms)


def pass_scan(block: Standard, settings: Settings) -> None:
    """Let a counted timer see that a scan has passed."""
    if block.block in TIMERS and block.members["running"].content:
        position = block.members[position_of(settings)]
        position.content = min(position.read().number + 1, TIME.hi)


def call_block(block: Standard, settings: Settings) -> None:
    """Execute one call of `block` on the inputs that it has."""
    if block.block in TIMERS:
        _call_timer(block, settings)
    elif block.block in _COUNTERS:
        _call_counter(block)
    else:
        _call_simple(block)


def _call_simple(block: Standard) -> None:
    cells = block.members
    now = {name: bool(cell.content) for name, cell in cells.items()}
    match block.block:
        case "SR":
            cells["Q1"].content = int(now["S1"] or (not now["R"] and now["Q1"]))
        case "RS":
            cells["Q1"].content = int(not now["R1"] and (now["S"] or now["Q1"]))
        case "R_TRIG":
            cells["Q"].content = int(now["CLK"] and not now["M"])
            cells["M"].content = int(now["CLK"])
        case _:
            cells["Q"].content = int(not now["CLK"] and not now["M"])
            cells["M"].content = int(not now["CLK"])


def _rises(block: Standard, clock: str, last: str) -> bool:
    cells = block.members
    now, before = bool(cells[clock].content), bool(cells[last].content)
    cells[last].content = int(now)
    return now and not before


def _call_counter(block: Standard) -> None:
    cells = block.members
    count = cells["CV"].read().number
    preset = cells["PV"].read().number
    kind = cells["CV"].kind
    up = down = False
    match block.block:
        case "CTU":
            up = _rises(block, "CU", "M")
        case "CTD":
            down = _rises(block, "CD", "M")
        case _:
            up, down = _rises(block, "CU", "MU"), _rises(block, "CD", "MD")
    if "R" in cells and cells["R"].content:
        count = 0
    elif "LD" in cells and cells["LD"].content:
        count = preset
    elif up and not down:
        count = min(count + 1, kind.hi)
    elif down and not up:
        count = max(count - 1, kind.lo)
    cells["CV"].content = count
    if block.block == "CTUD":
        cells["QU"].content, cells["QD"].content = int(count >= preset), int(count <= 0)
    else:
        cells["Q"].content = int(count >= preset if block.block == "CTU" else count <= 0)


def _call_timer(block: Standard, settings: Settings) -> None:
    """A timer counts how long it runs, also past its preset time, which may still change."""
    cells = block.members
    top = top_of(block, settings)
    on = bool(cells["IN"].content)
    runs, output = bool(cells["running"].content), bool(cells["Q"].content)
    position = cells[position_of(settings)].read().number
    shown = cells["ET"].read().number if "ET" in cells else 0

    def time(scans: int) -> int:
        return min(scans * settings.scan_ms, max(cells["PT"].read().number, 0))

    match block.block:
        case "TON":
            position = position if on and runs else 0
            runs, output, shown = on, on and position >= top, time(position)
        case "TOF":
            position = position if runs else 0
            over = position >= top
            if on or output:
                shown = 0 if on else time(position)
            output = on or (output and not over)
            runs = output and not on
            position = position if runs else 0
        case _:
            spent = not runs and position > 0
            starts = on and not runs and not spent
            position = 0 if starts else position
            output = (runs or starts) and position < top
            if not output:
                # While IN stays after the pulse, the position says that there was one.
                position = max(top, 1) if on else 0
            shown = time(position) if output or on else 0
            runs = output
    cells["running"].content = int(runs)
    cells[position_of(settings)].content = position
    cells["Q"].content = int(output)
    if "ET" in cells:
        cells["ET"].content = shown
