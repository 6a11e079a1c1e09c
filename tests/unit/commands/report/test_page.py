"""The report for the assessor: what is in it, that it is whole, that texts stay texts."""

from __future__ import annotations

import re
from dataclasses import replace
from functools import cache
from html.parser import HTMLParser
from pathlib import Path

import pytest

from interlock.base.files import sha256
from interlock.commands.report.dossier import PARTS, Choice, Dossier, gather
from interlock.commands.report.page import to_html
from interlock.commands.report.sections import inputs_of
from interlock.commands.report.trace import orphans
from interlock.judgement.engines import available
from interlock.kernel.query import Limits
from interlock.kernel.requirement import Outcome
from interlock.model.load import load
from interlock.model.procedures import find_procedures
from interlock.telling.pdf import to_pdf
from tests.known.test_between_scans import LINE, ONE_BY_ONE, SEEN, STATIONS
from tests.support.gate import GATE_ST, GATE_YAML, written
from tests.support.hostile import hostile
from tests.support.models import MODELS

FAULTY = GATE_YAML.replace(
    "  F1: {says: switch stuck shut, sensor: shut, stuck: 'TRUE'}\n",
    "  F1: {says: switch stuck shut, sensor: shut, stuck: 'TRUE', rate: 1.123e-6,\n"
    "       exposure_h: 8760, assumed: true}\n"
    "  F9: {says: switch stuck open, sensor: shut, stuck: 'FALSE', excluded: not here}\n",
)
BLOCKS = ("td", "th", "tr", "p", "li", "dt", "dd", "h1", "h2", "h3", "h4", "figcaption")


def dossier_of(folder: Path, **choice: object) -> Dossier:
    model = load(folder)
    chosen = replace(Choice(order=None), **choice)  # type: ignore[arg-type]
    return gather(model, available()["auto"](), chosen, find_procedures(model))


@cache
def shipped_dossier(name: str) -> Dossier:
    return dossier_of(MODELS / name)


@cache
def page_of(name: str) -> str:
    return to_html(shipped_dossier(name))


class Elements(HTMLParser):
    """Every start tag with its attributes, and all text."""

    def __init__(self, page: str) -> None:
        super().__init__()
        self.tags: list[tuple[str, dict[str, str]]] = []
        self.text = ""
        self._raw = False
        self.feed(page)

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.text += " " if tag in BLOCKS else ""
        self.tags.append((tag, {name: value or "" for name, value in attrs}))
        self._raw = tag in ("script", "style")

    def handle_endtag(self, tag: str) -> None:
        self._raw = False

    def handle_data(self, data: str) -> None:
        self.text += "" if self._raw else data

    def values(self, name: str) -> list[str]:
        return [attributes[name] for _, attributes in self.tags if name in attributes]


def words(page: str) -> str:
    return " ".join(Elements(page).text.split())


def test_scope_assumptions_boundary_and_cautions_come_first() -> None:
    page = page_of("ramp")
    heads = re.findall(r'<h2 id="(\w+)"', page)
    assert heads[:3] == ["scope", "summary", "trace"]
    assert heads[-1] == "assessor"
    said = words(page)
    for line in (
        *shipped_dossier("ramp").model.assumptions,
        "What was not modelled was not explored.",
    ):
        assert 0 < said.index(line) < said.index("Verdicts on 10 requirements")


def test_no_list_ends_in_nothing(tmp_path: Path) -> None:
    said = words(to_html(dossier_of(written(tmp_path / "gate", FAULTY, GATE_ST))))
    assert "by the study of faults: not in this report" not in said
    assert "; ." not in said


def test_nothing_is_called_safe_and_no_level_is_awarded() -> None:
    said = words(page_of("ramp")).casefold()
    assert "proved safe" not in said
    assert "no performance level is awarded" in said


@pytest.mark.parametrize("name", ["ramp", "ramp-broken/pin-alone", "a gate with faults"])
def test_each_link_leads_to_one_place_in_the_page(name: str, tmp_path: Path) -> None:
    if name.startswith("ramp"):
        page = Elements(page_of(name))
    else:
        page = Elements(to_html(dossier_of(written(tmp_path / "gate", FAULTY, GATE_ST))))
    ids = page.values("id")
    assert len(ids) == len(set(ids))
    links = page.values("href")
    assert links
    assert {link[:1] for link in links} == {"#"}
    assert {link[1:] for link in links} <= set(ids)


def test_a_hazard_has_its_requirements_verdicts_runs_and_procedures_in_one_place() -> None:
    page = page_of("ramp-broken/pin-alone")
    article = re.findall(r'<article class="hazard".*?</article>', page, re.DOTALL)[1]
    said = words(article)
    assert said.startswith("H2: the driver trusts a false green")
    assert "required level e" in said
    assert "R2 Green tells the truth ✕ violated no component fault" in said
    assert "premise in 1,656 of 2,961 states" in said
    assert '<a href="#run-R2">' in article
    assert "everything done as written violates R2" in said


def test_orphans_are_named(tmp_path: Path) -> None:
    yaml = GATE_YAML.replace("hazards:\n", "hazards:\n  H8: {says: nobody asks}\n", 1)
    folder = written(tmp_path / "gate", yaml, GATE_ST)
    found = {one.title: one.found for one in orphans(dossier_of(folder))}
    assert ("H8", "nobody asks") in found["Hazards that no requirement names"]
    assert [id_ for id_, _ in found["Requirements that name no hazard"]] == ["R2", "R3", "R4"]
    page = to_html(dossier_of(folder))
    assert "orphan: no requirement names this hazard" in page


NO_EFFECT = "Faults that break nothing alone, and of which no next scan or move shows anything"


def test_faults_without_effect_are_none_only_where_they_were_looked_for(tmp_path: Path) -> None:
    told = {
        "not looked at: no study of faults is told": dossier_of(
            written(tmp_path / "out", FAULTY, GATE_ST), left_out=frozenset({"faults"})
        ),
        "undecided: a limit was hit": dossier_of(
            written(tmp_path / "cut", FAULTY, GATE_ST), limits=Limits(max_states=2)
        ),
        "F3 controller restarts": dossier_of(written(tmp_path / "all", FAULTY, GATE_ST)),
    }
    for said, dossier in told.items():
        page = words(to_html(dossier))
        assert [f"{NO_EFFECT} {each}" in page for each in told] == [each == said for each in told]
        # The summary counts nothing that was not looked for.
        assert f"f{NO_EFFECT[1:]}: {'1' if said.startswith('F3') else said}" in page
    without = (
        GATE_YAML[: GATE_YAML.index("faults:")] + GATE_YAML[GATE_YAML.index("requirements:") :]
    )
    page = words(to_html(dossier_of(written(tmp_path / "gate", without, GATE_ST))))
    assert f"{NO_EFFECT} none" in page


def test_an_undecided_requirement_is_told_with_its_limit_and_as_nothing_else() -> None:
    dossier = dossier_of(MODELS / "ramp", limits=Limits(max_states=50))
    assert dossier.verification.outcome is Outcome.UNDECIDED
    said = words(to_html(dossier))
    assert "undecided: limit hit, states 50; nothing is known of it" in said
    assert "at least" in said
    assert "Limits set for each exploration: 50 states" in said


def test_what_a_limit_cut_short_is_never_told_as_none(tmp_path: Path) -> None:
    folder = written(tmp_path / "gate", FAULTY, GATE_ST)
    said = words(to_html(dossier_of(folder, limits=Limits(max_states=2))))
    assert "None was found" not in said
    assert "No set was found" not in said
    assert "No requirement was found to survive fewer" not in said
    assert "Undecided, a limit was hit: R1." in said
    assert said.count("Undecided: a limit was hit, states 2; there may be more.") == 3


def test_what_is_worth_a_look_stands_with_its_place(tmp_path: Path) -> None:
    program = GATE_ST.replace("END_PROGRAM", "lamp := shut;\nEND_PROGRAM")
    said = words(to_html(dossier_of(written(tmp_path / "gate", GATE_YAML, program))))
    assert "controller.st:5:1 output written twice in a scan the output 'lamp' is written" in said
    assert "Worth a look, though no violation: 1." in said
    nothing = words(page_of("ramp"))
    assert "Worth a look, though no violation: nothing." in nothing
    assert "Nothing was found." in nothing


def test_a_part_that_is_left_out_is_named_and_gone() -> None:
    dossier = dossier_of(MODELS / "ramp", left_out=frozenset(PARTS))
    page = to_html(dossier)
    said = words(page)
    for part, says in PARTS.items():
        assert f"{says}: " in said
        assert f'<h2 id="{part}"' not in page
    assert said.count("left out by whoever made this report") == len(PARTS) - 1
    assert "the model declares no component fault that may strike" in said


def test_faults_stand_with_cut_sets_figures_and_what_is_assumed(tmp_path: Path) -> None:
    dossier = dossier_of(written(tmp_path / "gate", FAULTY, GATE_ST))
    page = to_html(dossier)
    said = words(page)
    assert "Faults whose figures are assumed: 1" in said
    assert "1.1e-6/h for 8800 h assumed" in said
    assert "1.123" not in said
    assert "excluded: not here" in said
    assert said.count("once its faults are there, harm follows") == 1 + page.count(
        'id="fault-tree-'
    )
    assert 'id="fault-F1"' in page


def test_a_fault_tree_is_drawn_and_linked_and_its_assumed_figure_says_so(tmp_path: Path) -> None:
    dossier = dossier_of(written(tmp_path / "gate", FAULTY, GATE_ST))
    page = to_html(dossier)
    drawn = re.findall(r'<figure id="fault-tree-R1".*?</figure>', page, re.DOTALL)
    assert len(drawn) == 1
    assert "[assumed]" in words(drawn[0])
    hazard = re.findall(r'<article class="hazard".*?</article>', page, re.DOTALL)[0]
    assert '<a href="#fault-tree-R1">' in hazard


def test_a_claim_that_a_fault_breaks_says_whether_it_was_announced(tmp_path: Path) -> None:
    yaml = GATE_YAML.replace("hazards: [H1]}", "hazards: [H1], survives: 1}", 1)
    dossier = dossier_of(written(tmp_path / "gate", yaml, GATE_ST))
    harm = dossier.findings["R1"].harm
    assert harm is not None
    hazard = re.findall(r'<article class="hazard".*?</article>', to_html(dossier), re.DOTALL)[0]
    assert f"✕ violated any one component fault: {harm.value}" in words(hazard)
    assert "claims 1, survives 0 ✕ claim violated" in words(hazard)


def test_procedures_stand_with_their_steps_deviations_and_the_card() -> None:
    page = page_of("ramp-broken/pin-alone")
    said = words(page[page.index('<h2 id="procedures"') : page.index('<h2 id="inputs"')])
    assert "Lower the ramp" in said
    assert "1–3 assumed" in said
    assert "Never:" in said
    assert "One deviation at a time: 10 violating, 3 recoverable." in said
    assert "Operator card: from anywhere the shortest way to secured AND green" in said
    assert "as written it violates R2" in words(page)


def test_verdicts_without_faults_say_that_this_was_asked_for(tmp_path: Path) -> None:
    dossier = dossier_of(written(tmp_path / "gate"), claimed=False)
    said = words(to_html(dossier))
    assert "by request the verdicts were reached without any" in said
    assert "faults in verdicts none" in said


def test_inputs_have_hashes_and_ways_that_tell_files_of_one_name_apart() -> None:
    model = load(MODELS / "wren-changed" / "tidied")
    found = dict(inputs_of(model))
    assert found["../../wren/model.yaml"] == sha256((MODELS / "wren/model.yaml").read_text("utf-8"))
    assert "model.yaml" in found
    assert any(name.endswith("mimic.svg") for name in found)
    assert "procedures.yaml" in words(page_of("ramp"))


@pytest.mark.parametrize("name", ["ramp", "ramp-broken/pin-alone"])
def test_the_same_input_gives_the_same_page_and_no_path_of_this_machine(name: str) -> None:
    again = to_html(dossier_of(MODELS / name))
    assert again == page_of(name)
    assert str(MODELS.parent) not in again


def test_the_page_is_the_same_wherever_it_is_made_from(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    folder = written(tmp_path / "gate")
    pages = [to_html(dossier_of(folder))]
    for here, given in ((tmp_path, "gate"), (folder, "."), (folder, "../gate/model.yaml")):
        monkeypatch.chdir(here)
        pages.append(to_html(dossier_of(Path(given))))
    assert len(set(pages)) == 1


def test_the_same_page_gives_the_same_pdf(tmp_path: Path) -> None:
    pytest.importorskip("weasyprint")
    folder = written(tmp_path / "gate")
    long = frozenset({"diagrams", "faults", "matrix", "procedures", "rating"})
    page = to_html(dossier_of(folder, left_out=long))
    once = to_pdf(page)
    assert once[:5] == b"%PDF-"
    assert to_pdf(page) == once


def test_the_mark_changes_with_anything_in_the_report(tmp_path: Path) -> None:
    pages = [
        to_html(dossier_of(written(tmp_path / "gate", yaml, GATE_ST)))
        for yaml in (GATE_YAML, GATE_YAML.replace("title: Gate", "title: Gates"))
    ]
    marks = [re.findall(r"Report mark <code>(\w{16})</code>", page) for page in pages]
    assert len(marks[0]) == 1
    assert marks[0] != marks[1]


HOSTILE = "</script></style><img src=x onerror=alert(1)><svg onload=alert(2)>{{ 7*7 }}"
RIGHT_TO_LEFT = "מנעול הרמפה פתוח"


def test_texts_of_a_hostile_model_stay_texts(tmp_path: Path) -> None:
    folder = hostile(tmp_path / "hostile", f"{HOSTILE} {RIGHT_TO_LEFT} {'x' * 600}")
    tame = hostile(tmp_path / "tame", "plain words")
    page = to_html(dossier_of(folder))
    found, known = Elements(page), Elements(to_html(dossier_of(tame)))
    assert {tag for tag, _ in found.tags} <= {tag for tag, _ in known.tags}
    assert not [name for _, attributes in found.tags for name in attributes if name[:2] == "on"]
    assert found.values("src") == []
    assert HOSTILE in found.text
    assert "49" not in re.findall(r"<h1>.*?</h1>", page)[0]


def test_what_turns_the_direction_of_its_surroundings_is_a_mark(tmp_path: Path) -> None:
    # Model files refuse such characters; a comment in a program may hold them.
    program = GATE_ST.replace("END_PROGRAM", "(* \u202eevil\u2066 *)\nEND_PROGRAM")
    page = to_html(dossier_of(written(tmp_path / "gate", GATE_YAML, program)))
    assert "&lt;U+202E&gt;evil&lt;U+2066&gt;" in page
    assert "\u202e" not in page
    assert "\u2066" not in page


def test_the_page_may_load_nothing_and_run_only_its_own_script() -> None:
    page = page_of("ramp-broken/pin-alone")
    policy = re.findall(r'Content-Security-Policy" content="([^"]*)"', page)[0]
    assert policy.startswith("default-src 'none'; style-src 'sha256-")
    assert "unsafe" not in policy
    nothing_to_play = to_html(dossier_of(MODELS / "ramp", left_out=frozenset({"diagrams"})))
    assert "script-src 'none'" in nothing_to_play
    assert "<script" not in nothing_to_play
    assert "style=" not in page


def test_where_nothing_is_violated_the_runs_to_what_can_still_be_reached_are_shown() -> None:
    articles = re.findall(r'<article class="run".*?</article>', page_of("ramp"), re.DOTALL)
    first, second = (words(article) for article in articles)
    assert first.startswith("R8 reached: The ramp can always still be lowered")
    assert "Reaches the goal of R8" in first
    assert "violated" not in first
    # The second goes on where the first one ends.
    assert second.startswith("R9 reached: The vehicle can always still be driven off")
    assert "the ramp reaches the ground" in second
    assert "drives off" in second


def test_every_run_is_there_as_a_story_without_any_script() -> None:
    page = page_of("ramp-broken/pin-alone")
    article = re.findall(r'<article class="run".*?</article>', page, re.DOTALL)[0]
    said = words(article)
    assert "13 steps, replayed" in said
    assert "13 driver drives off vehicle parked → driving" in said
    assert article.count("<figure") >= 4


def test_the_page_tells_what_leans_on_the_assumption_between_scans(tmp_path: Path) -> None:
    moves = [f"      - {{from: p{n}, to: p{n + 1}, name: on {n}}}" for n in range(STATIONS - 1)]
    yaml = ONE_BY_ONE + LINE.replace("MOVES", "\n".join(moves))
    folder = written(tmp_path / "line", yaml, SEEN)
    not_asked = Elements(to_html(dossier_of(folder))).text
    assert "Assumed: at most one move in all between two scans." in not_asked
    assert "Which verdicts would fall under a weaker assumption was not asked for" in not_asked
    told = Elements(to_html(dossier_of(folder, with_ledger=True))).text
    assert "with 'each once' it falls in 3 steps" in told
    assert "A shortest run, R3 with 'each once'" in told
    assert "brake: OFF to ON" in told
