"""The product against a second opinion, on models drawn at random.

The second opinion (`tests.second_opinion`) was written from the documents alone. On each model the
two must agree: verdict by verdict, vacuous or not, length by length, minimal set by minimal set.
``python -m tests.bench.second_opinion`` compares more of them, with every engine.
"""

from __future__ import annotations

from collections import Counter
from pathlib import Path

from interlock.model.fault_kinds import FAULT_KINDS
from tests.second_opinion.compare import compare_seed

SEEDS = range(50, 150)
MOST_STATES = 250

# Whatever kind of fault there is; those that hold a value as it was more often.
FAULTS = {
    f"{site.value} {kind.name}": 20 if kind.holds else 8
    for kind in FAULT_KINDS
    for site in kind.says
} | {"controller restart": 15, "machine jams": 5, "machine jams in some states": 10}
# What has to be met in all, so that the two cannot agree on nothing: at least so often.
MODELS = {
    "with 'one in all' between scans": 10,
    "with 'two in all' between scans": 10,
    "with 'three in all' between scans": 10,
    "with 'each once' between scans": 15,
    "with 'any number' between scans": 10,
    "with free timers": 30,
    "with counted timers": 30,
    "with RETAIN": 30,
    "with human errors": 20,
    "under at most 0 faults": 20,
    "under at most 1 faults": 10,
    "under at most 2 faults": 15,
    "under any number of faults": 8,
    **{f"with a fault: {what}": least for what, least in FAULTS.items()},
    "with a fault: read by guards and terms": 8,
    "with a fault: intermittent": 30,
    **{f"with a {block}": 5 for block in ("TON", "TOF", "TP", "SR", "RS")},
    **{f"with a {block}": 8 for block in ("R_TRIG", "F_TRIG", "CTU")},
}
# Requirements that hold, those that are violated, and those that hold for want of a premise. No
# premise belongs to 'can always still' and to arithmetic.
REQUIREMENTS = {
    "requirement": (200, 200, 200),
    "arithmetic": (50, 5, 0),
    "pattern never": (20, 40, 40),
    "pattern always": (10, 25, 10),
    "pattern exists": (25, 25, 15),
    "pattern leads to": (30, 30, 50),
    "pattern leads to within a bound": (12, 15, 25),
    "pattern only after": (20, 10, 25),
    "pattern can always still": (25, 40, 0),
    "scope globally": (100, 120, 40),
    "scope before": (12, 10, 30),
    "scope after": (20, 25, 25),
    "scope between": (8, 8, 50),
    "scope after-until": (10, 15, 30),
    "judged after scan": (40, 60, 60),
    "about signals": (25, 40, 30),
}
SETS = {
    "set of 0 faults": 100,
    "set of 1 faults": 40,
    "set of 2 faults": 4,
    **{
        f"set with a fault: {kind}": 4
        for kind in (*FAULTS, "read by guards and terms", "intermittent")
    },
}
COMPARED = {
    "models": len(SEEDS),
    "verdicts by reference": 9 * len(SEEDS),
    "verdicts by enumerate": 90,
    "verdicts by symbolic": 90,
    "lengths by reference": 150,
    "lengths by enumerate": 15,
    "lengths by symbolic": 15,
    "sets by find_sets": 500,
    "sets by study_faults": 50,
}


def test_the_product_agrees_with_a_second_opinion(tmp_path: Path) -> None:
    counts: Counter[str] = Counter()
    found = []
    for seed in SEEDS:
        # The engines are compared with each other elsewhere; here the quickest on small models
        # takes part in all, each of the others in one of ten.
        others = {1: ["enumerate"], 3: ["symbolic"]}.get(seed % 10, [])
        engines = ["reference", *others]
        found += compare_seed(
            seed, tmp_path / str(seed), counts, MOST_STATES, engines, seed % 10 == 0
        )
    assert not found, "\n".join(map(str, found))
    wanted = dict(COMPARED) | SETS | {f"model {what}": least for what, least in MODELS.items()}
    for what, leasts in REQUIREMENTS.items():
        thoughts = zip(("holds", "violated", "vacuous"), leasts, strict=True)
        wanted |= {f"{what} {thought}": least for thought, least in thoughts}
    too_few = [f"{counts[w]} of {n}: {w}" for w, n in wanted.items() if counts[w] < n]
    assert not too_few, "\n".join(too_few)
