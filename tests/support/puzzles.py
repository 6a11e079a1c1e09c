"""Systems with published state spaces; the facts and their sources stand beside the checks."""

from __future__ import annotations

from itertools import product

from interlock.kernel import expr as ex
from interlock.kernel.expr import (
    Expr,
    add,
    and_,
    const,
    eq,
    ite,
    le,
    lt,
    minimum,
    not_,
    or_,
    sub,
    var,
)
from interlock.kernel.system import Move, System
from tests.support.build import is_, move, system


def sliding_tiles(n_rows: int, n_columns: int) -> System:
    """Tiles in a frame with one gap (0), which starts in the first corner."""
    n_cells = n_rows * n_columns
    moves = []
    for row, column in product(range(n_rows), range(n_columns)):
        here = row * n_columns + column
        for down, right in ((-1, 0), (1, 0), (0, -1), (0, 1)):
            if 0 <= row + down < n_rows and 0 <= column + right < n_columns:
                there = here + down * n_columns + right
                moves.append(
                    move(
                        f"tile at {there} slides to {here}",
                        is_(f"cell{here}", 0),
                        {f"cell{here}": var(f"cell{there}"), f"cell{there}": 0},
                    )
                )
    return system({f"cell{n}": (0, n_cells - 1, n) for n in range(n_cells)}, *moves)


def hanoi(n_discs: int) -> System:
    """Disc 0 is the smallest; all start on peg 0."""
    moves = []
    for disc, (source, target) in product(range(n_discs), product(range(3), repeat=2)):
        if source != target:
            free = [
                and_(not_(is_(f"disc{n}", source)), not_(is_(f"disc{n}", target)))
                for n in range(disc)
            ]
            moves.append(
                move(
                    f"disc {disc} from {source} to {target}",
                    and_(is_(f"disc{disc}", source), *free),
                    {f"disc{disc}": target},
                )
            )
    return system({f"disc{n}": (0, 2, 0) for n in range(n_discs)}, *moves)


def wolf_goat_cabbage() -> System:
    """Everyone starts on bank 0; nobody may eat anybody."""
    names = ("farmer", "wolf", "goat", "cabbage")
    farmer, wolf, goat, cabbage = (var(name) for name in names)
    safe = or_(eq(farmer, goat), and_(not_(eq(wolf, goat)), not_(eq(goat, cabbage))))
    moves = []
    for cargo in names:
        updates = {name: not_(var(name)) for name in ("farmer", cargo)}
        together = eq(farmer, var(cargo))
        moves.append(
            move(f"cross with {cargo}", and_(together, ex.substitute([safe], updates)[0]), updates)
        )
    return system(dict.fromkeys(names, (0, 1, 0)), *moves)


def missionaries(n: int = 3, boat: int = 2) -> System:
    """How many of each, and the boat, are on the near bank."""
    m, c = var("missionaries"), var("cannibals")
    moves = []
    for a, b in product(range(boat + 1), repeat=2):
        if not 1 <= a + b <= boat:
            continue
        for direction, here in ((-1, 1), (1, 0)):
            new_m, new_c = add(m, const(direction * a)), add(c, const(direction * b))
            possible = [le(const(0), x) for x in (new_m, new_c)]
            possible += [le(x, const(n)) for x in (new_m, new_c)]
            safe = or_(eq(new_m, const(0)), eq(new_m, const(n)), eq(new_m, new_c))
            moves.append(
                move(
                    f"{a} and {b} cross {'there' if here else 'back'}",
                    and_(is_("boat", here), *possible, safe),
                    {
                        "missionaries": ex.clamp(new_m, 0, n),
                        "cannibals": ex.clamp(new_c, 0, n),
                        "boat": 1 - here,
                    },
                )
            )
    return system({"missionaries": (0, n, n), "cannibals": (0, n, n), "boat": (0, 1, 1)}, *moves)


def jugs(first: int, second: int) -> System:
    """Two jugs, a tap and a drain."""
    sizes = {"a": first, "b": second}
    moves = []
    for one, other in (("a", "b"), ("b", "a")):
        level, size, rest = var(one), sizes[one], sizes[other]
        poured = minimum(level, sub(const(rest), var(other)))
        moves += [
            move(f"fill {one}", lt(level, const(size)), {one: size}),
            move(f"empty {one}", lt(const(0), level), {one: 0}),
            move(
                f"pour {one} into {other}",
                and_(lt(const(0), level), lt(var(other), const(rest))),
                {
                    one: ex.clamp(sub(level, poured), 0, size),
                    other: ex.clamp(add(var(other), poured), 0, rest),
                },
            ),
        ]
    return system({name: (0, size, 0) for name, size in sizes.items()}, *moves)


def peterson() -> System:
    """Program points: 0 raise the flag, 1 give way, 2 wait, 3 critical section."""
    moves: list[Move] = []
    for me in (0, 1):
        point, other = f"point{me}", f"point{1 - me}"
        may_enter = or_(is_(other, 0), is_("turn", me))
        moves += [
            move(f"{me} raises its flag", is_(point, 0), {point: 1}),
            move(f"{me} gives way", is_(point, 1), {point: 2, "turn": 1 - me}),
            move(f"{me} enters", and_(is_(point, 2), may_enter), {point: 3}),
            move(f"{me} leaves", is_(point, 3), {point: 0}),
        ]
    return system({"point0": (0, 3, 0), "point1": (0, 3, 0), "turn": (0, 1, 0)}, *moves)


def flags(set_first: bool) -> System:
    """Two processes with a flag each, which they set before or after they test the other's."""
    moves = []
    for me in (0, 1):
        point, other = f"point{me}", f"point{1 - me}"
        raised_from = 1 if set_first else 2
        free = lt(var(other), const(raised_from))
        first, second = (ex.TRUE, free) if set_first else (free, ex.TRUE)
        moves += [
            move(f"{me} first", and_(is_(point, 0), first), {point: 1}),
            move(f"{me} second", and_(is_(point, 1), second), {point: 2}),
            move(f"{me} leaves", is_(point, 2), {point: 0}),
        ]
    return system({"point0": (0, 2, 0), "point1": (0, 2, 0)}, *moves)


def philosophers(n: int) -> System:
    """0 thinks, 1 holds the left fork, 2 holds both; both are put down at once."""
    moves = []
    for me in range(n):
        left, right = f"p{(me - 1) % n}", f"p{(me + 1) % n}"
        moves += [
            move(f"{me} takes left", and_(is_(f"p{me}", 0), not_(is_(left, 2))), {f"p{me}": 1}),
            move(f"{me} takes right", and_(is_(f"p{me}", 1), is_(right, 0)), {f"p{me}": 2}),
            move(f"{me} puts both down", is_(f"p{me}", 2), {f"p{me}": 0}),
        ]
    return system({f"p{n_}": (0, 2, 0) for n_ in range(n)}, *moves)


def bridge_and_torch(minutes: tuple[int, ...]) -> System:
    """One move a minute: starting a crossing takes its first, the others are waited for."""
    names = [f"walker{n}" for n in range(len(minutes))]
    longest = max(minutes)
    idle = is_("minutes_left", 0)
    moves = [
        move(
            "a minute passes",
            not_(idle),
            {"minutes_left": ex.clamp(sub(var("minutes_left"), const(1)), 0, longest)},
        )
    ]
    for a, b in product(range(len(minutes)), repeat=2):
        if a <= b:
            pair = (names[a], names[b])
            beside: list[Expr] = [eq(var(name), var("torch")) for name in pair]
            updates = {name: not_(var(name)) for name in (*pair, "torch")}
            moves.append(
                move(
                    f"{a} and {b} cross" if a < b else f"{a} crosses",
                    and_(idle, *beside),
                    {**updates, "minutes_left": max(minutes[a], minutes[b]) - 1},
                )
            )
    variables = dict.fromkeys([*names, "torch"], (0, 1, 0))
    return system({**variables, "minutes_left": (0, longest, 0)}, *moves)


def crossing(controller_delay: int, closing_time: int, arrival_time: int) -> System:
    """A level crossing in ticks: the controller sees the train at once and acts after a delay."""
    last = max(controller_delay + closing_time, arrival_time)
    now = var("ticks")
    arrived = not_(lt(now, const(arrival_time)))
    closed = not_(lt(now, const(controller_delay + closing_time)))
    moves = [
        move("a train is seen", not_(var("coming")), {"coming": 1, "ticks": 0}),
        move(
            "a tick",
            and_(var("coming"), lt(now, const(last))),
            {
                "ticks": ex.clamp(add(now, const(1)), 0, last),
                "train_on_crossing": ite(arrived, ex.TRUE, ex.FALSE),
                "barrier_closed": ite(closed, ex.TRUE, ex.FALSE),
            },
        ),
    ]
    booleans = dict.fromkeys(["coming", "train_on_crossing", "barrier_closed"], (0, 1, 0))
    return system({**booleans, "ticks": (0, last, 0)}, *moves)
