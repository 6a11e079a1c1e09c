"""Files of records, CSV or value change dumps: opened, and read line by line."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from pathlib import Path
from typing import BinaryIO

from interlock.base.errors import Place
from interlock.commands.replay.columns import Mapped, Observed
from interlock.commands.replay.read_csv import read_csv
from interlock.commands.replay.read_vcd import read_vcd
from interlock.commands.replay.record import Record, mistake

MAX_LINE_BYTES = 1_000_000


@contextmanager
def opened(file: Path, known: Mapping[str, Observed], mapped: Mapped) -> Iterator[Record]:
    """Open the record in `file`, CSV or (``.vcd``) a value change dump.

    Raises
    ------
    InputError
        Where it cannot be read or its head is not right; the rows raise it where they are not.
    """
    try:
        if not file.is_file():
            raise mistake(Place(str(file), 1, 1), "no such file")
        stream = file.open("rb")
    except OSError as error:
        raise mistake(Place(str(file), 1, 1), f"cannot be read: {error.strerror}") from None
    with stream:
        lines = lines_of(stream, str(file))
        if file.suffix.casefold() == ".vcd":
            yield read_vcd(lines, str(file), known, mapped)
        else:
            yield read_csv(lines, str(file), known, mapped)


def lines_of(stream: BinaryIO, file: str) -> Iterator[tuple[int, str]]:
    """The lines of a file without their ends, each with its number.

    Raises
    ------
    InputError
        Where one is too long or not UTF-8.
    """
    number = 0
    while data := stream.readline(MAX_LINE_BYTES + 1):
        number += 1
        if len(data) > MAX_LINE_BYTES:
            raise mistake(Place(file, number, 1), f"a line of more than {MAX_LINE_BYTES:,} bytes")
        try:
            text = data.decode("utf-8-sig" if number == 1 else "utf-8")
        except UnicodeDecodeError as error:
            column = len(data[: error.start].decode("utf-8", errors="replace")) + 1
            said = f"not UTF-8 text: byte 0x{data[error.start]:02X} begins no character"
            raise mistake(Place(file, number, column), said) from None
        yield number, text.rstrip("\r\n")
