"""``interlock explain``: topics are listed, told and found; what is unknown is told with a hint."""

from __future__ import annotations

import json

import pytest

from interlock.cli.main import run
from interlock.commands.explain.topics import UnknownTopicError, found, topics
from interlock.exchange.constructs import DRAWN
from interlock.model.between import ALL
from interlock.model.fault_kinds import FAULT_KINDS
from interlock.model.patterns import PATTERNS, SCOPES
from interlock.model.schema import RequirementShape
from interlock.model.yaml import read
from interlock.st.constructs import CONSTRUCTS


def explained(capsys: pytest.CaptureFixture[str], *words: str) -> str:
    assert run(["explain", *words]) == 0
    return capsys.readouterr().out


def test_every_row_of_every_table_is_listed(capsys: pytest.CaptureFixture[str]) -> None:
    said = " ".join(explained(capsys).split())
    tables = (*CONSTRUCTS.values(), *DRAWN.values())
    names = [row.name for rows in tables for row in rows]
    names += [row.key for row in PATTERNS.values()] + [row.key for row in SCOPES.values()]
    names += [kind.name for kind in FAULT_KINDS] + [str(one) for one in ALL]
    names += ["late signal", "unit of time"]
    assert [name for name in names if name not in said] == []
    assert len(topics()) == len(names)


def test_every_topic_is_found_by_its_name_and_by_its_other_words() -> None:
    for topic in topics():
        for word in (topic.name, *topic.words):
            others = found(word.lower())
            is_named = any(other.name.casefold() == word.casefold() for other in others)
            assert topic in others or is_named, word


def test_a_construct_is_told_with_its_meaning_and_its_example(
    capsys: pytest.CaptureFixture[str],
) -> None:
    said = explained(capsys, "for")
    assert said.startswith("FOR (Structured Text, statements): taken\n")
    assert "FOR i := 1 TO 7 BY 2" in said
    assert "n = 16" in said
    assert "refused with: jumps and labels" in explained(capsys, "GOTO")


def test_a_pattern_is_told_with_its_sentence_formula_source_and_runs(
    capsys: pytest.CaptureFixture[str],
) -> None:
    said = explained(capsys, "response")
    for part in (
        "leads_to (requirement pattern)",
        "{says: …, whenever: P, leads_to: S}",
        "Whenever P, then some time S",
        "formula in the whole run: G (P -> F S)",
        "ICSE 1999",
        "violated by the run: S, then P, then neither for ever",
    ):
        assert part in said, said


@pytest.mark.parametrize("word", [row.key for row in (*PATTERNS.values(), *SCOPES.values())])
def test_what_a_model_file_is_shown_to_say_is_taken_by_it(word: str) -> None:
    for topic in found(word):
        if topic.sort not in ("requirement pattern", "scope") or not topic.example:
            continue
        value = read(topic.example, "model.yaml").value
        assert isinstance(value, dict)
        assert RequirementShape.model_validate(value["R1"])


def test_a_word_of_several_topics_tells_them_all(capsys: pytest.CaptureFixture[str]) -> None:
    said = explained(capsys, "stuck")
    assert all(f"{name} (fault)" in said for name in ("stuck at TRUE", "stuck at FALSE", "frozen"))


def test_an_unknown_word_is_bad_input_with_the_nearest_name(
    capsys: pytest.CaptureFixture[str],
) -> None:
    assert run(["explain", "whille"]) == 2
    assert "nothing is called 'whille' here; did you mean 'WHILE'?" in capsys.readouterr().err
    with pytest.raises(UnknownTopicError):
        found("\u202e")


def test_json_has_what_the_text_has(capsys: pytest.CaptureFixture[str]) -> None:
    (topic,) = json.loads(explained(capsys, "can_still", "--json", "-"))["topics"]
    assert topic["sort"] == "requirement pattern"
    assert ["formula in the whole run", "AG EF P"] in topic["facts"]
