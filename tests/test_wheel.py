"""The wheel works without the repository."""

from __future__ import annotations

import os
import shutil
import subprocess
import sys
import zipfile
from pathlib import Path

import pytest


@pytest.mark.slow
def test_wheel_runs_the_demo_without_the_repository(root: Path, tmp_path: Path) -> None:
    # a copy, because setuptools packs what an earlier build left beside the sources
    source = tmp_path / "source"
    for folder in ("pipeline", "schemas", "data"):
        shutil.copytree(root / folder, source / folder, ignore=shutil.ignore_patterns("__pycache__"))
    for name in ("pyproject.toml", "README.md", "LICENSE"):
        shutil.copy(root / name, source)
    pip = [sys.executable, "-m", "pip"]
    subprocess.run([*pip, "wheel", str(source), "--no-deps", "--quiet", "--wheel-dir", str(tmp_path / "wheels")], check=True, cwd=tmp_path)
    (wheel,) = (tmp_path / "wheels").glob("rillbook-*.whl")
    unpacked = tmp_path / "unpacked"
    zipfile.ZipFile(wheel).extractall(unpacked)
    for folder, package in {"pipeline": "pipeline", "schemas": "schemas", "data": "rillbook_data"}.items():
        ours = {path.relative_to(root / folder) for path in (root / folder).rglob("*") if path.is_file() and path.suffix != ".pyc"}
        # what made the invented study stays in the repository
        ours = {path for path in ours if folder != "data" or path.suffix != ".py" or path == Path("__init__.py")}
        packed = {path.relative_to(unpacked / package) for path in (unpacked / package).rglob("*") if path.is_file()}
        assert ours == packed and len(ours) > 5, folder
    environment = {**os.environ, "PYTHONPATH": str(unpacked)}
    where = [
        sys.executable,
        "-c",
        "import pipeline, schemas, rillbook_data as data; print(pipeline.__file__, schemas.__file__, data.__file__)",
    ]
    found = subprocess.run(where, env=environment, cwd=tmp_path, check=True, capture_output=True, text=True).stdout
    assert found.count(str(unpacked)) == 3, "the repository was imported and not the wheel"
    for words in (["demo", "book"], ["init", "own"], ["sheets", "--book", "own"]):
        command = [sys.executable, "-m", "pipeline", *words]
        done = subprocess.run(command, env=environment, cwd=tmp_path, capture_output=True, text=True)
        assert done.returncode == 0, done.stdout + done.stderr
    for page in ("book/out/map.html", "own/out/private/form.html", "own/out/private/paper.html", "own/out/private/book.xlsx"):
        assert (tmp_path / page).exists(), page
