"""Changed programs and sentences: judged like model files, written nowhere."""

from __future__ import annotations

import shutil
from pathlib import Path

import pytest

from interlock.commands.operate.drafts import SENTENCE, WrongDraftError, try_program, try_sentence
from interlock.engines import catalogue
from interlock.judgement.verify import verify
from interlock.kernel.patterns import PATTERNS
from interlock.kernel.requirement import Outcome, Pattern, ScopeKind
from interlock.model import patterns
from tests.support.models import MODELS, shipped
from tests.support.timed_gate import timed_gate

RAMP = MODELS / "ramp"


def mistakes(pattern: str, scope: str = "globally", **given: str) -> list[tuple[str, int, str]]:
    with pytest.raises(WrongDraftError) as error:
        try_sentence(RAMP, shipped("ramp"), pattern, scope, given)
    return [(m.field, m.column, m.says) for m in error.value.mistakes]


def test_a_mistake_in_a_sentence_has_its_field_and_column() -> None:
    [(field, column, says)] = mistakes("never", never="green AND  ramp = stowd")
    assert (field, column) == ("never", 19)
    assert says.endswith("did you mean 'stowed'?")


def test_a_mistake_behind_a_quote_has_its_column_too() -> None:
    [(field, column, _)] = mistakes("always", always="green ' red")
    assert (field, column) == ("always", 7)


def test_a_signal_in_a_sentence_is_explained_and_may_be_allowed() -> None:
    [(field, _, says)] = mistakes("never", never="green", when="pin_in")
    assert field == "when"
    assert "is a signal, which may lie" in says
    given = {"never": "green", "when": "pin_in", "signals": "yes"}
    model = try_sentence(RAMP, shipped("ramp"), "never", "globally", given)
    assert model.statements[SENTENCE].about_signals


@pytest.mark.parametrize(
    ("pattern", "scope", "given", "expected"),
    [
        ("never", "before", {"never": "green", "before": "red"}, (Pattern.NEVER, ScopeKind.BEFORE)),
        ("always", "after", {"always": "red", "after": "pump"}, (Pattern.ALWAYS, ScopeKind.AFTER)),
        (
            "leads_to",
            "between",
            {"whenever": "pump", "leads_to": "red", "between": "green", "and": "red"},
            (Pattern.LEADS_TO, ScopeKind.BETWEEN),
        ),
        (
            "only_after",
            "from",
            {"event": "pump", "only_after": "red", "from": "green", "until": "red"},
            (Pattern.ONLY_AFTER, ScopeKind.AFTER_UNTIL),
        ),
        ("exists", "globally", {"exists": "green"}, (Pattern.EXISTS, ScopeKind.GLOBALLY)),
        ("can_still", "globally", {"can_still": "green"}, (Pattern.CAN_STILL, ScopeKind.GLOBALLY)),
    ],
)
def test_every_sentence_can_be_filled(
    pattern: str, scope: str, given: dict[str, str], expected: tuple[Pattern, ScopeKind]
) -> None:
    model = try_sentence(RAMP, shipped("ramp"), pattern, scope, given)
    statement = model.statements[SENTENCE]
    assert (statement.pattern, statement.scope) == expected
    assert model.name == "ramp"


def test_a_response_may_be_given_a_bound_and_a_bad_one_is_refused() -> None:
    given = {"whenever": "pump", "leads_to": "red", "within": "3 scans"}
    model = try_sentence(RAMP, shipped("ramp"), "leads_to", "globally", given)
    bound = model.statements[SENTENCE].within
    assert bound is not None
    assert bound.scans == 3
    assert "within 3 scans" in model.statements[SENTENCE].says
    [(field, _, _)] = mistakes("leads_to", **{**given, "within": "soon"})
    assert field == "within"


def test_each_sentence_of_time_can_be_filled_and_judged(tmp_path: Path) -> None:
    model = timed_gate(tmp_path)
    for pattern, row in patterns.PATTERNS.items():
        if PATTERNS[pattern].is_timed:
            given = {**dict.fromkeys(row.keys, "drive"), row.bound: "1500 ms"}
            with_it = try_sentence(tmp_path, model, row.key, "globally", given)
            bound = with_it.statements[SENTENCE].within
            assert with_it.statements[SENTENCE].pattern is pattern
            assert bound is not None
            assert bound.ms == 1500
            # A requirement of time without one asks for nothing.
            with pytest.raises(WrongDraftError) as error:
                try_sentence(tmp_path, model, row.key, "globally", {**given, row.bound: " "})
            assert [(m.field, m.says) for m in error.value.mistakes] == [
                (row.bound, "write a time here, such as 2 s")
            ]
    lasts = {"lasts": "drive", "at_most": "0.3 s"}
    too_long = try_sentence(tmp_path, model, "lasts", "globally", lasts)
    (finding,) = verify(too_long, catalogue()["reference"](), only=[SENTENCE]).findings
    assert finding.outcome is Outcome.VIOLATED


def test_a_scope_that_a_sentence_does_not_take_is_refused_with_those_that_it_does(
    tmp_path: Path,
) -> None:
    given = {"once": "drive", "at_least": "1 s", "before": "alarm"}
    with pytest.raises(WrongDraftError, match="'once' is asked 'in the whole run', 'after …', 'f"):
        try_sentence(tmp_path, timed_gate(tmp_path), "once", "before", given)


def test_an_empty_blank_is_asked_for() -> None:
    assert mistakes("leads_to", whenever="green") == [("leads_to", 1, "write an expression here")]


def test_a_program_with_a_mistake_is_refused_by_line_and_column() -> None:
    text = shipped("ramp").sources[shipped("ramp").program.place.file]
    wrong = text.replace("ramp_home AND pin", "ramp_hom AND pin")
    with pytest.raises(WrongDraftError) as error:
        try_program(RAMP, shipped("ramp"), "controller.st", wrong)
    [mistake] = error.value.mistakes
    assert (mistake.field, mistake.line, mistake.column) == ("program", 25, 12)


def test_a_changed_program_is_another_model_and_nothing_is_written(tmp_path: Path) -> None:
    folder = tmp_path / "mine"
    shutil.copytree(RAMP, folder)
    before = {file: file.read_bytes() for file in folder.iterdir()}
    text = (folder / "controller.st").read_text().replace("ramp_home AND ", "")
    model = try_program(folder, shipped("ramp"), "controller.st", text)
    assert model.sources[model.program.place.file] == text
    assert {file: file.read_bytes() for file in folder.iterdir()} == before
    assert not model.folder.exists()


def test_one_file_of_a_project_is_changed_and_the_others_stay() -> None:
    legs, folder = shipped("outriggers"), MODELS / "outriggers"
    texts = {Path(name).name: text for name, text in legs.program_texts.items()}
    changed = texts["leg.st"].replace("signals.firm AND NOT signals.loose", "signals.firm")
    assert changed != texts["leg.st"]
    model = try_program(folder, legs, "leg.st", changed)
    found = {Path(name).name: text for name, text in model.program_texts.items()}
    assert found == {**texts, "leg.st": changed}
    assert model.program != legs.program
    # A second change keeps the first, and a sentence is judged on both.
    again = try_program(folder, model, "outriggers.st", texts["outriggers.st"] + "\n")
    sentence = try_sentence(folder, again, "never", "globally", {"never": "green AND red"})
    assert {Path(n).name: t for n, t in sentence.program_texts.items()}["leg.st"] == changed


def test_a_text_that_would_break_out_of_its_line_stays_in_it() -> None:
    hostile = "green\n    says: 'x'\nfaults: {}"
    [(field, column, _)] = mistakes("never", never=hostile)
    # Of what is no expression the pragma is told first.
    assert (field, column) == ("never", 29)
