"""Each kind of fault, in the builder, in the judge's player and in the second opinion.

They are walked through the states of a small model side by side. So are two kinds that are made up
here: what a row says is all that builder and player need of it.
"""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest

from interlock.model.fault import Effect
from interlock.model.fault_kinds import FAULT_KINDS, STUCK_TRUE, FaultKind, Site
from interlock.model.model import Model
from tests.second_opinion import world as second_opinion
from tests.second_opinion.walking import Walk
from tests.second_opinion.world import Meaning
from tests.support.gate import gate

INVERTED = FaultKind(
    "inverted", key="stuck", says=dict.fromkeys((Site.SIGNAL, Site.OUTPUT), ""), shows=(1, 0)
)
OTHERWISE = replace(INVERTED, name="held otherwise", holds=True)
MADE_UP = {
    INVERTED.name: Meaning(lambda given, seen: 1 - given),
    OTHERWISE.name: Meaning(lambda given, seen: 1 - seen, is_kept=True),
}
ROWS = [(kind, site) for kind in (*FAULT_KINDS, INVERTED, OTHERWISE) for site in kind.says]
NAMES = {Site.SIGNAL: "shut", Site.OUTPUT: "drive", Site.MACHINE: "gate", Site.CONTROLLER: ""}


def with_faults(folder: Path, kind: FaultKind, site: Site) -> Model:
    """The gate with one fault of this kind, and one before it that holds what it may hold, too."""
    model = gate(folder)
    stuck = Effect(STUCK_TRUE, Site.OUTPUT if site is Site.OUTPUT else Site.SIGNAL)
    first = Effect(stuck.kind, stuck.site, NAMES[stuck.site])
    states = (1,) if site is Site.MACHINE else ()
    asked = Effect(kind, site, NAMES[site], states)
    plain = replace(model.faults["F1"], effects=(first,))
    faults = {"F1": plain, "F2": replace(plain, id="F2", effects=(asked,), intermittent=True)}
    return replace(model, faults=faults)


@pytest.mark.parametrize(
    ("kind", "site"), ROWS, ids=[f"{kind.name} at {site.value}" for kind, site in ROWS]
)
def test_a_row_is_all_that_builder_and_player_need(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, kind: FaultKind, site: Site
) -> None:
    for name, meaning in MADE_UP.items():
        monkeypatch.setitem(second_opinion.MEANINGS, name, meaning)
    walk = Walk(with_faults(tmp_path, kind, site))
    assert not list(walk.disagreements())
    assert {"F1 strikes", "F2 strikes", "F2 clears"} <= walk.told


@pytest.mark.parametrize(
    ("kind", "site"), ROWS, ids=[f"{kind.name} at {site.value}" for kind, site in ROWS]
)
def test_a_kind_that_means_something_else_is_noticed(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, kind: FaultKind, site: Site
) -> None:
    monkeypatch.setitem(second_opinion.MEANINGS, kind.name, Meaning())
    assert any(Walk(with_faults(tmp_path, kind, site)).disagreements())
