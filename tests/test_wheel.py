"""The wheel works without the repository."""

from __future__ import annotations

import os
import subprocess
import sys
import zipfile
from pathlib import Path

import pytest


@pytest.mark.slow
def test_wheel_runs_the_demo_without_the_repository(root: Path, tmp_path: Path) -> None:
    pip = [sys.executable, "-m", "pip"]
    subprocess.run([*pip, "wheel", str(root), "--no-deps", "--quiet", "--wheel-dir", str(tmp_path / "wheels")], check=True, cwd=tmp_path)
    (wheel,) = (tmp_path / "wheels").glob("rillbook-*.whl")
    unpacked = tmp_path / "unpacked"
    zipfile.ZipFile(wheel).extractall(unpacked)
    names = {path.name for path in unpacked.rglob("*")}
    assert {"care_sheet.html", "life_stage.csv", "limits.csv", "finds.csv", "ncr_lotic_2005_2017.toml"} <= names
    environment = {**os.environ, "PYTHONPATH": str(unpacked)}
    where = [
        sys.executable,
        "-c",
        "import pipeline, schemas, rillbook_data as data; print(pipeline.__file__, schemas.__file__, data.__file__)",
    ]
    found = subprocess.run(where, env=environment, cwd=tmp_path, check=True, capture_output=True, text=True).stdout
    assert found.count(str(unpacked)) == 3, "the repository was imported and not the wheel"
    done = subprocess.run([sys.executable, "-m", "pipeline", "demo", "book"], env=environment, cwd=tmp_path, capture_output=True, text=True)
    assert done.returncode == 0, done.stdout + done.stderr
    assert (tmp_path / "book" / "out" / "map.html").exists()
