"""Files of the exchange format in a project: beside texts, in other encodings, wrapped."""

from __future__ import annotations

from pathlib import Path

import pytest

from interlock.base.errors import InputError
from interlock.exchange.files import load_project, read_files
from interlock.model.files import read_text
from interlock.model.load import load
from interlock.st.interpret import Controller
from interlock.st.layout import Settings
from interlock.st.parser import parse_file
from tests.support.exchange_files import Sheet, interface, pou, project, st_body
from tests.support.exchange_written import as_read

_FACES = interface(VAR_INPUT="a:BOOL", VAR_OUTPUT="q:BOOL")


def test_a_drawn_program_calls_what_is_written_and_is_called_by_it() -> None:
    sheet = Sheet()
    given = {"x": sheet.value("a")}
    sheet.assign("q", sheet.block("Flip", given, "y", "f"))
    drawn = pou(
        "Drawn",
        sheet.body("FBD"),
        interface(VAR_INPUT="a:BOOL", VAR_OUTPUT="q:BOOL", VAR="f:Flip"),
        "functionBlock",
    )
    texts = {
        "main.st": "PROGRAM Main VAR_INPUT a : BOOL; END_VAR VAR_OUTPUT q : BOOL; END_VAR\n"
        "VAR d : Drawn; END_VAR d(a := a, q => q); END_PROGRAM",
        "drawn.xml": project(drawn),
        "flip.st": "FUNCTION_BLOCK Flip VAR_INPUT x : BOOL; END_VAR VAR_OUTPUT y : BOOL; END_VAR\n"
        "y := NOT x; END_FUNCTION_BLOCK",
    }
    loaded = load_project(texts, "Main")
    assert [file.name for file in loaded.files] == ["main", "drawn", "flip"]
    controller = Controller(loaded.program, Settings())
    assert [controller.scan({"a": a}).outputs["q"] for a in (0, 1, 0)] == [1, 0, 1]


def test_a_model_takes_a_drawn_program_from_its_folder(tmp_path: Path) -> None:
    (tmp_path / "program").mkdir()
    (tmp_path / "model.yaml").write_text(
        "title: T\ncontroller: program\nrequirements:\n"
        "  R1: {says: No q, never: q, judged: after scan}\n"
    )
    (tmp_path / "program" / "plant.XML").write_text(
        project(pou("Main", st_body("q := a;"), _FACES))
    )
    model = load(tmp_path)
    assert model.free_inputs == ("a",)
    (statement,) = model.program.body
    lines = (tmp_path / "program" / "plant.XML").read_text().split("\n")
    assert lines[statement.place.line - 1][statement.place.column - 1 :].startswith("q := a;")
    assert statement.place.unit == "PROGRAM Main"


@pytest.mark.parametrize(
    ("encoding", "declared"),
    [("utf-8", "utf-8"), ("utf-8-sig", "UTF-8"), ("utf-16", "utf-16"), ("cp1252", "Windows-1252")],
)
def test_encodings_that_editors_write(tmp_path: Path, encoding: str, declared: str) -> None:
    text = project(pou("Main", st_body("q := a; // Tür"), _FACES))
    file = tmp_path / "plant.xml"
    file.write_bytes(text.replace("utf-8", declared, 1).encode(encoding))
    assert read_text(file) == text.replace("utf-8", declared, 1)
    assert load_project({"plant.xml": read_text(file)}).root == "Main"


def test_a_text_in_no_encoding_is_told(tmp_path: Path) -> None:
    file = tmp_path / "plant.xml"
    file.write_bytes(b"\xff\xfe<")
    with pytest.raises(InputError, match="not a text in utf-16"):
        read_text(file)


@pytest.mark.parametrize(
    "wrapped",
    [
        "<xhtml:p>{}</xhtml:p>",
        "<xhtml:xhtml>{}</xhtml:xhtml>",
        '<xhtml xmlns="http://www.w3.org/1999/xhtml">{}</xhtml>',
        "<xhtml:p><![CDATA[{}]]></xhtml:p>",
        "<xhtml:body><xhtml:p>{}</xhtml:p></xhtml:body>",
        "{}",
        "<![CDATA[{}]]>",
        "\n  {}\n",
    ],
)
def test_text_is_wrapped_in_many_ways(wrapped: str) -> None:
    body = f"<ST>{wrapped.format('q := NOT a;')}</ST>"
    (file,) = read_files({"p.xml": project(pou("Main", body, _FACES))})
    text = """PROGRAM Main VAR_INPUT a : BOOL; END_VAR VAR_OUTPUT q : BOOL; END_VAR
    q := NOT a; END_PROGRAM"""
    assert file.units == as_read(parse_file(text, "p.st")).units


def test_paragraphs_are_lines() -> None:
    body = "<ST><xhtml:p>q := a; // as it is</xhtml:p><xhtml:p>q := NOT q;</xhtml:p></ST>"
    (file,) = read_files({"p.xml": project(pou("Main", body, _FACES))})
    assert len(file.units[0].body) == 2


_TASK = (
    '<configuration name="C"><resource name="R">{}'
    '<globalVars retain="true">{}</globalVars></resource></configuration>'
)


@pytest.mark.parametrize(
    ("interval", "ms"),
    [("T#20ms", 20), ("t#1s", 1000), ("PT0.02S", 20), ("#10ms", 10), ("50ms", 50), ("PT1M", 60000)],
)
def test_intervals_of_tasks(interval: str, ms: int) -> None:
    started = '<pouInstance name="m" typeName="Main"/>'
    task = f'<task name="T" interval="{interval}" priority="1">{started}</task>'
    text = project(pou("Main", st_body("q := a;"), _FACES), configurations=_TASK.format(task, ""))
    task = load_project({"p.xml": text}).task
    assert task is not None
    assert task.interval_ms == ms


def test_a_task_that_waits_for_events_is_told() -> None:
    task = '<task name="T" single="go" priority="1"/>'
    text = project(pou("Main", st_body("q := a;"), _FACES), configurations=_TASK.format(task, ""))
    notes = [note.says for note in load_project({"p.xml": text}).notes]
    assert any("the task T waits for events (SINGLE); assumed" in says for says in notes)


def test_an_interval_that_is_not_understood_is_told() -> None:
    task = '<task name="T" interval="fast" priority="1"/>'
    text = project(pou("Main", st_body("q := a;"), _FACES), configurations=_TASK.format(task, ""))
    notes = [note.says for note in load_project({"p.xml": text}).notes]
    assert "the interval 'fast' of the task T was not understood" in notes


def test_a_list_of_globals_is_known_by_its_name() -> None:
    data = (
        '<addData><data name="x/globalvars" handleUnknown="implementation"><globalVars name="GVL">'
        "<variable name='on'><type><BOOL/></type></variable></globalVars></data></addData>"
        "</project>"
    )
    text = project(pou("Main", st_body("GVL.on := a; q := on;"), _FACES))
    loaded = load_project({"p.xml": text.replace("</project>", data)})
    assert Controller(loaded.program, Settings()).scan({"a": 1}).outputs["q"] == 1


def test_mistakes_of_all_units_are_told_at_once() -> None:
    wrong = [pou(f"P{n}", st_body("q := ;"), _FACES) for n in range(3)]
    with pytest.raises(InputError) as caught:
        load_project({"p.xml": project(*wrong)})
    assert [m.place.unit for m in caught.value.mistakes] == [f"PROGRAM P{n}" for n in range(3)]


def test_the_second_edition_is_read_where_it_is_built_alike() -> None:
    text = project(pou("Main", st_body("q := NOT a;"), _FACES))
    again = text.replace(
        "http://www.plcopen.org/xml/tc6_0201", "www.iec.ch/public/TC65SC65BWG7TF10"
    )
    assert again != text
    one, other = load_project({"main.xml": text}), load_project({"main.xml": again})
    assert one.program == other.program


def test_what_a_single_instance_begins_with_is_not_passed_over() -> None:
    value = '<initialValue><simpleValue value="TRUE"/></initialValue>'
    one = '<configVariable instancePathAndName="R.m.x"><type><BOOL/></type>{}</configVariable>'
    configuration = '<configuration name="C"><resource name="R"/><configVars>{}</configVars>'
    at = configuration + "</configuration>"
    body = st_body("q := a;")
    told = project(pou("Main", body, _FACES), configurations=at.format(one.format("")))
    notes = {note.says for note in load_project({"p.xml": told}).notes}
    assert "configVars were read over: where single instances lie means nothing here" in notes
    text = project(pou("Main", body, _FACES), configurations=at.format(one.format(value)))
    with pytest.raises(InputError, match="what a single instance begins with is not taken over"):
        load_project({"p.xml": text})
