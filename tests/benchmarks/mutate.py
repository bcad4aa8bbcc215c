"""Break important lines one by one and see whether the test module of their name goes red: `python tests/benchmarks/mutate.py [WORD]`.

The list stands in `mutations.csv` beside this script (tab-separated): file, text as it stands, text that breaks it, test module. Each text
must stand once in its file; a line that was rewritten is told and must be listed anew. Works in a copy of the project and leaves this one
alone. With a word only the files whose path holds it are broken. What survives is mended by a test or stands in docs/decisions.md.
"""

from __future__ import annotations

import csv
import importlib
import os
import signal
import sys
import tempfile
import time
from pathlib import Path

import pytest
from project_copy import copied

LIST = Path(__file__).with_name("mutations.csv")
WAIT_S = 600
# Loaded once: each mutation runs in a fork of this process, which knows nothing of the project. There is no fork on Windows.
HEAVY = ("pandas", "pandera.pandas", "duckdb", "scipy.stats", "pyproj", "shapely", "hypothesis")


def mutations() -> list[dict[str, str]]:
    """Every line of the list: ``file``, ``old``, ``new``, ``test``."""
    with LIST.open(encoding="utf-8", newline="") as file:
        return list(csv.DictReader(file, delimiter="\t", quoting=csv.QUOTE_NONE))


def goes_red(folder: Path, test: str) -> tuple[bool, str]:
    """Whether a test module fails in the copy, and the last line of its report."""
    told = folder / "told.txt"
    child = os.fork()
    if not child:
        os.chdir(folder)
        sys.path.insert(0, str(folder))
        with told.open("w", encoding="utf-8") as report:
            os.dup2(report.fileno(), 1)
            os.dup2(report.fileno(), 2)
            code = pytest.main(["-x", "-q", "-p", "no:cacheprovider", "-m", "not browser and not slow and not open_data", test])
        os._exit(int(code))
    ends = time.monotonic() + WAIT_S
    while not (ended := os.waitpid(child, os.WNOHANG))[0]:
        if time.monotonic() > ends:
            os.kill(child, signal.SIGKILL)
            os.waitpid(child, 0)
            return True, "too slow"
        time.sleep(0.1)
    lines = [line for line in told.read_text(encoding="utf-8").splitlines() if line.strip()]
    code = os.waitstatus_to_exitcode(ended[1])
    assert code in (0, 1, 2), "\n".join(lines)
    return code != 0, lines[-1] if lines else ""


def main(word: str = "") -> int:
    """Break and tell; 1 if any survived."""
    chosen = [one for one in mutations() if word in one["file"]]
    sys.dont_write_bytecode = True
    os.environ["RILLBOOK_OPEN_DATA"] = "none"
    for heavy in HEAVY:
        importlib.import_module(heavy)
    survived = []
    with tempfile.TemporaryDirectory() as name:
        folder = copied(Path(name))
        for number, one in enumerate(chosen, 1):
            places = [folder / one["file"]]
            if one["file"].startswith("data/"):
                places.append(folder / one["file"].replace("data/", "rillbook_data/", 1))
            text = places[0].read_text(encoding="utf-8")
            if text.count(one["old"]) != 1:
                survived.append(one)
                print(f"{number:3} STALE     {one['file']}: {one['old']!r} stands {text.count(one['old'])} times", flush=True)
                continue
            for place in places:
                place.write_text(text.replace(one["old"], one["new"]), encoding="utf-8")
            began = time.monotonic()
            red, last = goes_red(folder, one["test"])
            for place in places:
                place.write_text(text, encoding="utf-8")
            if not red:
                survived.append(one)
            print(
                f"{number:3} {'dies' if red else 'SURVIVES'}  {time.monotonic() - began:4.0f} s  {one['file']}: {one['new']}  [{last}]",
                flush=True,
            )
    print(f"{len(chosen) - len(survived)} of {len(chosen)} die")
    return 1 if survived else 0


if __name__ == "__main__":
    sys.exit(main(*sys.argv[1:]))
