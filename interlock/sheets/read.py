"""Reading a table file, whatever kind it is of."""

from __future__ import annotations

from pathlib import Path

from interlock.base.errors import InputError, Mistake, Place, nearest
from interlock.sheets.read_csv import read_csv
from interlock.sheets.read_xlsx import read_xlsx
from interlock.sheets.table import MOST_BYTES, Table

_WORKBOOKS = (".xlsx", ".xlsm")
_OTHERS = {".xls": "an old workbook", ".ods": "an OpenDocument sheet", ".numbers": "no open table"}


def read_tables(file: Path, wanted_at: Place | None = None) -> list[Table]:
    """The tables in a CSV file or XLSX workbook: one, or one for each visible sheet.

    Parameters
    ----------
    file : Path
    wanted_at : Place, optional
        Where the file is named; what is wrong with the file as a whole is told there.

    Raises
    ------
    InputError
    """
    place = wanted_at or Place(str(file), 1, 1)
    ending = file.suffix.casefold()
    if ending in _OTHERS:
        raise InputError([Mistake(place, f"{_OTHERS[ending]}; save it as .xlsx or .csv")])
    data = _bytes(file, place)
    # A workbook is known by how it begins, whatever its name.
    if ending in _WORKBOOKS or data.startswith((b"PK\x03\x04", b"\xd0\xcf\x11\xe0")):
        return read_xlsx(data, str(file))
    return [read_csv(data, str(file))]


def _bytes(file: Path, place: Place) -> bytes:
    try:
        if file.exists() and not file.is_file():
            raise InputError([Mistake(place, f"not a file: {file}")])
        with file.open("rb") as stream:
            data = stream.read(MOST_BYTES + 1)
    except FileNotFoundError:
        near = ""
        if file.parent.is_dir():
            near = nearest(file.name, [found.name for found in file.parent.iterdir()])
        raise InputError([Mistake(place, f"no such file: {file}{near}")]) from None
    except OSError as error:
        raise InputError([Mistake(place, f"cannot be read: {error.strerror}")]) from None
    if len(data) > MOST_BYTES:
        raise InputError([Mistake(place, f"the file is larger than {MOST_BYTES:,} bytes")])
    return data
