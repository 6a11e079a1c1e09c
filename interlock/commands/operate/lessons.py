"""Lessons: a model with a flaw to find and to mend, or a sentence to write.

A file ``lessons.yaml`` beside a model holds them. Each names the folder of the model it is about,
relative to its own; what the learner changes is tried without touching that folder.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path as FilePath
from pathlib import PurePosixPath
from typing import Literal

from pydantic import BaseModel, ConfigDict, Field

from interlock.base.errors import InputError, Mistake
from interlock.model.files import MODEL_FILE, read_text
from interlock.model.schema_fields import Name, Words
from interlock.model.shape import validated
from interlock.model.yaml import read

LESSONS_FILE = "lessons.yaml"


class _Shape(BaseModel):
    model_config = ConfigDict(extra="forbid", frozen=True)


class LessonShape(_Shape):
    """One lesson."""

    title: Words
    model: Words = Field(description="Folder of the model it is about, relative to this file.")
    kind: Literal["mend", "say"] = Field(
        "mend",
        description="'mend': the program is changed until every requirement holds. 'say': a "
        "sentence of one's own is to hold with a premise that occurs.",
    )
    story: Words = Field(description="What happened, told to the learner.")
    ask: Words = Field(description="What to find out or to do.")
    hints: list[Words] = Field(default_factory=list, max_length=6)
    learnt: Words = Field(description="What to take along; shown when it is done.")


class LessonsShape(_Shape):
    """A file of lessons."""

    lessons: dict[Name, LessonShape] = Field(min_length=1)


@dataclass(frozen=True)
class Lesson:
    """One lesson; `folder` is that of the model it is about."""

    id: str
    title: str
    folder: FilePath
    is_mend: bool
    story: str
    ask: str
    hints: tuple[str, ...]
    learnt: str


def load_lessons(folder: FilePath) -> Mapping[str, Lesson]:
    """The lessons beside the model in `folder`; none where there is no file of them.

    Raises
    ------
    InputError
        With every mistake of the file, each with its place.
    """
    file = folder / LESSONS_FILE
    if not file.exists():
        return {}
    document = read(read_text(file), str(file))
    shape = validated(document, LessonsShape, "lessons: 'lessons: {…}'")
    found: dict[str, Lesson] = {}
    mistakes = []
    for id_, given in shape.lessons.items():
        place = document.place(("lessons", id_, "model"))
        target = folder / given.model
        if PurePosixPath(given.model).is_absolute():
            said = "the lesson's model is a folder relative to this file"
            mistakes.append(Mistake(place, said))
        elif not (target / MODEL_FILE).is_file():
            mistakes.append(Mistake(place, f"there is no {MODEL_FILE} in '{target}'"))
        mend = given.kind == "mend"
        hints = tuple(given.hints)
        found[id_] = Lesson(
            id_, given.title, target, mend, given.story, given.ask, hints, given.learnt
        )
    if mistakes:
        raise InputError(mistakes)
    return found
