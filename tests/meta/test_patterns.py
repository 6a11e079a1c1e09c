"""The tables of patterns and scopes are whole, everything follows them, and their examples are so.

All examples stand in one model: a plant that goes from place to place and stays at the last, with
each predicate a set of places.
"""

from __future__ import annotations

import ast
import re
from collections.abc import Iterator
from pathlib import Path

import pytest

from interlock.commands.operate.drafts import in_words, sentence_form
from interlock.commands.report.findings_in_words import clauses
from interlock.engines import catalogue
from interlock.engines.reference import ReferenceEngine
from interlock.independent_judge.trace import Run, holds, truths
from interlock.judgement.verify import verify
from interlock.kernel import patterns
from interlock.kernel.observe import observe
from interlock.kernel.requirement import Outcome, Pattern, ScopeKind
from interlock.model.build import build
from interlock.model.load import load
from interlock.model.model import Model
from interlock.model.patterns import PATTERNS, SCOPES
from interlock.model.schema import RequirementShape, ScopeShape
from interlock.pictures.signals import conditions_of
from interlock.telling.templates import rendered
from tests.second_opinion.opinion import opinions
from tests.second_opinion.world import Class
from tests.support.small_models import write_model

ROOT = Path(__file__).parents[2]
PACKAGE = ROOT / "interlock"
EACH = [(pattern, scope) for pattern, row in PATTERNS.items() for scope in row.formulas]
# What speaks of time has a model of its own, in which it stays a second in each place.
TIMED = {pattern for pattern, row in patterns.PATTERNS.items() if row.is_timed}
BOUND = 2
# Who may name a pattern: the tables themselves, the slow twin that reads along a run, and who
# makes a requirement of its own.
NAMING = {
    "kernel/requirement.py",
    "kernel/patterns.py",
    "kernel/observe.py",
    "kernel/observe_time.py",
    "model/patterns.py",
    "model/build.py",
}
PROGRAM = """\
PROGRAM Idle
VAR_INPUT at_start : BOOL; END_VAR
VAR_OUTPUT lamp : BOOL; END_VAR
lamp := at_start;
END_PROGRAM
"""


def examples() -> dict[str, tuple[Pattern, ScopeKind, list[str], bool]]:
    """Each example in each scope: the letters that hold in each state, and whether it is kept."""
    found = {}
    for pattern, scope in EACH:
        row, parts = PATTERNS[pattern], set(SCOPES[scope].parts.values())
        for kept, run in ((True, row.keeps), (False, row.breaks)):
            states = list(run)
            states[0] += "q" if "opens" in parts else ""
            states += ["r"] if "closes" in parts else []
            found[f"{pattern.name}_{scope.name}_{kept}"] = (pattern, scope, states, kept)
    return found


EXAMPLES = examples()
N_PLACES = max(len(states) for _, _, states, _ in EXAMPLES.values())


def written(timed: bool) -> Iterator[str]:
    """The model file, with every requirement written by the keys of the tables."""
    yield "title: Places\ncontroller: controller.st"
    if timed:
        yield "run: {scan_ms: 1000, time: {unit: 1 s}}"
    names = ", ".join(f"at{n}" for n in range(N_PLACES))
    yield f"plant:\n  place:\n    states: [{names}]\n    moves:"
    stay = ", seconds: [1, 1], assumed: true" if timed else ""
    yield from (f"      - {{from: at{n}, to: at{n + 1}{stay}}}" for n in range(N_PLACES - 1))
    yield "sensors:\n  at_start: {reads: place = at0}\nrequirements:"
    for id_, (pattern, scope, states, _) in EXAMPLES.items():
        if (pattern in TIMED) is not timed:
            continue
        padded = [*states, *[states[-1]] * (N_PLACES - len(states))]

        def where(letter: str, padded: list[str] = padded) -> str:
            places = [f"place = at{n}" for n, state in enumerate(padded) if letter in state]
            return " OR ".join(places) or "FALSE"

        yield f"  {id_}:\n    says: {id_}"
        for key, letter in zip(PATTERNS[pattern].keys, "ps", strict=False):
            yield f"    {key}: {where(letter)}"
        if timed:
            yield f"    {PATTERNS[pattern].bound}: {BOUND} s"
        if SCOPES[scope].parts:
            yield "    scope:"
        for key, field in SCOPES[scope].parts.items():
            yield f"      {key}: {where({'opens': 'q', 'closes': 'r'}[field])}"


@pytest.fixture(scope="module")
def models(tmp_path_factory: pytest.TempPathFactory) -> list[Model]:
    texts = ["\n".join(written(timed)) for timed in (False, True)]
    return [load(write_model(tmp_path_factory.mktemp("at"), text, PROGRAM)) for text in texts]


@pytest.fixture(scope="module")
def model(models: list[Model]) -> Model:
    """That without time."""
    return models[0]


@pytest.mark.parametrize("engine", sorted(catalogue()))
def test_an_engine_and_the_judge_find_the_examples_kept_and_broken(
    models: list[Model], engine: str
) -> None:
    # A violation that the judge does not see in the run would be an internal error.
    findings = [f for model in models for f in verify(model, catalogue()[engine]()).findings]
    found = {f.requirement.id: f.verdict for f in findings}
    for id_, (_, _, _, kept) in EXAMPLES.items():
        assert found[id_].outcome is (Outcome.HOLDS if kept else Outcome.VIOLATED), id_


@pytest.mark.parametrize("id_", EXAMPLES)
def test_the_formula_is_true_where_an_example_keeps_it(id_: str) -> None:
    pattern, scope, states, kept = EXAMPLES[id_]
    if not patterns.PATTERNS[pattern].is_of_runs:
        with pytest.raises(ValueError, match="no property of one run"):
            holds(pattern, scope, [{}], 0)
        return
    row = patterns.PATTERNS[pattern]
    word = [{letter: letter in state for letter in "psqr"} for state in states]
    if not row.is_timed:
        assert holds(pattern, scope, word, len(word) - 1) is kept
        return
    # A move leads to each state, and then a unit passes in it; in the last, one after the other.
    timed = [state | {"scan": passed} for state in word for passed in (False, True)]
    within = BOUND if row.is_least else BOUND + 1
    assert holds(pattern, scope, timed, len(timed) - 2, within) is kept


def test_observers_find_the_examples_kept_and_broken(models: list[Model]) -> None:
    built = [build(model) for model in models]
    for id_, (pattern, _, _, kept) in EXAMPLES.items():
        here = built[pattern in TIMED]
        question = observe(here.system, here.requirements[id_])
        answers = ReferenceEngine().explore(question.system, question.violations).answers
        assert any(answer.found for answer in answers) is not kept, id_


def test_the_second_opinion_finds_the_examples_kept_and_broken(models: list[Model]) -> None:
    found = opinions(models[0], Class()) | opinions(models[1], Class())
    for id_, (_, _, _, kept) in EXAMPLES.items():
        assert found[id_].is_violated is not kept, id_


def test_a_requirement_is_told_by_the_words_of_its_row(models: list[Model]) -> None:
    for id_, (pattern, scope, _, _) in EXAMPLES.items():
        row, model = PATTERNS[pattern], models[pattern in TIMED]
        words = [word for word, _ in clauses(model.statements[id_])]
        bound = [row.bound.replace("_", " ")] if pattern in TIMED else []
        assert words[:-1] == [*row.clauses, *bound, *SCOPES[scope].parts]
        assert list(conditions_of(model, id_))[: len(row.keys)] == list(row.roles.values())


def test_each_pattern_and_scope_has_a_row_in_each_table() -> None:
    assert list(PATTERNS) == list(patterns.PATTERNS) == list(Pattern)
    assert list(SCOPES) == list(ScopeKind)


@pytest.mark.parametrize("pattern", Pattern)
def test_the_two_rows_of_a_pattern_fit(pattern: Pattern) -> None:
    row, words = patterns.PATTERNS[pattern], PATTERNS[pattern]
    assert set(words.formulas) == row.scopes
    assert len(words.keys) == 1 + row.has_s
    assert words.keys == tuple(words.roles)
    assert re.findall(r"\{(\w+)\}", words.sentence) == list(words.keys)
    assert bool(words.bound) is row.has_bound
    assert row.has_bound or not (row.is_timed or row.is_least)


def test_no_two_patterns_and_no_two_scopes_have_a_key_in_common() -> None:
    keys = [key for row in PATTERNS.values() for key in row.keys]
    keys += [key for row in SCOPES.values() for key in row.parts]
    assert len(keys) == len(set(keys))
    assert not {row.bound for row in PATTERNS.values()} & set(keys)
    assert len({row.key for row in SCOPES.values()}) == len(SCOPES)


@pytest.mark.parametrize("in_time", [False, True])
@pytest.mark.parametrize(("pattern", "scope"), EACH)
def test_every_formula_is_read(pattern: Pattern, scope: ScopeKind, in_time: bool) -> None:
    row = patterns.PATTERNS[pattern]
    formula = PATTERNS[pattern].formula(scope, in_time)
    may_be_in_time = row.has_bound and not row.is_timed
    assert (formula != PATTERNS[pattern].formula(scope)) is (in_time and may_be_in_time)
    if row.is_of_runs:
        run = Run([dict.fromkeys(("p", "s", "q", "r", "scan"), True)], 0)
        assert len(truths(formula, run, 1)) == 1


@pytest.mark.parametrize("formula", ["P P", "(P", "G"])
def test_a_formula_that_is_none_is_refused(formula: str) -> None:
    with pytest.raises((ValueError, IndexError)):
        truths(formula, Run([{"p": True}], 0))


def test_the_schema_has_the_keys_of_the_tables() -> None:
    stated = {"says", "when", "scope", "judged", "about", "survives", "hazards"}
    keys = {key for row in PATTERNS.values() for key in (*row.keys, row.bound)} - {""}
    assert set(RequirementShape.model_fields) == keys | stated
    parts = {key for row in SCOPES.values() for key in row.parts}
    assert {field.alias or name for name, field in ScopeShape.model_fields.items()} == parts


def test_the_sentence_form_offers_every_pattern_and_scope(model: Model) -> None:
    form = "commands/operate/templates/sentence_form.html"
    page = rendered(form, model=model, **sentence_form(has_time=True))
    for row in (*PATTERNS.values(), *SCOPES.values()):
        assert f'<option value="{row.key}">{row.offered}</option>' in page
    assert page.count("<option ") == len(PATTERNS) + len(SCOPES)
    for pattern, scope in EACH:
        if pattern in TIMED:
            given = {key: key for key in (*PATTERNS[pattern].keys, *SCOPES[scope].parts)}
            given[PATTERNS[pattern].bound] = "2 s"
            said = in_words(PATTERNS[pattern].key, "globally", given)
            assert said.endswith(f", {PATTERNS[pattern].bound.replace('_', ' ')} 2 s")
            assert page.count(f'name="{PATTERNS[pattern].bound}"') == 1
        keys = (*PATTERNS[pattern].keys, *SCOPES[scope].parts)
        said = in_words(PATTERNS[pattern].key, SCOPES[scope].key, {key: f"<{key}>" for key in keys})
        for key in keys:
            assert f"<{key}>" in said
            assert f'name="{key}"' in page


def test_without_time_the_form_offers_no_sentence_of_it(model: Model) -> None:
    form = "commands/operate/templates/sentence_form.html"
    page = rendered(form, model=model, **sentence_form(has_time=False))
    untimed = [row for pattern, row in PATTERNS.items() if pattern not in TIMED]
    for row in untimed:
        assert f'<option value="{row.key}">{row.offered}</option>' in page
    assert page.count("<option ") == len(untimed) + len(SCOPES)
    bounds = {row.bound for row in untimed} - {""}
    assert {key for key in bounds if f'name="{key}"' in page} == bounds
    assert not any(
        f'name="{row.bound}"' in page for row in PATTERNS.values() if row.bound not in {*bounds, ""}
    )


def test_nobody_tells_patterns_apart_but_by_the_tables() -> None:
    named, spelled = set(), set()
    unmistakable = {key for row in PATTERNS.values() for key in row.keys if "_" in key}
    for file in PACKAGE.rglob("*.py"):
        for node in ast.walk(ast.parse(file.read_text("utf-8"))):
            if isinstance(node, ast.Attribute) and ast.unparse(node.value).endswith("Pattern"):
                named.add(file.relative_to(PACKAGE).as_posix())
            if isinstance(node, ast.Constant) and node.value in unmistakable:
                spelled.add(file.relative_to(PACKAGE).as_posix())
    assert named <= NAMING
    assert spelled == {"model/patterns.py"}
    texts = [*PACKAGE.rglob("*.html"), *PACKAGE.rglob("*.js")]
    assert not [f.name for f in texts if any(key in f.read_text("utf-8") for key in unmistakable)]


def test_the_documentation_has_the_row_of_every_pattern() -> None:
    text = (ROOT / "DEVELOPERS.md").read_text("utf-8")
    for row in PATTERNS.values():
        keys = " … ".join(f"`{key}`" for key in row.keys)
        formula = row.formula(ScopeKind.GLOBALLY)
        assert f"| {keys} | {row.says} | {row.name} | `{formula}` |" in text
    readme = (ROOT / "README.md").read_text("utf-8")
    for row in PATTERNS.values():
        assert f"`{' … '.join(row.keys)}`" in readme
