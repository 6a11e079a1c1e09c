"""Configurations, resources, tasks and the programs they start; lists of globals."""

from __future__ import annotations

import re
from dataclasses import dataclass, field

from interlock.base.errors import InputError, Mistake
from interlock.exchange.additional import Additional, assignments_in
from interlock.exchange.declarations import declarations
from interlock.exchange.elements import Element
from interlock.exchange.units import with_assignments
from interlock.st import syntax as sx
from interlock.st.parser import parse_expression

# As in an XML document's duration: PT0.02S.
_DURATION = re.compile(r"P?T?(?:(\d+)H)?(?:(\d+)M)?(?:(\d+(?:\.\d+)?)S)?", re.IGNORECASE)
_READ_OVER = {
    "accessVars": "assumed: nobody writes by these paths",
    "configVars": "where single instances lie means nothing here",
}
_SIGNED = re.compile(r"(?:T|TIME|LTIME)?#", re.IGNORECASE)


@dataclass
class Resources:
    """What the instances of a file and its lists of globals say.

    Attributes
    ----------
    globals : list of syntax.Declaration
        Of lists without a name.
    lists : dict of str to list of syntax.Declaration
        By the name of the list.
    tasks : list of syntax.Task
    instances : list of syntax.ProgramInstance
    """

    additional: Additional
    globals: list[sx.Declaration] = field(default_factory=list)
    lists: dict[str, list[sx.Declaration]] = field(default_factory=dict)
    tasks: list[sx.Task] = field(default_factory=list)
    instances: list[sx.ProgramInstance] = field(default_factory=list)

    def read(self, root: Element) -> None:
        """Take all that stands below `root`.

        Raises
        ------
        InputError
        """
        for node in root.walk():
            if node.name == "configVariable" and node.first("initialValue") is not None:
                says = "what a single instance begins with is not taken over from here; give it "
                raise InputError([Mistake(node.place, f"{says}where the variable is declared")])
            if node.name in _READ_OVER and node.children:
                says = f"{node.name} were read over: {_READ_OVER[node.name]}"
                self.additional.notes.append(sx.Note(node.place, says))
            if node.name == "resource":
                self._resource(node)
            if node.name != "interface":
                for section in node.all("globalVars"):
                    self._globals(section)

    def _globals(self, section: Element) -> None:
        name = section.get("name")
        section.stand_in(f"VAR_GLOBAL {name}".strip())
        found = with_assignments(section, declarations(section), self.additional)
        if name:
            self.lists.setdefault(name, []).extend(found)
        else:
            self.globals += found

    def _resource(self, resource: Element) -> None:
        for task in resource.all("task"):
            made = sx.Task(task.get("name"), self._interval(task), task.place)
            self.tasks.append(made)
            if task.get("single"):
                self.additional.notes.append(sx.Note(task.place, made.says_of_events))
            for instance in task.all("pouInstance"):
                self._instance(instance, made.name)
        for instance in resource.all("pouInstance"):
            self._instance(instance, "")

    def _instance(self, instance: Element, task: str) -> None:
        name = instance.get("name") or instance.get("typeName")
        # Some exports name the program only once.
        type_name = instance.get("typeName") or name
        if not name:
            instance.refuse("a pouInstance needs name and typeName")
        given = [
            argument
            for data in self.additional.data(instance, "inputassignments")
            for argument in assignments_in(data)
        ]
        made = sx.ProgramInstance(name, task, type_name, instance.place, tuple(given))
        self.instances.append(made)

    def _interval(self, task: Element) -> int | None:
        """The interval in milliseconds; None where there is none that is understood."""
        text = task.get("interval").strip()
        if not text:
            return None
        found = _DURATION.fullmatch(text)
        if found is not None and any(found.groups()):
            hours, minutes, seconds = (float(part or 0) for part in found.groups())
            return round(1000 * (3600 * hours + 60 * minutes + seconds)) or None
        written = text if "#" in text else f"T#{text}"
        if _SIGNED.match(written) is not None:
            written = "T" + written if written.startswith("#") else written
            try:
                value = parse_expression(written, locate=lambda _: task.place)
            except InputError:
                value = None
            if isinstance(value, sx.Duration):
                return value.ms
        says = f"the interval '{text[:40]}' of the task {task.get('name')} was not understood"
        self.additional.notes.append(sx.Note(task.place, says))
        return None
