"""Pandera loads no PySpark with it, and leaves PySpark to whoever wants it."""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

CODE = """
import sys
sys.path[:0] = sys.argv[1:]
from schemas.frames.frame import columns_of
from schemas.frames.summaries import DailySummary
columns_of(DailySummary)
assert "pyspark" not in sys.modules
import pyspark.pandas
"""


def test_pyspark_stays_out_until_it_is_asked_for(root: Path, tmp_path: Path) -> None:
    """A stand-in for PySpark tells when it is loaded: once, at the end, when the program itself asks for it."""
    (tmp_path / "pyspark" / "pandas").mkdir(parents=True)
    (tmp_path / "pyspark" / "__init__.py").write_text("print('loaded')\n")
    (tmp_path / "pyspark" / "pandas" / "__init__.py").touch()
    done = subprocess.run([sys.executable, "-c", CODE, str(tmp_path), str(root)], capture_output=True, text=True, check=False)
    assert (done.returncode, done.stdout, done.stderr) == (0, "loaded\n", "")
