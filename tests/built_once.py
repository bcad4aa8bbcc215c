"""Books that take long to build, built once for all workers of a test run."""

from __future__ import annotations

import os
import pickle
import time
from collections.abc import Callable
from pathlib import Path
from typing import TypeVar

import pytest

LONGEST_WAIT_S = 900
T = TypeVar("T")


def built_once(tmp_path_factory: pytest.TempPathFactory, name: str, build: Callable[[Path], T]) -> tuple[Path, T]:
    """Folder of a book and what its building returned; the first worker that asks builds it, the others wait.

    Parameters
    ----------
    name : str
        What is built, one word; the same for all who want the same.
    build : callable
        From a folder that does not exist yet to anything that can be pickled.

    Returns
    -------
    folder : Path
        For all workers: copy it, never open it.
    result : what `build` returned
    """
    base = tmp_path_factory.getbasetemp()
    place = (base.parent if "PYTEST_XDIST_WORKER" in os.environ else base) / f"built_{name}"
    result, failed = place / "result.pickle", place / "failed"
    try:
        place.mkdir()
    except FileExistsError:
        until = time.monotonic() + LONGEST_WAIT_S
        while not result.exists():
            assert not failed.exists(), f"{name} could not be built; see the first test that asked for it"
            assert time.monotonic() < until, f"{name} was not built within {LONGEST_WAIT_S} s"
            time.sleep(0.2)
    else:
        try:
            written = pickle.dumps(build(place / "book"))
        except BaseException:
            failed.touch()
            raise
        # a name appears only when the file under it is whole
        (place / "whole").write_bytes(written)
        (place / "whole").rename(result)
    return place / "book", pickle.loads(result.read_bytes())
