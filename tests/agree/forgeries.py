"""Forged evidence of random models: what `recheck` confirms of it is so.

Each model is drawn at random, with claims to survive faults. Sound evidence of it is confirmed;
forgeries of that may be refused, or be found to show less than they say. What is confirmed all the
same must be true by the second opinion, in the run class that the claim asks for.
"""

from __future__ import annotations

import random
import re
import shutil
from collections import Counter
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from pathlib import Path

from interlock.base.errors import InputError
from interlock.commands.recheck.check import check
from interlock.commands.recheck.command import exit_code
from interlock.commands.recheck.results import Recheck, Rechecked, Status
from interlock.evidence.folder import read_folder
from interlock.kernel.system import MoveKind
from interlock.model.build import FAULT_FREE, RunClass, build
from interlock.model.load import load
from interlock.model.model import Model
from tests.second_opinion.drawing import draw
from tests.second_opinion.opinion import ARITHMETIC, TIME, Opinion, opinions
from tests.second_opinion.reached import TooManyError
from tests.second_opinion.timed import given_time
from tests.second_opinion.world import Class
from tests.support.forging import Forger, sound_evidence

_REQUIREMENT = re.compile(r"^  (R\d): \{", re.MULTILINE)
N_KEPT = 3  # of the requirements that are drawn: each costs the solver time

# The bound in milliseconds that models are drawn with, and the scans that are left for the program:
# a scan of 100 ms may just have begun, and no signal or output has a delay.
_IN_TIME = ("within: 250 ms", "within: 1 scans")


@dataclass(frozen=True)
class Truth:
    """What is so of each requirement, by the number of independent faults that may strike."""

    violated: Mapping[int, Mapping[str, Opinion]]
    in_time: Mapping[int, Mapping[str, Opinion]]

    @property
    def most(self) -> int:
        """The most faults that any requirement claims to survive."""
        return max(self.violated)

    def holds(self, id_: str, n_faults: int) -> bool:
        """Never violated, never too late, and put to the test."""
        opinion = self.in_time[n_faults][id_]
        return not opinion.is_violated and not opinion.is_vacuous


def claiming_model(
    seed: int, folder: Path, most: int, has_time: bool = False
) -> tuple[Model, Truth]:
    """The model of `seed` with claims to survive faults, and what is true of it."""
    by = random.Random(seed)
    for attempt in range(100):
        drawn, _ = draw(1000 * seed + attempt, folder, most)
        head, body = drawn.yaml.split("requirements:\n")
        lines = by.sample(body.splitlines(), N_KEPT)
        claims = [by.choice([0, 1, 1, 2]) if "\nfaults:" in head else 0 for _ in lines]
        said = [
            _REQUIREMENT.sub(rf"  \1: {{survives: {claim}, ", line)
            for claim, line in zip(claims, lines, strict=True)
        ]
        text = head + "requirements:\n" + "\n".join(said) + "\n"
        (folder / "model.yaml").write_text(text, encoding="utf-8")
        model = load(folder)
        if has_time:
            if model.program.elapsed_reads:
                continue
            model = given_time(model, random.Random(f"time of {seed}, {attempt}"))
        faults = model.independent_faults
        claimed = range((max(claims) if faults else 0) + 1)
        try:
            violated = {n: opinions(model, Class(faults, n), most) for n in claimed}
            # Where time is counted nothing is left to arithmetic.
            if has_time or _IN_TIME[0] not in text:
                return model, Truth(violated, violated)
            strict = _strict(folder, text)
            return model, Truth(
                violated, {n: opinions(strict, Class(faults, n), most) for n in claimed}
            )
        except TooManyError:
            continue
    raise AssertionError(f"seed {seed} gives no model of a fitting size")


def _strict(folder: Path, text: str) -> Model:
    """The model with what a bound in milliseconds leaves to the program."""
    strict = folder.with_name("strict")
    shutil.copytree(folder, strict)
    (strict / "model.yaml").write_text(text.replace(*_IN_TIME), encoding="utf-8")
    return load(strict)


def compare_seed(
    seed: int,
    folder: Path,
    counts: Counter[str],
    most: int,
    n_forgeries: int,
    has_time: bool = False,
) -> list[str]:
    """Forge evidence of the model of `seed`; each thing confirmed that is not so."""
    model, truth = claiming_model(seed, folder / "model", most, has_time)
    by = random.Random(seed)
    counts["models"] += 1
    counts["models with bounds in time"] += any(
        s.within is not None and s.within.counted is MoveKind.TIME
        for s in model.statements.values()
    )
    counts["models with claims"] += truth.most > 0
    drafts = [sound_evidence(model, folder / "claimed")]
    found = [f"seed {seed}, sound: {said}" for said in _judged_sound(model, folder, truth, counts)]
    if model.faults and seed % 2:
        some = tuple(by.sample(list(model.faults), by.randint(0, len(model.faults))))
        run_class = by.choice([FAULT_FREE, RunClass(some, by.choice([1, 9]))])
        drafts.append(sound_evidence(model, folder / "some", run_class))
    forger = Forger(model, drafts, by)
    for number in range(n_forgeries):
        evidence = forger.forged()
        if evidence is None:
            counts["forgeries: no manifest"] += 1
            continue
        try:
            result = check(evidence, model)
        except InputError as error:
            counts["forgeries: refused"] += 1
            counts[f"refused: {_reason(error)}"] += 1
            continue
        counts[f"forgeries: exit code {exit_code(result)}"] += 1
        found += [
            f"seed {seed}, forgery {number}: {said}" for said in untrue(result, truth, counts)
        ]
    return found


def _reason(error: InputError) -> str:
    """The message without its place and the names in it."""
    return re.sub(r"'[^']*'|[\w.-]*\d[\w.-]*", "…", error.mistakes[0].says)[:60]


def _judged_sound(model: Model, folder: Path, truth: Truth, counts: Counter[str]) -> Iterator[str]:
    """Sound evidence shows every verdict that there is."""
    result = check(read_folder(folder / "claimed"), model)
    yield from untrue(result, truth, counts)
    for one in result.results:
        counts[f"sound: {one.outcome} {one.status.value}"] += 1
        if one.status is Status.REFUTED or (one.status is Status.OPEN and one.outcome == "holds"):
            yield f"{one.requirement} {one.outcome} is {one.status.value}: {one.says}"


def untrue(result: Recheck, truth: Truth, counts: Counter[str]) -> Iterator[str]:
    """What a recheck confirms and is not so."""
    for one in result.results:
        if one.status in (Status.CONFIRMED, Status.FOR_LESS):
            counts[f"confirmed: {one.outcome}"] += 1
            if not _is_so(one, truth):
                yield f"{one.requirement} {one.outcome} {one.status.value} in {one.run_class}"
    ids = build(result.model).requirements
    if exit_code(result) == 0:
        wrong = [id_ for id_ in ids if not _claim_holds(result.model, id_, truth)]
        yield from (f"exit code 0, and {id_} does not hold" for id_ in wrong)
    most = truth.violated[truth.most]
    if exit_code(result) == 1 and not any(opinion.is_violated for opinion in most.values()):
        yield "exit code 1, and nothing is violated"


def _is_so(one: Rechecked, truth: Truth) -> bool:
    n_faults = one.run_class.at_most
    if n_faults is None or n_faults not in truth.violated:
        return False
    if one.outcome == "violated":
        return truth.violated[n_faults][one.requirement].is_violated
    as_claimed = one.status is Status.FOR_LESS or n_faults >= one.n_claimed
    return one.outcome == "holds" and as_claimed and truth.holds(one.requirement, n_faults)


def _claim_holds(model: Model, id_: str, truth: Truth) -> bool:
    claimed = truth.most if id_ in (ARITHMETIC, TIME) else model.statements[id_].survives
    return truth.holds(id_, min(claimed, truth.most))
