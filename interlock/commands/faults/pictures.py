"""The fault trees of a study, one for each requirement that faults break."""

from __future__ import annotations

from collections.abc import Iterator

from interlock.commands.faults.likelihood import MOST_DRAWN, likelihood_of
from interlock.commands.faults.study import FaultStudy
from interlock.commands.faults.tree_picture import Left, draw_fault_tree
from interlock.pictures.picture import Picture


def draw_fault_trees(study: FaultStudy) -> Iterator[Picture]:
    """A picture for each requirement with a tree, its sets of the fewest faults first."""
    for id_ in study.requirements:
        found = likelihood_of(study, id_, most_sets=MOST_DRAWN)
        if found is None:
            continue
        n_left = sum(study.sets[id_].n_by_order) - _n_drawn(study, id_, found.without_figure)
        left = Left(n_left, "sets that are not drawn here") if n_left > 0 else None
        yield draw_fault_tree(found.tree, f"fault-tree-{id_}", left=left)


def _n_drawn(study: FaultStudy, id_: str, without_figure: tuple[str, ...]) -> int:
    lacking = set(without_figure)
    drawable = [one for one in study.sets[id_].sets if lacking.isdisjoint(one)]
    return min(MOST_DRAWN, len(drawable))
