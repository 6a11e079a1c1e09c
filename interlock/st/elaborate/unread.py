"""Values from outside that nothing reads before they are overwritten: taken out again."""

from __future__ import annotations

from collections.abc import Collection, Sequence
from dataclasses import replace

from interlock.st import syntax as sx
from interlock.st.elaborate.reading import read_by, target_of


def without_unread(
    body: Sequence[sx.Statement], given: Collection[str], lasting: Collection[str]
) -> tuple[sx.Statement, ...]:
    """`body` without assignments of one of `given` that nothing reads.

    Parameters
    ----------
    body : sequence of syntax.Statement
        Over scalars.
    given : collection of str
        Inputs that are assigned to let a variable have any value.
    lasting : collection of str
        What is read when the scan is over.
    """
    return _Backwards(given).through(body, set(lasting))


class _Backwards:
    """Goes through statements from the last to the first, knowing what is read behind each."""

    def __init__(self, given: Collection[str]) -> None:
        self._given = given

    def through(self, body: Sequence[sx.Statement], read: set[str]) -> tuple[sx.Statement, ...]:
        """`body` with what is needed; `read` becomes what is read from its beginning on."""
        kept: list[sx.Statement] = []
        for s in reversed(body):
            needed = self._one(s, read)
            kept += [] if needed is None else [needed]
        return tuple(reversed(kept))

    def _one(self, s: sx.Statement, read: set[str]) -> sx.Statement | None:
        match s:
            case sx.Assign():
                target = target_of(s.target)
                is_given = isinstance(s.value, sx.Name) and s.value.text in self._given
                if is_given and target not in read:
                    return None
                if isinstance(s.target, sx.Name):
                    read.discard(target)
                read |= set(read_by(s.value))
            case sx.Invoke():
                read -= {target_of(taken.target) for taken in s.outputs}
                for argument in s.inputs:
                    read |= set(read_by(argument.value))
            case sx.If() | sx.Case():
                return self._branching(s, read)
        return s

    def _branching(self, s: sx.If | sx.Case, read: set[str]) -> sx.Statement:
        after = set(read)
        branches = []
        for branch in s.branches:
            inner = set(after)
            branches.append(replace(branch, body=self.through(branch.body, inner)))
            read |= inner
        inner = set(after)
        otherwise = self.through(s.otherwise, inner)
        read |= inner
        if isinstance(s, sx.Case):
            read |= set(read_by(s.selector))
        else:
            read |= {name for branch in s.branches for name in read_by(branch.condition)}
        return replace(s, branches=tuple(branches), otherwise=otherwise)  # type: ignore[arg-type]
