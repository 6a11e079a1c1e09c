"""What changed in a model's files by meaning: entry by entry, facet by facet."""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from enum import Enum

# How something is called or explained; a change of it changes no behaviour.
WORDING = "says"


class Kind(Enum):
    """What became of an entry."""

    ADDED = "added"
    REMOVED = "removed"
    CHANGED = "changed"
    RENAMED = "renamed"
    MOVED = "moved"


@dataclass(frozen=True)
class Detail:
    """One facet of an entry, in the old model and in the new one; empty where it has none."""

    facet: str
    before: str
    after: str


@dataclass(frozen=True)
class Difference:
    """One entry in which the models differ.

    Attributes
    ----------
    section : str
        Such as ``"sensor"`` or ``"statement"``.
    name : str
    kind : Kind
    details : tuple of Detail
    """

    section: str
    name: str
    kind: Kind
    details: tuple[Detail, ...]

    @property
    def is_wording(self) -> bool:
        """Whether it only says the same in other words."""
        return self.kind is Kind.CHANGED and all(d.facet == WORDING for d in self.details)


Facets = Mapping[str, str]


def differences_of(
    section: str, old: Mapping[str, Facets], new: Mapping[str, Facets], exact: bool = False
) -> list[Difference]:
    """The differences of a section; names are the same in any case of letters, unless `exact`.

    The order is that of the new model, then what is gone in the order of the old one.
    """
    was = {name: facets for name, facets in old.items() if name not in new}
    spelled = {} if exact else {name.casefold(): name for name in was}
    found = []
    for name, facets in new.items():
        known = name if name in old else spelled.pop(name.casefold(), None)
        details = _details({} if known is None else old[known], facets)
        if known is None:
            found.append(Difference(section, name, Kind.ADDED, details))
        elif details:
            found.append(Difference(section, name, Kind.CHANGED, details))
        if known is not None:
            was.pop(known, None)
    for name, facets in was.items():
        found.append(Difference(section, name, Kind.REMOVED, _details(facets, {})))
    return found


def _details(old: Facets, new: Facets) -> tuple[Detail, ...]:
    names = dict.fromkeys((*old, *new))
    pairs = ((name, old.get(name, ""), new.get(name, "")) for name in names)
    return tuple(Detail(*pair) for pair in pairs if pair[1] != pair[2])


def gathered(differences: Iterable[Difference]) -> list[Difference]:
    """`differences` for people: what came, or went, of one instance or structure is one entry.

    Of a program as it is executed, each member of an instance is a variable of its own; told one
    by one they hide what was done. Other differences stay as they are.
    """
    found: dict[object, list[Difference]] = {}
    for number, difference in enumerate(differences):
        owner = _owner(difference.name)
        whole = difference.section in ("declaration", "statement") and owner != difference.name
        alone = not whole or difference.kind not in (Kind.ADDED, Kind.REMOVED)
        key = number if alone else (difference.section, owner, difference.kind)
        found.setdefault(key, []).append(difference)
    return [several[0] if len(several) == 1 else _as_one(several) for several in found.values()]


def _as_one(several: Sequence[Difference]) -> Difference:
    first = several[0]
    if first.section == "statement":
        told = [detail for difference in several for detail in difference.details]
        before, after = "\n".join(d.before for d in told), "\n".join(d.after for d in told)
        detail = Detail("statement", before.strip(), after.strip())
    else:
        words = "\n".join(_declared(difference) for difference in several)
        is_new = first.kind is Kind.ADDED
        detail = Detail("declared", "" if is_new else words, words if is_new else "")
    return Difference(first.section, _owner(first.name), first.kind, (detail,))


def _owner(name: str) -> str:
    """The instance or structure that `name` is of; a type is of none."""
    return name if name.startswith("TYPE ") else re.split(r"[.\[]", name)[0]


def _declared(difference: Difference) -> str:
    """A declaration in one line: its name, its type, and what is not usual of it."""
    facets = {d.facet: d.after or d.before for d in difference.details}
    words = f"{difference.name} : {facets.get('type', '')}"
    for facet in ("initial", "preset"):
        if facets.get(facet, "") not in ("", "FALSE", "0"):
            words += f" {'PT ' if facet == 'preset' else ''}:= {facets[facet]}"
    return words + (" RETAIN" if facets.get("kind", "").endswith("RETAIN") else "")
