"""A model's program in the open XML exchange format; read again it means the same."""

from __future__ import annotations

from interlock.base.errors import InputError, InternalError
from interlock.commands.export.write_st import Written
from interlock.exchange.files import load_project, read_files
from interlock.exchange.writing.files import write_exchange
from interlock.model.model import Model
from interlock.st.trial import difference

_SCANS = 200


def in_exchange_format(model: Model, drawn: str) -> Written:
    """All files of the program as one of the exchange format.

    Parameters
    ----------
    model : Model
    drawn : str
        ``ladder`` or ``blocks``; empty where bodies are text.

    Raises
    ------
    InputError
        With what the format has no word for.
    """
    assert model.project is not None, "a model that was loaded has its project"
    # Not those of the project: what a configuration makes of several programs is not drawn.
    files = read_files(model.program_texts)
    root = model.project.root
    named = [unit.name for file in files for unit in file.units]
    found = write_exchange(
        files, root if root in named else model.title, drawn=drawn, texts=model.program_texts
    )
    _check(model, found.text, root if root in named else None)
    losses = [f"{place.short}: {says}" for place, says in found.told]
    return Written({"": found.text}, (*found.losses, *losses))


def _check(model: Model, text: str, root: str | None) -> None:
    file = model.program.place.file
    before = load_project(model.program_texts, root).program
    try:
        after = load_project({"written.xml": text}, root).program
    except InputError as error:
        says = f"{file}: the program written anew is not read: {error.mistakes[0].says}"
        raise InternalError(says) from None
    if before == after:
        return
    # What is drawn has other statements; so both are tried side by side.
    found = difference(before, after, settings=model.settings, n_scans=_SCANS)
    if found is not None:
        says = f"written anew it differs in scan {found.scan}: {found.name} is {found.values}"
        raise InternalError(f"{file}: {says}")
