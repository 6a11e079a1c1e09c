"""Whether a condition can hold at all: values are tried variable by variable, shared parts once.

Nothing is asked about reachability here. What simplifies to the same expression is decided once,
so that conditions of a model take milliseconds; where one takes too long, nothing is said.
"""

from __future__ import annotations

from collections.abc import Collection, Mapping

from interlock.kernel import expr as ex
from interlock.kernel.expr import Expr, Op

# Nodes that are built anew before a decision is given up; about a second.
MOST_WORK = 300_000


class _TooMuchError(Exception):
    pass


def satisfiable(
    condition: Expr, values: Mapping[str, Collection[int]], most_work: int = MOST_WORK
) -> bool | None:
    """Whether some choice of values makes `condition` true.

    Parameters
    ----------
    condition : Expr
        A truth value.
    values : mapping of str to collection of int
        What each variable of it may be.
    most_work : int
        Nodes that may be built anew before giving up.

    Returns
    -------
    bool or None
        None where it was given up.

    Examples
    --------
    >>> lift = ex.var("lift")
    >>> up, down = ex.eq(lift, ex.const(2)), ex.eq(lift, ex.const(0))
    >>> satisfiable(ex.and_(up, down), {"lift": range(3)})
    False
    >>> satisfiable(ex.or_(up, down), {"lift": [0, 1]})
    True
    """
    search = _Search(values, most_work)
    try:
        return search.can_hold(condition)
    except _TooMuchError:
        return None


def always(
    condition: Expr, values: Mapping[str, Collection[int]], most_work: int = MOST_WORK
) -> bool | None:
    """Whether every choice of values makes `condition` true; as for `satisfiable`."""
    found = satisfiable(ex.not_(condition), values, most_work)
    return None if found is None else not found


class _Search:
    def __init__(self, values: Mapping[str, Collection[int]], most_work: int) -> None:
        self._values = values
        self._left = most_work
        self._known: dict[Expr, bool] = {}

    def can_hold(self, condition: Expr) -> bool:
        if condition.op is Op.CONST:
            return condition.value != 0
        if condition not in self._known:
            self._known[condition] = self._split(condition)
        return self._known[condition]

    def _split(self, condition: Expr) -> bool:
        if condition.op is Op.OR:
            return any(self.can_hold(part) for part in condition.args)
        nodes = ex.topological([condition])
        name = next(node.name for node in nodes if node.op is Op.VAR)
        for value in self._values[name]:
            self._left -= len(nodes)
            if self._left < 0:
                raise _TooMuchError
            if self.can_hold(ex.substitute([condition], {name: ex.const(value)})[0]):
                return True
        return False
