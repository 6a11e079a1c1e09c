"""Quantities as a model file gives them: their bands, their moves, and what is wrong with them."""

from __future__ import annotations

from fractions import Fraction
from pathlib import Path

import pytest

from interlock.base.errors import InputError
from interlock.model.bands import Bands
from interlock.model.model import Model
from interlock.model.read_quantities import compared
from tests.support.vessel import vessel

F = Fraction


def bands(first: int = 0, *edges: int) -> Bands:
    return Bands.between("bar", (F(0), F(20)), F(first), map(F, edges))


def test_the_ends_and_the_first_value_are_bands_by_themselves() -> None:
    assert bands(5, 14).labels == (
        "0 bar", "0 to 5 bar", "5 bar", "5 to 14 bar", "14 to 20 bar", "20 bar",
    )  # fmt: skip
    assert bands(5, 14).initial == 2
    assert bands(20).initial == 2


def test_who_passes_the_first_value_does_not_stop_there() -> None:
    found = bands(5, 14)
    assert [found.above(n) for n in range(6)] == [1, 3, 3, 4, 5, None]
    assert [found.below(n) for n in range(6)] == [None, 0, 1, 1, 3, 4]


def test_no_two_bands_are_called_alike() -> None:
    found = Bands.between("", (F(0), F(1)), F(0), [F(1, 3), F(1, 3) + F(1, 10**9)])
    assert len(set(found.labels)) == len(found.members) == 5


def test_numbers_that_are_one_in_floating_point_part_nothing() -> None:
    found = Bands.between("", (F(0), F(1)), F(0), [F(1, 3), F(1, 3) + F(1, 10**30)])
    assert len(found.members) == 4


def test_what_a_model_compares_a_quantity_with_is_found_in_all_its_texts() -> None:
    document = {"a": ["Pressure >= 14 AND b", {"x <> 2": "3.5>pressure"}], "b": "pressure < -1e1"}
    assert set(compared(document, "pressure")) == {F(14), F(7, 2), F(-10)}
    # Parts of other names, and what is compared with other things.
    assert not set(compared("pressure2 >= 4 OR my.pressure < 3 OR pressure = pressure", "pressure"))


def labels(model: Model) -> tuple[str, ...]:
    return model.machines["pressure"].states


def test_it_is_parted_wherever_the_model_compares_it(tmp_path: Path) -> None:
    change = ("always: lamp OR NOT lamp", "never: pressure > 14 AND pressure < 4.5")
    assert labels(vessel(tmp_path, change)) == (
        "0 bar", "0 to 4.5 bar", "4.5 to 14 bar", "14 to 20 bar", "20 bar",
    )  # fmt: skip


@pytest.mark.parametrize(
    ("old", "new", "says"),
    [
        ("    to: 20\n", "    to: -1\n", "'to' must be more than 'from'"),
        ("    to: 20\n", "    to: 20\n    initial: 21\n", "21 lies outside 0 to 20"),
        ("    to: 20\n", "    to: 20\n    steps: [3, 25]\n", "25 lies outside 0 to 20"),
        ("per_s: [1, 2]", "per_s: [2, 1]", "the least change is more than the greatest"),
        ("[1, 2], assumed: true", "[1, 2]", "a rate needs its 'source', or 'assumed: true'"),
        ("when: pump, ", "", "what comes behind a change without 'when' never counts"),
        ("when: pump, ", "when: pumpe, ", "'pumpe' is not declared; did you mean 'pump'?"),
        (
            "    changes:\n",
            "    switches: {low: {closes_at: 3, opens_at: 3}}\n    changes:\n",
            "'closes_at' and 'opens_at' are alike",
        ),
        (
            "    changes:\n",
            "    switches: {pump: {closes_at: 3, opens_at: 4}}\n    changes:\n",
            "the name 'pump' is taken by",
        ),
        ("always: lamp OR NOT lamp", "never: pressure = 3", "'pressure' passes 3 in no time"),
        ("always: lamp OR NOT lamp", "never: pressure <> 3", "'pressure' passes 3 in no time"),
        ("always: lamp OR NOT lamp", "never: pressure + 1 > 3", "+ needs INT"),
        ("reads: pump", "reads: pressure", "expected BOOL"),
        # 20 bar at 0.001 bar a second: 20,000 s.
        ("per_s: [1, 2]", "per_s: [0, 0.001]", "20000 s are 200,000 units of 100 ms"),
    ],
)
def test_mistakes_are_told_at_their_place(tmp_path: Path, old: str, new: str, says: str) -> None:
    with pytest.raises(InputError) as raised:
        vessel(tmp_path, (old, new))
    told = [mistake for mistake in raised.value.mistakes if says in mistake.says]
    assert told, raised.value.mistakes
    assert told[0].place.line > 1


def test_a_switch_closes_and_opens_where_it_is_said(tmp_path: Path) -> None:
    switches = (
        "    switches: {low: {closes_at: 4, opens_at: 6}, high: {closes_at: 14, opens_at: 12}}\n"
    )
    model = vessel(tmp_path, ("    changes:\n", switches + "    changes:\n"))
    states = labels(model)
    assert (model.machines["low"].initial, model.machines["high"].initial) == (1, 0)
    changed = {
        (states[m.source or 0], states[m.target], name, formula.text)
        for m in model.moves
        for name, formula in m.also.items()
    }
    assert changed == {
        ("4 to 6 bar", "6 to 12 bar", "low", "open"),
        ("4 to 6 bar", "0 to 4 bar", "low", "closed"),
        ("12 to 14 bar", "14 to 20 bar", "high", "closed"),
        ("12 to 14 bar", "6 to 12 bar", "high", "open"),
    }


def test_the_first_change_that_holds_counts(tmp_path: Path) -> None:
    model = vessel(tmp_path)
    guards = {m.when.text for m in model.moves if m.machine == "pressure" and m.when is not None}
    assert guards == {"pump", "(drain) AND NOT (pump)"}
