"""Sheets with bytes that are not as they were written: an error with a remedy or a check that accounts for every row; nothing else."""

from __future__ import annotations

import os
import random
from pathlib import Path

import pytest
from small_sheets import CASES, FINDS, SITES, TODAY, VISITS, sheets

from pipeline.commands import run
from pipeline.errors import RillbookError
from pipeline.intake.report import Report
from pipeline.reading import files as read

# 20,000 by one command: RILLBOOK_FULL=1 pytest tests/intake/test_fuzz.py
TRIES, CHECKED = (20_000, 1) if os.environ.get("RILLBOOK_FULL") else (100, 5)
ODD = (
    b"\x00",
    b'"',
    b",",
    b";",
    b"\r",
    b"\n",
    b"\xff\xfe",
    b"\xef\xbb\xbf",
    b"\xc3",
    b"1e999",
    b"nan",
    b"=1+1",
    b"\t" * 40,
    b"0x",
    b"-" * 300,
)


def spoilt(content: bytes, dice: random.Random) -> bytes:
    """The bytes of a file after one to four accidents."""
    raw = bytearray(content)
    for _ in range(dice.randint(1, 4)):
        at, kind = dice.randrange(len(raw) + 1), dice.randrange(5)
        if kind == 0 and raw:
            raw[at % len(raw)] = dice.randrange(256)
        elif kind == 1:
            raw[at:at] = dice.choice(ODD)
        elif kind == 2:
            del raw[at : at + dice.randint(1, 40)]
        elif kind == 3:
            del raw[at:]
        else:
            raw[at:at] = raw[: dice.randint(1, 200)]
    return bytes(raw)


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("fuzz") / "b"
    run.init(folder, (CASES / "base" / "rillbook.toml").read_text())
    return folder


def test_no_bytes_make_a_check_stumble_or_lose_a_row(folder: Path) -> None:
    dice, refused = random.Random(int(os.environ.get("RILLBOOK_SEED", "1"))), 0
    paths = sheets(folder, sites=SITES, visits=VISITS, finds=FINDS)
    whole = [path.read_bytes() for path in paths]
    for number in range(TRIES):
        which = dice.randrange(3)
        for path, content in zip(paths, whole, strict=True):
            path.write_bytes(content)
        paths[which].write_bytes(spoilt(whole[which], dice))
        said = f"{number}: {paths[which].name} {paths[which].read_bytes()!r}"
        try:
            rows = read.read_file(paths[which])
            assert all(len(one.cells) == len(one.lines) for one in rows), said
            if number % CHECKED:
                # reading is where bytes are met; the whole check of each would cost a minute
                continue
            report = run.check_files(folder, paths, today=TODAY)
        except RillbookError as problem:
            refused += 1
            assert problem.what and problem.remedy, said
            continue
        except Exception as problem:
            raise AssertionError(said) from problem
        if isinstance(report, Report) and report.account is not None:
            assert all(n >= 0 for n in report.account.rows.values()), said
            if report.exit_code == 0:
                assert report.account.rows["held"] == 0 and report.account.cells["held"] == 0, said
    assert 0 < refused < TRIES
