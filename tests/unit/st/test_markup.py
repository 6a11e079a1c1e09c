"""Programs that an environment keeps inside XML."""

from __future__ import annotations

import pytest

from interlock.base.errors import InputError
from interlock.st.direct.controller import DirectController
from interlock.st.interpret import Controller
from interlock.st.layout import Settings
from interlock.st.load import load_project
from interlock.st.parser import parse_file

DOOR = """<?xml version="1.0" encoding="utf-8"?>
<Object Version="1">
  <POU Name="Door" Id="{aa}">
    <Declaration><![CDATA[FUNCTION_BLOCK Door
VAR_INPUT open : BOOL; END_VAR
VAR_OUTPUT valve : BOOL; n : INT; END_VAR
]]></Declaration>
    <Implementation>
      <ST><![CDATA[Work();
valve := Decide(open) AND NOT Many;]]></ST>
    </Implementation>
    <Folder Name="Methods" Id="{bb}" />
    <Action Name="Work" Id="{cc}">
      <Implementation>
        <ST><![CDATA[IF open AND n < 5 THEN n := n + 1; END_IF]]></ST>
      </Implementation>
    </Action>
    <Method Name="Decide" Id="{dd}">
      <Declaration><![CDATA[METHOD Decide : BOOL VAR_INPUT b : BOOL; END_VAR]]></Declaration>
      <Implementation><ST><![CDATA[Decide := b AND n < 4;]]></ST></Implementation>
    </Method>
    <Property Name="Many" Id="{ee}">
      <Declaration><![CDATA[PROPERTY Many : BOOL]]></Declaration>
      <Get Name="Get" Id="{ff}">
        <Declaration><![CDATA[VAR
END_VAR]]></Declaration>
        <Implementation><ST><![CDATA[Many := n > 2;]]></ST></Implementation>
      </Get>
    </Property>
    <Method Name="Last" Id="{gg}">
      <Declaration><![CDATA[METHOD Last : INT]]></Declaration>
      <Implementation><ST><![CDATA[Last := n;]]></ST></Implementation>
    </Method>
  </POU>
</Object>
"""


def test_units_methods_properties_and_actions_are_found_in_the_markup() -> None:
    loaded = load_project({"Door.xml": DOOR})
    direct = DirectController(loaded.files, loaded.root, Settings())
    scalars = Controller(loaded.program, Settings())
    found = [c.scan({"open": 1}).outputs for _ in range(4) for c in (direct, scalars)]
    assert [(values["valve"], values["n"]) for values in found] == [
        *[(1, 1)] * 2,
        *[(1, 2)] * 2,
        *[(0, 3)] * 2,
        *[(0, 4)] * 2,
    ]


def test_what_is_read_over_is_told_and_places_are_those_of_the_file() -> None:
    file = parse_file(DOOR, "Door.xml")
    assert "the markup round the program was read over" in {note.says for note in file.notes}
    assert [(a.name, a.place.line) for a in file.units[0].actions] == [("Work", 13)]
    wrong = DOOR.replace("n := n + 1", "n := m + 1")
    with pytest.raises(InputError) as caught:
        load_project({"Door.xml": wrong})
    assert str(caught.value).startswith("Door.xml:15:50: 'm' is not declared")
    assert wrong.splitlines()[14][49] == "m"


def test_a_body_in_another_language_is_refused() -> None:
    text = DOOR.replace("<ST><![CDATA[Work();", "<NWL><![CDATA[Work();")
    with pytest.raises(InputError) as caught:
        parse_file(text, "Door.xml")
    says = "a body in NWL is not supported; supported: Structured Text (ST)"
    assert str(caught.value) == f"Door.xml:9:7: {says}"


def test_a_section_that_never_ends_is_refused() -> None:
    with pytest.raises(InputError) as caught:
        parse_file(DOOR[: DOOR.index("]]>", DOOR.index("Many := n"))], "Door.xml")
    assert str(caught.value) == "Door.xml:27:29: '<![CDATA[' is never closed; expected ']]>'"
