"""The standard function blocks as expressions over their memory.

Source: IEC 61131-3, standard function blocks. What its timing diagrams leave open is decided so:
a pulse (TP) that ends while IN is TRUE needs IN FALSE at a later call before the next one.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping

from interlock.kernel import expr as ex
from interlock.kernel.expr import FALSE, Expr, and_, const, eq, ite, not_, or_
from interlock.st import typed as ty
from interlock.st.layout import PREFIX, Settings, Timers, position_name, top_of


def step_block(
    instance: ty.Instance,
    inputs: Mapping[str, Expr],
    memory: Mapping[str, Expr],
    settings: Settings,
    counts: Mapping[str, tuple[int, int]],
) -> dict[str, Expr]:
    """New values of the memory of `instance` after one call.

    Parameters
    ----------
    instance : typed.Instance
    inputs : mapping of str to Expr
        By the input's name; an input that no call gives is FALSE.
    memory : mapping of str to Expr
        Current values, by the variable's name in the layout.
    settings : Settings
    counts : mapping of str to int
        Where each counter stays, downwards and upwards, by its instance's name.
    """
    if instance.block in _TIMERS:
        return _step_timer(instance, inputs, memory, settings)
    prefix = f"{PREFIX}{instance.name}."
    own = {name[len(prefix) :]: e for name, e in memory.items() if name.startswith(prefix)}
    if instance.block in _COUNTERS:
        new = _COUNTERS[instance.block](inputs, own, counts[instance.name])
    else:
        new = _SIMPLE[instance.block](inputs, own)
    return {prefix + name: e for name, e in new.items()}


_Step = Callable[[Mapping[str, Expr], Mapping[str, Expr]], dict[str, Expr]]

_SIMPLE: dict[str, _Step] = {
    "SR": lambda i, m: {"Q1": or_(i["S1"], and_(not_(i["R"]), m["Q1"]))},
    "RS": lambda i, m: {"Q1": and_(not_(i["R1"]), or_(i["S"], m["Q1"]))},
    "R_TRIG": lambda i, m: {"Q": and_(i["CLK"], not_(m["M"])), "M": i["CLK"]},
    "F_TRIG": lambda i, m: {"Q": and_(not_(i["CLK"]), not_(m["M"])), "M": not_(i["CLK"])},
}


def _count_up(
    inputs: Mapping[str, Expr], memory: Mapping[str, Expr], ends: tuple[int, int]
) -> dict[str, Expr]:
    edge = and_(inputs["CU"], not_(memory["M"]))
    counted = ex.minimum(const(ends[1]), ex.add(memory["CV"], edge))
    count = ite(inputs.get("R", FALSE), const(0), counted)
    return {"M": inputs["CU"], "CV": count, "Q": ex.le(inputs["PV"], count)}


def _count_down(
    inputs: Mapping[str, Expr], memory: Mapping[str, Expr], ends: tuple[int, int]
) -> dict[str, Expr]:
    edge = and_(inputs["CD"], not_(memory["M"]))
    counted = ex.maximum(const(ends[0]), ex.sub(memory["CV"], edge))
    loaded = ex.maximum(const(ends[0]), inputs["PV"])
    count = ite(inputs.get("LD", FALSE), loaded, counted)
    return {"M": inputs["CD"], "CV": count, "Q": ex.le(count, const(0))}


def _count_both_ways(
    inputs: Mapping[str, Expr], memory: Mapping[str, Expr], ends: tuple[int, int]
) -> dict[str, Expr]:
    up = and_(inputs["CU"], not_(memory["MU"]))
    down = and_(inputs["CD"], not_(memory["MD"]))
    # Both edges in one call change nothing.
    counted = ex.sub(ex.add(memory["CV"], and_(up, not_(down))), and_(down, not_(up)))
    count = ite(inputs.get("LD", FALSE), inputs["PV"], ex.clamp(counted, *ends))
    count = ite(inputs.get("R", FALSE), const(0), count)
    new = {"MU": inputs["CU"], "MD": inputs["CD"], "CV": count}
    return new | {"QU": ex.le(inputs["PV"], count), "QD": ex.le(count, const(0))}


_COUNTERS = {"CTU": _count_up, "CTD": _count_down, "CTUD": _count_both_ways}


def _step_timer(
    instance: ty.Instance,
    inputs: Mapping[str, Expr],
    memory: Mapping[str, Expr],
    settings: Settings,
) -> dict[str, Expr]:
    prefix = f"{PREFIX}{instance.name}."
    place = position_name(instance, settings)
    on = inputs["IN"]
    top: Expr = const(top_of(instance, settings))
    preset_ms = ex.maximum(const(0), inputs["PT"]) if instance.varies else None
    if preset_ms is not None:
        top = _top_now(preset_ms, settings)
    running, output = memory[prefix + "running"], memory[prefix + "Q"]
    # A timer that starts in this call starts from nothing.
    position = ite(running, memory[place], const(0))
    over = eq(position, top) if preset_ms is None else ex.le(top, position)

    def time(at: Expr) -> Expr:
        """What ET shows at a position: scans, or milliseconds where the preset time varies."""
        if preset_ms is None:
            return at
        return ex.minimum(preset_ms, ex.mul(at, const(settings.scan_ms)))

    idle = const(0)
    match instance.block:
        case "TON":
            new_running, new_output = on, and_(on, over)
            new_position = ite(on, position, idle)
            shown = ite(on, time(position), idle)
        case "TOF":
            new_output = or_(on, and_(output, not_(over)))
            new_running = and_(not_(on), new_output)
            new_position = ite(new_running, position, idle)
            last = memory.get(prefix + "ET", idle)
            shown = ite(on, idle, ite(output, time(position), last))
        case _:
            held = memory[place] if top is not FALSE else FALSE
            # Where the pulse has ended and IN has stayed, the position stays, too.
            stays = eq(held, top) if preset_ms is None else ex.lt(idle, held)
            spent = and_(not_(running), stays) if top is not FALSE else FALSE
            pulsing = or_(running, and_(on, not_(spent)))
            new_running = new_output = and_(pulsing, not_(over))
            waits = and_(on, or_(pulsing, spent))
            mark = top if preset_ms is None else ex.maximum(const(1), top)
            new_position = ite(new_running, position, ite(waits, mark, idle))
            shown = ite(new_running, time(position), ite(waits, time(top), idle))
    new = {prefix + "running": new_running, place: new_position, prefix + "Q": new_output}
    if settings.timers is Timers.COUNTED:
        new[prefix + "ET"] = shown
    return new


def _top_now(preset_ms: Expr, settings: Settings) -> Expr:
    """The position at which a timer with this preset time has elapsed."""
    if settings.timers is Timers.FREE:
        return ex.minimum(preset_ms, const(1))
    rounded_up = ex.add(preset_ms, const(settings.scan_ms - 1))
    return ex.div(rounded_up, const(settings.scan_ms))


_TIMERS = frozenset(("TON", "TOF", "TP"))
