"""A book in one file and out of it again, row by row; nothing half, nothing that was changed on the way is taken."""

from __future__ import annotations

import json
import zipfile
from pathlib import Path

import pytest
from small_sheets import load, state

from pipeline.book.connection import FILE_NAME
from pipeline.commands import run
from pipeline.errors import RillbookError


def test_a_backup_comes_back_whole(folder: Path, tmp_path: Path) -> None:
    load(folder)
    (folder / "surveys").mkdir()
    (folder / "surveys" / "visit_1.json").write_text("{}")
    (folder / "published.json").write_text("kept")
    (folder / "surveys" / "elsewhere").symlink_to("/etc/hostname")
    file, rows = run.backup(folder)
    assert file.parent == tmp_path and file.name.startswith("b_") and rows["finds_all"] == 2
    assert run.restore(file, tmp_path / "new") == rows
    assert state(tmp_path / "new") == state(folder)
    assert sorted(path.relative_to(tmp_path / "new").as_posix() for path in (tmp_path / "new").rglob("*")) == [
        "published.json", "rillbook.duckdb", "rillbook.toml", "surveys", "surveys/visit_1.json"
    ]  # fmt: skip
    assert file.stat().st_mode & 0o077 == 0, "for its owner alone"
    with pytest.raises(RillbookError, match="such a file already"):
        run.backup(folder, file)
    with pytest.raises(RillbookError, match="such a folder already"):
        run.restore(file, folder)


def changed(file: Path, name: str, content: bytes) -> Path:
    """The backup with one file of it replaced."""
    other = file.with_name(f"{len([*file.parent.iterdir()])}.zip")
    with zipfile.ZipFile(file) as source, zipfile.ZipFile(other, "w") as target:
        for one in source.namelist():
            target.writestr(one, content if one == name else source.read(one))
    return other


def test_what_is_not_as_it_was_backed_up_is_not_restored(folder: Path, tmp_path: Path) -> None:
    load(folder)
    file, _ = run.backup(folder, tmp_path / "b.zip")
    with zipfile.ZipFile(file) as archive:
        said = json.loads(archive.read("backup.json"))
    fewer = {**said, "tables": {**said["tables"], "finds_all": [1, said["tables"]["finds_all"][1]]}}
    other_rows = {**said, "tables": {**said["tables"], "finds_all": [2, "7"]}}
    outside = {**said, "sha256": {**said["sha256"], "../out.txt": "0"}}
    (tmp_path / "cut.zip").write_bytes(file.read_bytes()[:-2000])
    (tmp_path / "letter.zip").write_text("a letter")
    for path, words in (
        (changed(file, "rillbook.toml", b"[book]\n"), "rillbook.toml in the backup is not as it was written"),
        (changed(file, "backup.json", json.dumps(fewer).encode()), "the rows of finds_all are not those"),
        (changed(file, "backup.json", json.dumps(other_rows).encode()), "the rows of finds_all are not those"),
        (changed(file, "backup.json", json.dumps(outside).encode()), "a file for another place"),
        (changed(file, "backup.json", b"{}"), "no backup of a book"),
        (tmp_path / "cut.zip", "no whole backup"),
        (tmp_path / "letter.zip", "no whole backup"),
        (tmp_path / "none.zip", "cannot be restored"),
    ):
        with pytest.raises(RillbookError, match=words):
            run.restore(path, tmp_path / "new")
        assert not (tmp_path / "new").exists()
    assert not [path for path in tmp_path.iterdir() if path.name.startswith(".")], "nothing half stays"


def test_a_damaged_book_is_not_backed_up(folder: Path, tmp_path: Path) -> None:
    load(folder)
    raw = bytearray((folder / FILE_NAME).read_bytes())
    raw[13000:13016] = bytes(byte ^ 0xFF for byte in raw[13000:13016])
    (folder / FILE_NAME).write_bytes(raw)
    with pytest.raises(RillbookError, match="damaged"):
        run.backup(folder, tmp_path / "b.zip")
    assert not (tmp_path / "b.zip").exists()


def test_a_book_without_a_load_has_nothing_to_back_up(folder: Path) -> None:
    with pytest.raises(RillbookError, match="nothing to back up"):
        run.backup(folder)
