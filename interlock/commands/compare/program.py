"""What changed in a program: declarations and statements, by meaning and not by lines.

A program is looked at as the list of its assignments and calls, each with the conditions it
stands under. Two lists are aligned; what is left over is told per variable that it writes.
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from difflib import SequenceMatcher

from interlock.commands.compare.differences import Detail, Difference, Kind, differences_of
from interlock.st import typed as ty
from interlock.st.untype import constant_text, expression_text, spelled

_Renamed = Mapping[str, str]


@dataclass(frozen=True)
class Leaf:
    """An assignment or a call with the conditions it stands under.

    Attributes
    ----------
    target : str
        The variable it writes, or the instance it calls.
    text : str
        Canonical text, the conditions first.
    line : int
        Its line in the program's file.
    """

    target: str
    text: str
    line: int


def program_differences(old: ty.Program, new: ty.Program) -> list[Difference]:
    """Everything in which two programs differ; nothing for layout, comments and case."""
    found = differences_of("declaration", _declarations(old), _declarations(new))
    renamed = _renamings(old, new, found)
    found = [_told_renamed(difference, renamed) for difference in found]
    dropped = set(renamed.values())
    found = [d for d in found if not (d.kind is Kind.ADDED and d.name in dropped)]
    before, after = {**_spellings(old), **renamed}, _spellings(new)
    statements = list(_statement_differences(old, new, before, after))
    if not statements and _texts(old.body, before) != _texts(new.body, after):
        detail = Detail("branches", "", "the same statements, in branches arranged otherwise")
        statements = [Difference("statement", "program", Kind.CHANGED, (detail,))]
    return found + statements


def _spellings(program: ty.Program) -> dict[str, str]:
    """Every variable as declared: the member ``m.q`` of a block is no output ``Q`` of a timer."""
    return {variable.name.casefold(): variable.name for variable in program.variables}


def _declarations(program: ty.Program) -> dict[str, dict[str, str]]:
    found: dict[str, dict[str, str]] = {}
    for variable in program.variables:
        found[variable.name] = {
            "kind": variable.kind + (" RETAIN" if variable.retain else ""),
            "type": str(variable.type),
            "initial": constant_text(variable.initial, variable.type),
        }
    for instance in program.instances:
        found[instance.name] = {
            "kind": "VAR RETAIN" if instance.retain else "VAR",
            "type": instance.block + (f"_{instance.counted}" if instance.counted != "INT" else ""),
            "preset": f"{instance.preset_ms} ms" if instance.preset_ms else "",
        }
    for enum in program.enums:
        found[f"TYPE {enum.name}"] = {"values": ", ".join(enum.labels)}
    return found


# Renamed local variables


def _renamings(old: ty.Program, new: ty.Program, declared: Sequence[Difference]) -> dict[str, str]:
    """New names of local variables that were only renamed, by casefolded old name.

    A variable counts as renamed where the declaration is the same but for the name, the
    statements that write it are the same once the renamings found so far are made, and both keep
    their value from scan to scan or neither does. Which of several would fit is decided by their
    order.
    """
    gone = [d.name for d in declared if d.kind is Kind.REMOVED]
    come = [d.name for d in declared if d.kind is Kind.ADDED]
    of_old, of_new = _declarations(old), _declarations(new)
    before, after = _uses(old), _uses(new)
    fitting: dict[_Likeness, list[str]] = {}
    for name in come:
        fitting.setdefault(after.likeness(name, of_new[name], {}), []).append(name)
    renamed: dict[str, str] = {}
    grown = True
    while grown:
        grown = False
        for name in gone:
            if name.casefold() in renamed or of_old[name].get("kind") not in ("VAR", "VAR RETAIN"):
                continue
            fit = fitting.get(before.likeness(name, of_old[name], renamed))
            if fit:
                renamed[name.casefold()] = fit.pop(0)
                grown = True
    return renamed


_Likeness = tuple[object, ...]
_MARKED = re.compile("\1([^\2]*)\2")
# An assignment's target, what a call's output is given to, and the instance that is called.
_WRITTEN = re.compile("\1([^\2]*)\2(?= := |\\()|(?<==> )\1([^\2]*)\2")


@dataclass(frozen=True)
class _Uses:
    """Where names of a program are written and first used.

    Attributes
    ----------
    written : dict of str to list of str
        By casefolded name, the statements that write it, each name in them marked.
    remembered : set of str
        What is read before anything in the scan has written it.
    """

    written: dict[str, list[str]]
    remembered: set[str]

    def likeness(self, name: str, declared: Mapping[str, str], renamed: _Renamed) -> _Likeness:
        """What must be alike in two variables of which one is the other, renamed."""

        def placed(found: re.Match[str]) -> str:
            key = found[1]
            return "\1\2" if key == own else f"\1{renamed.get(key, key).casefold()}\2"

        own = name.casefold()
        texts = [_MARKED.sub(placed, text) for text in self.written.get(own, ())]
        return (own in self.remembered, *sorted(declared.items()), *texts)


def _uses(program: ty.Program) -> _Uses:
    names = [variable.name.casefold() for variable in program.variables]
    names += [instance.name.casefold() for instance in program.instances]
    uses = _Uses({}, set())
    for leaf in _leaves(program.body, {name: f"\1{name}\2" for name in names}):
        read = set(_MARKED.findall(_WRITTEN.sub("", leaf.text)))
        uses.remembered.update(read - uses.written.keys())
        for target, taken in _WRITTEN.findall(leaf.text):
            uses.written.setdefault(target or taken, []).append(leaf.text)
    return uses


def _told_renamed(difference: Difference, renamed: _Renamed) -> Difference:
    after = renamed.get(difference.name.casefold())
    if difference.kind is not Kind.REMOVED or after is None:
        return difference
    detail = Detail("name", difference.name, after)
    return replace(difference, kind=Kind.RENAMED, details=(detail,))


# Statements


def _statement_differences(
    old: ty.Program, new: ty.Program, of_old: _Renamed, of_new: _Renamed
) -> Iterator[Difference]:
    before, after = list(_leaves(old.body, of_old)), list(_leaves(new.body, of_new))
    gone, come = _left_over(before, after)
    moved = []
    for leaf in gone:
        partner = next((other for other in come if other.text == leaf.text), None)
        if partner is not None:
            come.remove(partner)
            moved.append((leaf, partner))
    gone = [leaf for leaf in gone if all(leaf is not other for other, _ in moved)]
    targets = dict.fromkeys(leaf.target for leaf in (*come, *gone))
    for target in targets:
        was = [leaf.text for leaf in gone if leaf.target == target]
        now = [leaf.text for leaf in come if leaf.target == target]
        kind = Kind.CHANGED if was and now else Kind.REMOVED if was else Kind.ADDED
        detail = Detail("statement", "\n".join(was), "\n".join(now))
        yield Difference("statement", target, kind, (detail,))
    for leaf, partner in moved:
        detail = Detail("place", _after_what(leaf, before), _after_what(partner, after))
        yield Difference("statement", leaf.target, Kind.MOVED, (detail,))


def _after_what(leaf: Leaf, leaves: Sequence[Leaf]) -> str:
    number = next(n for n, other in enumerate(leaves) if other is leaf)
    return f"after {leaves[number - 1].target}" if number else "first of all"


def _left_over(before: Sequence[Leaf], after: Sequence[Leaf]) -> tuple[list[Leaf], list[Leaf]]:
    """What remains of two lists once the longest runs that they share are aligned."""
    texts = [leaf.text for leaf in before], [leaf.text for leaf in after]
    gone: list[Leaf] = []
    come: list[Leaf] = []
    for tag, i, j, k, m in SequenceMatcher(None, *texts, autojunk=False).get_opcodes():
        if tag != "equal":
            gone += before[i:j]
            come += after[k:m]
    return gone, come


def _texts(body: Sequence[ty.Statement], renamed: _Renamed) -> list[str]:
    """The body as nested canonical texts; equal exactly where the bodies mean the same."""
    found: list[str] = []
    for s in body:
        match s:
            case ty.If():
                for branch in s.branches:
                    found.append("IF " + expression_text(branch.condition, renamed))
                    found += _texts(branch.body, renamed)
                found += ["ELSE", *_texts(s.otherwise, renamed), "END_IF"]
            case ty.Case():
                found.append("CASE " + expression_text(s.selector, renamed))
                for case in s.branches:
                    found.append(f"OF {_ranges(case, s.selector)}")
                    found += _texts(case.body, renamed)
                found += ["ELSE", *_texts(s.otherwise, renamed), "END_CASE"]
            case _:
                found.append(_plain(s, renamed).text)
    return found


def _leaves(
    body: Sequence[ty.Statement], renamed: _Renamed, under: tuple[str, ...] = ()
) -> Iterator[Leaf]:
    for s in body:
        match s:
            case ty.If():
                passed: list[str] = []
                for branch in s.branches:
                    condition = expression_text(branch.condition, renamed)
                    here = "".join(f"NOT ({text}), " for text in passed) + condition
                    yield from _leaves(branch.body, renamed, (*under, f"IF {here}"))
                    passed.append(condition)
                here = ", ".join(f"NOT ({text})" for text in passed)
                yield from _leaves(s.otherwise, renamed, (*under, f"IF {here}"))
            case ty.Case():
                selector = expression_text(s.selector, renamed)
                for case in s.branches:
                    here = f"CASE {selector} OF {_ranges(case, s.selector)}"
                    yield from _leaves(case.body, renamed, (*under, here))
                others = "; ".join(_ranges(case, s.selector) for case in s.branches)
                here = f"CASE {selector} OF none of {others}"
                yield from _leaves(s.otherwise, renamed, (*under, here))
            case _:
                leaf = _plain(s, renamed)
                yield replace(leaf, text=": ".join((*under, leaf.text)))


def _plain(s: ty.Assign | ty.Invoke, renamed: _Renamed) -> Leaf:
    if isinstance(s, ty.Assign):
        target = spelled(s.target, renamed)
        text = f"{target} := {expression_text(s.value, renamed)}"
        return Leaf(target, text, s.place.line)
    target = spelled(s.instance, renamed)
    given = [f"{name} := {expression_text(value, renamed)}" for name, value in sorted(s.inputs)]
    taken = [f"{t.output} => {spelled(t.target, renamed)}" for t in s.outputs]
    return Leaf(target, f"{target}({', '.join(given + taken)})", s.place.line)


def _ranges(case: ty.CaseBranch, selector: ty.Expression) -> str:
    texts = []
    for lo, hi in sorted(case.ranges):
        ends = [constant_text(value, selector.type) for value in dict.fromkeys((lo, hi))]
        texts.append("..".join(ends))
    return ", ".join(texts)
