"""The exact unit tells what a millisecond tells, and what the same unit written by hand does.

Durations, delays, scans, presets and bounds are drawn as multiples of a number of milliseconds; in
units of 1 ms the same model is counted tick by tick.
"""

from __future__ import annotations

from collections import Counter
from pathlib import Path
from random import Random

from interlock.engines import catalogue
from interlock.judgement.margin import Margin, margin_of
from interlock.judgement.verify import verify
from interlock.kernel.requirement import Outcome
from interlock.model.load import load
from interlock.model.model import Model
from tests.support.gate import written

YAML = """\
title: A gate in small times
controller: controller.st
run: {{between_scans: any number, time: {{unit: UNIT, scan: [{s0:g} ms, {s1:g} ms]}}}}
plant:
  gate:
    states: [open, moving, shut]
    moves:
      - {{from: open, to: moving, when: drive, seconds: [{a0}, {a1}], assumed: true}}
      - {{from: moving, to: shut, when: drive, seconds: [{b0}, {b1}], assumed: true}}
      - {{from: shut, to: open, when: NOT drive, seconds: [0, {c1}], assumed: true}}
controls:
  button: {{says: the button}}
sensors:
  pressed: {{reads: button, delay_ms: {d}, delay_assumed: true}}
  is_shut: {{reads: gate = shut}}
outputs:
  drive: {{delay_ms: {e}, delay_assumed: true}}
  alarm: {{}}
requirements:
  R1: {{says: no alarm, never: alarm}}
  R2: {{says: it shuts, whenever: drive, leads_to: gate = shut OR NOT drive, within: {w1} ms}}
  R3: {{says: it is driven for long, once: drive, at_least: {w2} ms}}
  R4: {{says: it moves for a short time, lasts: gate = moving, at_most: {w3} ms}}
  R5: {{says: it does not shut at once, begins: drive, not_yet: gate = shut, for: {w4} ms}}
  R6: {{says: it can be shut without an alarm, can_still: gate = shut AND NOT alarm}}
  R7: {{says: it is open again and again, recurs: gate = open, every: {w5} ms}}
  R8: {{says: it stays, wherever: gate = shut, stays: gate <> moving, for: {w6} ms}}
"""
ST = """\
PROGRAM Gate
VAR_INPUT pressed, is_shut : BOOL; END_VAR
VAR_OUTPUT drive, alarm : BOOL; END_VAR
VAR watch : {block}; END_VAR
drive := pressed;
watch(IN := drive AND NOT is_shut, PT := T#{p}ms);
alarm := watch.Q;
END_PROGRAM
"""
STEP_MS = (2, 3)
N_MODELS = 12


def drawn(random: Random) -> tuple[str, str]:
    """A model file, its unit left open, and its program; every time a multiple of a step."""
    step = random.choice(STEP_MS)

    def span(least: int, greatest: int) -> tuple[int, int]:
        low = random.randint(least, greatest)
        return low * step, random.randint(low, greatest) * step

    times: dict[str, float] = {}
    for name, (least, greatest) in {"s": (1, 2), "a": (0, 1), "b": (1, 3), "c": (0, 1)}.items():
        low, high = span(least, max(greatest, 1))
        scale = 1 if name == "s" else 1000
        high = max(high, step)  # More than none, or moves could follow each other in no time.
        times |= {f"{name}0": low / scale, f"{name}1": high / scale}
    times |= {name: random.choice([0, 0, step]) for name in "de"}
    times |= {f"w{n}": random.randint(1, 12) * step for n in range(1, 7)}
    block, preset = random.choice(["TON", "TON", "TOF", "TP"]), random.randint(1, 4) * step
    return YAML.format(**times), ST.format(block=block, p=preset)


def told(model: Model) -> dict[str, tuple[Outcome, Margin | None]]:
    found = verify(model, catalogue()["enumerate"]()).findings
    ids = [f.requirement.id for f in found]
    margins = [margin_of(model, f.requirement.id, f.verdict) for f in found]
    outcomes = [f.outcome for f in found]
    return dict(zip(ids, zip(outcomes, margins, strict=True), strict=True))


def test_exact_is_what_a_millisecond_tells(tmp_path: Path) -> None:
    counts: Counter[str] = Counter()
    for seed in range(N_MODELS):
        yaml, st = drawn(Random(seed))
        models = {}
        for unit in ("exact", "1 ms"):
            folder = written(tmp_path / f"{seed} {unit}", yaml.replace("UNIT", unit), st)
            models[unit] = load(folder)
        timing = models["exact"].timing
        assert timing is not None
        by_hand = yaml.replace("UNIT", f"{timing.unit_ms} ms")
        models["by hand"] = load(written(tmp_path / f"{seed} by hand", by_hand, st))
        exact = told(models["exact"])
        assert exact == told(models["by hand"]), seed
        fine = told(models["1 ms"])
        differ = {id_: (exact[id_], fine[id_]) for id_ in exact if exact[id_] != fine[id_]}
        assert not differ, (seed, differ)
        counts["coarser than 1 ms"] += timing.unit_ms > 1
        counts.update(outcome.name for outcome, _ in exact.values())
        counts["margins"] += sum(margin is not None for _, margin in exact.values())
    assert counts["coarser than 1 ms"] == N_MODELS, counts
    assert min(counts["HOLDS"], counts["VIOLATED"], counts["margins"]) > 12, counts
