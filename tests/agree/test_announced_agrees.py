"""What harm was told of, and what never shows, against the second opinion on random models."""

from __future__ import annotations

import random
from collections import Counter
from collections.abc import Sequence
from pathlib import Path

from interlock.commands.faults.study import Options, study_faults
from interlock.engines import catalogue, projector
from interlock.judgement.detection import Comparison, Harm
from interlock.judgement.fault_sets import flags_of
from interlock.model.build import RunClass, build
from interlock.model.load import load
from interlock.model.model import Model
from tests.second_opinion.announced import announced
from tests.second_opinion.drawing import draw
from tests.support.guard import GUARD
from tests.support.small_models import write_model

SEEDS = range(300, 303)
LAMP_SEEDS = range(36, 54)
MOST_STATES = 250
SHOWN = ["{lamp: red}", "{lamp: yellow}", "{sounds: true}", "{lamp: green}", "{}"]
# So often at least, that the two cannot agree on nothing.
MET = {
    "detected": 10,
    "dangerous": 40,
    "told of by memory alone": 8,
    "latent": 25,
    "shown": 25,
}

PROBED = (
    """\
title: A drive behind a guard, a probe, and lamps drawn at random
controller: controller.st
run: {between_scans: BETWEEN}
plant:
"""
    + GUARD
    + """\
  flap: {states: [up, down], moves: [{from: up, to: down, when: F1 AND drive, says: falls}]}
sensors:
  shut: {reads: guard = shut}
  probe: {reads: 'PROBE'}
outputs:
  drive: {}
  red: {lamp: red}
  horn: {sounds: true}
  ready: {lamp: green}
requirements:
  R1: {says: It never drives with the guard open, never: drive AND guard = open, judged: after scan}
  R2: {says: The flap stays up, never: flap = down AND NOT red}
  R3: {says: The guard open stops it, whenever: guard = open AND drive, leads_to: NOT drive}
  R4: {says: Once driven it can stop, can_still: NOT drive}
faults:
  F1: {says: the probe is broken, sensor: probe, stuck: 'FALSE'}
  F2: {says: the switch sticks, sensor: shut, stuck: frozen, intermittent: true}
  F3: {says: the controller restarts, restart: true}
  F4: {says: the green lamp is dead, output: ready, stuck: 'FALSE'}
"""
)
PROBED_PROGRAM = """\
PROGRAM P
VAR_INPUT shut, probe : BOOL; END_VAR
VAR_OUTPUT drive, red, horn, ready : BOOL; END_VAR
VAR bad, worse, worst, was_open : BOOL; n : INT (0..MOST); END_VAR
VAR RETAIN kept : BOOL; END_VAR
red := RED;
horn := HORN;
ready := READY;
drive := worst AND NOT (shut AND STOPS);
worst := worse;
worse := bad;
was_open := NOT shut;
IF n < MOST THEN n := n + 1; END_IF;
IF NOT probe THEN bad := TRUE; kept := TRUE; END_IF;
END_PROGRAM
"""
ATOMS = ("shut", "probe", "probe", "bad", "bad", "worse", "was_open", "kept", "(n = MOST)")
# What is on without the fault as well, in some places or in all, and what truly tells of it.
LIKELY = (
    "NOT bad OR NOT probe",
    "NOT kept OR NOT probe",
    "NOT worse OR NOT probe",
    "NOT shut AND (NOT bad OR NOT probe)",
    "n = MOST AND (NOT bad OR NOT probe)",
    "NOT probe",
    "NOT probe AND was_open",
    "NOT probe OR NOT shut AND NOT was_open",
)


def condition(by: random.Random, depth: int = 2) -> str:
    if depth == 0 or by.random() < 0.2:
        return by.choice(["", "NOT "]) + by.choice(ATOMS)
    word = by.choice(["AND", "OR"])
    return f"({condition(by, depth - 1)} {word} {condition(by, depth - 1)})"


def probed(seed: int, folder: Path) -> Model:
    """A small machine whose lamps say anything; what its probe broke comes to its drive late."""
    by = random.Random(f"probed {seed}")
    program = PROBED_PROGRAM.replace("STOPS", by.choice(["shut", "probe", "FALSE"]))
    for output in ("RED", "HORN", "READY"):
        says = by.choice([by.choice(LIKELY), condition(by), "FALSE", "FALSE"])
        if output == "READY" and by.random() < 0.5:
            says = f"NOT ({says})"
        program = program.replace(output, says)
    program = program.replace("MOST", by.choice(["1", "3", "9"]))
    text = PROBED.replace("BETWEEN", by.choice(["one in all", "each once"]))
    text = text.replace("PROBE", by.choice(["TRUE", "TRUE", "guard = shut"]))
    return load(write_model(folder, text, program))


def with_lamps(seed: int, folder: Path) -> Model:
    """The model of a seed; what its outputs are is drawn, too."""
    by, (drawn, model) = random.Random(f"lamps {seed}"), draw(seed, folder, MOST_STATES)
    lines = [f"  {name}: {by.choice(SHOWN)}\n" for name in model.outputs if name[0] == "q"]
    (folder / "model.yaml").write_text(drawn.yaml + "outputs:\n" + "".join(lines), "utf-8")
    return load(folder)


def missed_in_harm(model: Model, faults: Sequence[str]) -> dict[str, frozenset[str]]:
    built = build(model, RunClass(tuple(faults), 1))
    explored = projector().project(built.system, list(flags_of(model, faults)))
    missed = Comparison(built, explored).missed_in_harm
    return {id_: missed(requirement) for id_, requirement in built.requirements.items()}


def compared(model: Model, counts: Counter[str]) -> None:
    live = [fault.id for fault in model.live_faults]
    if not live:
        return
    options = Options(order=1, n_runs=0, sensors=False)
    study = study_faults(model, catalogue()["reference"](), options)
    # Which outputs belong to a harm is read off its shape, and no matter here.
    missed = missed_in_harm(model, live)
    for fault in live:
        ours = announced(model, fault, missed.__getitem__)
        theirs = {id_: h is Harm.DETECTED for (f, id_), h in study.harms.items() if f == fault}
        assert theirs == ours.harms, (model.folder, fault)
        assert (fault in study.silent) == ours.is_latent, (model.folder, fault)
        counts.update("detected" if told else "dangerous" for told in ours.harms.values())
        counts["told of by memory alone"] += ours.by_memory_alone
        counts["latent" if ours.is_latent else "shown"] += 1


def test_harm_and_latent_faults_are_those_of_the_second_opinion(tmp_path: Path) -> None:
    counts: Counter[str] = Counter()
    for seed in SEEDS:
        compared(with_lamps(seed, tmp_path / str(seed)), counts)
    for seed in LAMP_SEEDS:
        compared(probed(seed, tmp_path / f"probed-{seed}"), counts)
    too_few = {what: counts[what] for what, least in MET.items() if counts[what] < least}
    assert not too_few, counts
