"""What changed in a model's files by meaning: entry by entry, facet by facet."""

from __future__ import annotations

from collections.abc import Mapping
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
