"""Files and folders are written whole, in their place, and nothing of others is touched."""

from __future__ import annotations

import os
import socket
import stat
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest

from interlock.base.errors import InputError
from interlock.base.files import write_each_whole, write_whole
from interlock.base.folders import write_whole_folder
from interlock.base.targets import check_target


@pytest.fixture
def umask() -> Iterator[Callable[[int], int]]:
    before = os.umask(0o022)
    yield os.umask
    os.umask(before)


def mode_of(path: Path) -> int:
    return stat.S_IMODE(path.lstat().st_mode)


def make_fifo(path: Path) -> None:
    os.mkfifo(path)


def make_socket(path: Path) -> None:
    # Bound by its name alone: the name of a socket may not be long.
    here = Path.cwd()
    os.chdir(path.parent)
    try:
        with socket.socket(socket.AF_UNIX) as bound:
            bound.bind(path.name)
    finally:
        os.chdir(here)


def make_link(path: Path) -> None:
    other = path.with_name("other")
    other.write_text("of somebody else")
    path.symlink_to(other)


def make_link_to_nowhere(path: Path) -> None:
    path.symlink_to(path.with_name("nothing"))


SPECIAL = {
    "a pipe": make_fifo,
    "a socket": make_socket,
    "a link": make_link,
    "a link that leads nowhere": make_link_to_nowhere,
    "a folder": Path.mkdir,
}


def seen(folder: Path) -> dict[str, tuple[int, int, bytes]]:
    """Everything in a folder: which file it is, its kind and what it holds."""
    found = {}
    for path in folder.iterdir():
        about = path.lstat()
        content = path.read_bytes() if stat.S_ISREG(about.st_mode) else b""
        found[path.name] = (about.st_ino, about.st_mode, content)
    return found


@pytest.mark.parametrize("what", SPECIAL)
def test_what_is_no_plain_file_is_refused_and_left(what: str, tmp_path: Path) -> None:
    file = tmp_path / "out.json"
    SPECIAL[what](file)
    before = seen(tmp_path)
    with pytest.raises(InputError) as caught:
        write_whole(file, "new")
    (mistake,) = caught.value.mistakes
    assert str(mistake).startswith(f"{file}:1:1: ")
    assert what.split(" that")[0].removeprefix("a ") in mistake.says
    assert "nothing was written" in mistake.says
    assert seen(tmp_path) == before


def test_a_device_is_refused() -> None:
    # Its folder may be written to by whoever tests as root; so it is only checked.
    with pytest.raises(InputError, match=r"/dev/null:1:1: .*a device"):
        check_target(Path("/dev/null"))


@pytest.mark.parametrize("what", [name for name in SPECIAL if name != "a folder"])
def test_what_is_no_folder_is_refused_as_one_and_left(what: str, tmp_path: Path) -> None:
    folder = tmp_path / "evidence"
    SPECIAL[what](folder)
    before = seen(tmp_path)
    with pytest.raises(InputError, match="nothing was written"):
        write_whole_folder(folder, {"a": b"1"})
    assert seen(tmp_path) == before


def test_a_link_to_a_folder_is_not_replaced(tmp_path: Path) -> None:
    (tmp_path / "other").mkdir()
    (tmp_path / "evidence").symlink_to("other")
    with pytest.raises(InputError, match="a link"):
        write_whole_folder(tmp_path / "evidence", {"a": b"1"})
    assert (tmp_path / "evidence").is_symlink()
    assert list((tmp_path / "other").iterdir()) == []


def test_a_folder_may_be_reached_over_a_link(tmp_path: Path) -> None:
    (tmp_path / "there").mkdir()
    (tmp_path / "here").symlink_to("there")
    write_whole(tmp_path / "here" / "out.json", "new")
    assert (tmp_path / "there" / "out.json").read_text() == "new"


def test_of_several_files_none_is_written_where_one_may_not_be(tmp_path: Path) -> None:
    make_fifo(tmp_path / "b")
    with pytest.raises(InputError, match=r"b:1:1: .*pipe"):
        write_each_whole(tmp_path, {"a": "1", "b": "2"})
    assert [path.name for path in tmp_path.iterdir()] == ["b"]


@pytest.mark.parametrize(("mask", "mode"), [(0o022, 0o644), (0o077, 0o600), (0o002, 0o664)])
def test_new_files_are_as_private_as_the_user_wants(
    mask: int, mode: int, umask: Callable[[int], int], tmp_path: Path
) -> None:
    umask(mask)
    write_whole(tmp_path / "out.json", "new")
    write_whole_folder(tmp_path / "evidence", {"a": b"1"})
    assert mode_of(tmp_path / "out.json") == mode_of(tmp_path / "evidence" / "a") == mode
    assert mode_of(tmp_path / "evidence") == 0o777 & ~mask


def test_what_is_replaced_stays_as_private_as_it_was(
    umask: Callable[[int], int], tmp_path: Path
) -> None:
    umask(0o022)
    file, folder = tmp_path / "out.json", tmp_path / "evidence"
    file.write_text("old")
    file.chmod(0o600)
    folder.mkdir(mode=0o700)
    write_whole(file, "new")
    write_whole_folder(folder, {"a": b"1"})
    assert (mode_of(file), file.read_text()) == (0o600, "new")
    assert mode_of(folder) == 0o700


# Names beside a file or folder called NAME, each like a leftover of ours and none of them one.
FOREIGN = [
    ".NAME.backup.part",
    ".NAME.part",
    ".NAME.7.part",
    ".NAME.interlock-.part",
    ".NAME.interlock-7.part.bak",
    ".NAME.interlock-7x.part",
    ".NAME.interlock-²7.part",
    ".NAME.v2.interlock-7.part",
    ".NAMEs.interlock-999999999.part",
    "xNAME.interlock-999999999.part",
    "NAME.interlock-999999999.part",
]
NAMES = ["ramp", "ramp[1]", "r*", "r?mp", "[!x]amp", "**", "ramp.v1", ".hidden"]


@pytest.mark.parametrize("name", NAMES)
def test_nothing_of_others_is_removed_whatever_the_name(name: str, tmp_path: Path) -> None:
    around = {one.replace("NAME", other) for one in FOREIGN for other in (name, "rampe")}
    around |= {".ramp1.interlock-999999999.part", ".r.interlock-999999999.part"}
    around -= {f".{name}.interlock-999999999.part"}
    for one in around:
        (tmp_path / one).mkdir()
        (tmp_path / one / "kept").write_text("of somebody else")
    left = tmp_path / f".{name}.interlock-999999999.part"
    for target in (f"{name}", f"{name}.out"):
        (tmp_path / f".{target}.interlock-999999999.part").mkdir()
    write_whole_folder(tmp_path / name, {"a": b"1"})
    write_whole(tmp_path / f"{name}.out", "1")
    assert not left.exists()
    assert {path.name for path in tmp_path.iterdir()} == {*around, name, f"{name}.out"}
    assert all((tmp_path / one / "kept").is_file() for one in around)


def test_what_another_running_process_writes_is_left_to_it(tmp_path: Path) -> None:
    other = tmp_path / f".out.json.interlock-{os.getppid()}.part"
    other.write_text("half")
    write_whole(tmp_path / "out.json", "new")
    assert other.read_text() == "half"


def test_what_cannot_be_written_is_told_in_one_line(tmp_path: Path) -> None:
    (tmp_path / "file").write_text("")
    for file in (tmp_path / "file" / "out.json", tmp_path / ("x" * 300)):
        with pytest.raises(InputError, match=r":1:1: cannot be written: "):
            write_whole(file, "new")
        with pytest.raises(InputError, match=r":1:1: cannot be written: "):
            write_whole_folder(file, {"a": b"1"})
    assert [path.name for path in tmp_path.iterdir()] == ["file"]
