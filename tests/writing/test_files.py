"""A set of files is whole or absent, private where it must be, and follows no link."""

from __future__ import annotations

import errno
import os
import stat
from pathlib import Path

import pytest

from pipeline.errors import RillbookError
from pipeline.writing.files import private_folder, write_files


def mode(path: Path) -> int:
    return stat.S_IMODE(path.stat().st_mode)


def test_texts_and_bytes_are_written_and_old_ones_taken_away(tmp_path: Path):
    old, text, data = tmp_path / "old.svg", tmp_path / "a" / "page.html", tmp_path / "a" / "map.png"
    old.write_text("of yesterday", encoding="utf-8")
    assert write_files({text: "12 °C\n", data: b"\x89", old: None}, "the map") == [text, data]
    assert text.read_bytes() == "12 °C\n".encode() and data.read_bytes() == b"\x89" and not old.exists()
    assert sorted(path.name for path in text.parent.iterdir()) == ["map.png", "page.html"]


@pytest.mark.parametrize("umask", [0o000, 0o022, 0o077])
def test_private_files_are_for_their_owner_alone_whatever_the_umask(tmp_path: Path, umask: int):
    kept = os.umask(umask)
    try:
        write_files({private_folder(tmp_path) / "map_exact.html": "x", tmp_path / "out" / "map.html": "x"}, "the map")
    finally:
        os.umask(kept)
    assert mode(tmp_path / "out" / "private") == 0o700
    assert mode(tmp_path / "out" / "private" / "map_exact.html") == 0o600
    assert mode(tmp_path / "out" / "map.html") == 0o666 & ~umask


def test_a_full_disk_in_the_middle_leaves_all_as_it_was(tmp_path: Path, monkeypatch: pytest.MonkeyPatch):
    one, two = tmp_path / "one.html", tmp_path / "two.html"
    write_files({one: "old", two: "old"}, "the pages")
    synced = []

    def full(number: int) -> None:
        synced.append(number)
        if len(synced) == 2:
            raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))

    monkeypatch.setattr(os, "fsync", full)
    with pytest.raises(RillbookError, match=r"the pages cannot be written \(the disk is full\).*Free some space"):
        write_files({one: "new", two: "new"}, "the pages")
    assert one.read_text() == two.read_text() == "old"
    assert sorted(path.name for path in tmp_path.iterdir()) == ["one.html", "two.html"]


def test_a_link_is_replaced_and_not_followed(tmp_path: Path):
    elsewhere = tmp_path / "elsewhere.txt"
    elsewhere.write_text("mine", encoding="utf-8")
    link = tmp_path / "out" / "targets.csv"
    link.parent.mkdir()
    link.symlink_to(elsewhere)
    write_files({link: "new"}, "the targets")
    assert elsewhere.read_text() == "mine" and link.read_text() == "new" and not link.is_symlink()


def test_a_folder_that_is_a_link_is_refused(tmp_path: Path):
    (tmp_path / "there").mkdir()
    (tmp_path / "out").symlink_to(tmp_path / "there")
    with pytest.raises(RillbookError, match="link to another place"):
        write_files({tmp_path / "out" / "map.html": "x"}, "the map")
    assert not list((tmp_path / "there").iterdir())
