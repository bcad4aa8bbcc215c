"""Whether two states of the project write the same files: `python tests/benchmarks/same_outputs.py REVISION [FOLDER]`.

Both run the invented study and, where `RILLBOOK_OPEN_DATA` names the folder of real sheets, each of these: load, targets, cards, care
sheets, maps and gaps (and the study all the rest). Every file under `out/` is compared, archives file by file. What differs between any two
runs is made the same before: both run on the same day and protect with the same key; names of loads and moments of writing are replaced.
Tells each file that differs with its first difference, keeps both sets of outputs where a folder is given, and ends with 0 if all are the
same.
"""

from __future__ import annotations

import hashlib
import io
import os
import re
import secrets
import subprocess
import sys
import tarfile
import tempfile
import time
import zipfile
from collections.abc import Iterator
from pathlib import Path
from unittest.mock import patch

from project_copy import ROOT, copied

HERE = Path(__file__).resolve()
PASSING = (
    (rb"[0-9a-f]{8}-[0-9a-f]{4}-[0-9a-f]{4}-[0-9a-f]{4}-[0-9a-f]{12}", b"UUID"),
    (rb"\b\d{4}-?\d\d-?\d\d[T ]\d\d:?\d\d:?\d\d(\.\d+)?(Z|\+00:00)?", b"MOMENT"),
)
SHOWN = 160
DAY = 1_800_000_000.0
"""Seconds since 1970: 15 January 2027, after everything in the study."""


def make(folder: Path) -> None:
    """Write all outputs below a folder, with the modules of the present folder."""
    from pipeline.settings import data_file

    assert Path(str(data_file("demo"))).resolve().is_relative_to(Path.cwd().resolve()), "the data of another state"
    # `date.today` asks `time.time`; the key of the protection is all that is drawn
    with patch.object(time, "time", lambda: DAY), patch.object(secrets, "token_bytes", bytes):
        _write_all(folder)


def _write_all(folder: Path) -> None:
    from pipeline.commands import run
    from pipeline.commands.demo import run_demo

    run_demo(folder / "demo")
    open_data = os.environ.get("RILLBOOK_OPEN_DATA", "none")
    if open_data != "none":
        from tests.real_data_tables import SHEETS, TODAY, load

        for name in SHEETS:
            one = load(name, Path(open_data), folder / name)
            run.write_cards(one.folder, one.derived)
            run.write_care_sheets(one.folder, one.derived)
            run.write_maps(one.folder)
            run.write_gaps(one.folder, today=TODAY)


def outputs(folder: Path) -> Iterator[tuple[str, bytes]]:
    """Name and content of every output, those in an archive by its name and theirs."""
    for path in sorted(folder.glob("*/out/**/*")):
        if path.is_file():
            yield from _unpacked(path.relative_to(folder).as_posix(), path.read_bytes())


def _unpacked(name: str, content: bytes) -> Iterator[tuple[str, bytes]]:
    if zipfile.is_zipfile(io.BytesIO(content)):
        with zipfile.ZipFile(io.BytesIO(content)) as archive:
            for inner in sorted(archive.namelist()):
                yield from _unpacked(f"{name}/{inner}", archive.read(inner))
        return
    for pattern, word in PASSING:
        content = re.sub(pattern, word, content)
    yield name, content


def differences(old: Path, new: Path) -> list[str]:
    """A line a file that is missing, new or not the same."""
    before, after = dict(outputs(old)), dict(outputs(new))
    print(f"{len(before)} files before, {len(after)} now, {len(before.keys() & after.keys())} of the same name")
    told = [f"gone      {name}" for name in before.keys() - after.keys()] + [f"new       {name}" for name in after.keys() - before.keys()]
    for name in sorted(before.keys() & after.keys()):
        if hashlib.sha256(before[name]).digest() != hashlib.sha256(after[name]).digest():
            told.append(f"differs   {name}: {_first(before[name], after[name])}")
    return told


def _first(one: bytes, other: bytes) -> str:
    at = next((place for place, (a, b) in enumerate(zip(one, other, strict=False)) if a != b), min(len(one), len(other)))
    near = slice(max(0, at - SHOWN // 2), at + SHOWN // 2)
    return f"byte {at}\n    - {one[near]!r}\n    + {other[near]!r}"


def main(revision: str, keep: str = "") -> int:
    """Run both states one after the other and compare; 1 where something differs."""
    with tempfile.TemporaryDirectory() as name:
        base = Path(keep or name).resolve()
        packed = subprocess.run(["git", "archive", revision], cwd=ROOT, check=True, capture_output=True).stdout
        with tarfile.open(fileobj=io.BytesIO(packed)) as archive:
            archive.extractall(base / "before", filter="data")
        for side, root in (("old", copied(base / "old_tree", base / "before")), ("new", copied(base / "new_tree"))):
            told = {**os.environ, "PYTHONPATH": str(root), "PYTHONDONTWRITEBYTECODE": "1"}
            subprocess.run([sys.executable, str(HERE), "--make", str(base / side)], cwd=root, env=told, check=True)
        found = differences(base / "old", base / "new")
    print("\n".join(found) or "all the same")
    return 1 if found else 0


if __name__ == "__main__":
    if sys.argv[1] == "--make":
        make(Path(sys.argv[2]))
    else:
        sys.exit(main(*sys.argv[1:]))
