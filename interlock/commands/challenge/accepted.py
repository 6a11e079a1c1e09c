"""Which seeded defects a model's file of accepted gaps speaks of."""

from __future__ import annotations

from collections.abc import Iterable

from interlock.base.errors import InputError, Mistake, nearest
from interlock.commands.challenge.defects import Defect
from interlock.commands.challenge.gaps_file import AcceptedGap, Gaps


def accepted_of(gaps: Gaps, defects: Iterable[Defect]) -> dict[str, AcceptedGap]:
    """The entry that speaks of each defect, by the defect's id.

    A revision that inherits the file may lack some of the defects in it, having changed what they
    would change.

    Raises
    ------
    InputError
        For every entry that names no defect of the model, or one that was named before.
    """
    by_name: dict[str, dict[str, Defect]] = {}
    for defect in defects:
        by_name.setdefault(defect.at, {})[defect.told] = defect
    found: dict[str, AcceptedGap] = {}
    mistakes = []
    for entry in gaps.entries:
        here = by_name.get(entry.at, {})
        meant = here.get(entry.defect)
        if meant is not None and meant.id not in found:
            found[meant.id] = entry
        elif meant is not None:
            said = f"'{entry.defect}' of '{entry.at}' was accepted before"
            mistakes.append(Mistake(entry.place, said))
        elif not here and not gaps.is_inherited:
            said = f"nothing called '{entry.at}' is seeded with defects"
            mistakes.append(Mistake(entry.at_place, said + nearest(entry.at, by_name)))
        elif not gaps.is_inherited:
            said = f"'{entry.at}' has no defect '{entry.defect}'"
            mistakes.append(Mistake(entry.place, said + nearest(entry.defect, here)))
    if mistakes:
        raise InputError(dict.fromkeys(mistakes))
    return found
