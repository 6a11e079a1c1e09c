"""Programs that call what is not in their files cannot be told alike."""

from __future__ import annotations

from pathlib import Path

from interlock.base.errors import InputError, Mistake
from interlock.model.model import Model


def refuse_unknown_code(old: Model, new: Model) -> None:
    """Refuse two programs that are not the same, of which one calls code that is not in its files.

    What such a call gives is any value, whatever it is given: so a call with other arguments looks
    the same, and what differs by it would be told equal.

    Raises
    ------
    InputError
        With the place of the first such call in the old model, else in the new one.
    """
    if _given(old) == _given(new):
        return
    for model in (old, new):
        for value in model.program.any_values:
            says = (
                "'compare' cannot tell what differs where code is called that is not in the files "
                f"given, as for '{value.input}'; add the file"
            )
            raise InputError([Mistake(value.place, says)])


def _given(model: Model) -> tuple[object, ...]:
    """All that decides what such a call is given: the text, how it runs, and what it reads."""
    texts = {Path(file).name: text for file, text in model.program_texts.items()}
    sensors = {name: (s.reads.text, s.age, s.delay) for name, s in model.sensors.items()}
    terms = {name: formula.text for name, formula in model.terms.items()}
    return texts, model.settings, sensors, terms
