"""A copy of the project, to be broken or run while this one is left alone."""

from __future__ import annotations

import shutil
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
PARTS = ("pipeline", "schemas", "data", "tests", "docs", "pyproject.toml", "README.md", "LICENSE", "DEVELOPERS.md")


def copied(folder: Path, root: Path = ROOT) -> Path:
    """Copy the project into a folder; `rillbook_data` leads to the copy's own data."""
    for name in PARTS:
        source = root / name
        if source.is_dir():
            shutil.copytree(source, folder / name, ignore=shutil.ignore_patterns("__pycache__"))
        elif source.exists():
            folder.mkdir(parents=True, exist_ok=True)
            shutil.copy2(source, folder / name)
    shutil.copytree(root / "data", folder / "rillbook_data", ignore=shutil.ignore_patterns("__pycache__"))
    (folder / "rillbook_data" / "__init__.py").touch()
    return folder
