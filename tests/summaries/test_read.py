"""The reduced tables read again, and folders that are refused."""

from __future__ import annotations

import json
import shutil
from pathlib import Path

import duckdb
import pytest

from pipeline.errors import RillbookError
from pipeline.intake.report import silent
from pipeline.settings.limits import judgement
from pipeline.summaries.in_duckdb import in_parquet
from pipeline.summaries.read import digest, read_about, read_summaries
from pipeline.summaries.reduce import ABOUT, Asked, reduce_readings
from schemas.frames.summaries import SUMMARIES

ZONE, LINE = "America/New_York", 18.0
ROWS = "SELECT 'L' AS logger_id, TIMESTAMP '2024-07-01' + to_hours(i::INT) AS read_at, 10.0 + i % 3 AS temp_c FROM range(100) t(i)"


@pytest.fixture(scope="module")
def made(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Tables of a logger that was never above the line, and without a place."""
    folder = tmp_path_factory.mktemp("made")
    duckdb.sql(f"COPY ({ROWS}) TO '{folder}/in.parquet'")
    with in_parquet(folder / "in.parquet", folder) as engine:
        reduce_readings(engine, Asked(ZONE, (LINE,)), folder / "out", silent)
    return folder / "out"


@pytest.fixture
def folder(made: Path, tmp_path: Path) -> Path:
    return Path(shutil.copytree(made, tmp_path / "out"))


def test_tables_come_back_as_they_are_declared(made: Path) -> None:
    tables = read_summaries(made, SUMMARIES)
    assert {name: len(frame) for name, frame in tables.items()} == {"hourly": 100, "daily": 5, "excursions": 0, "nights": 0}
    assert all(list(frame.columns) == list(SUMMARIES[name].to_schema().columns) for name, frame in tables.items())
    assert tables["daily"]["n"].tolist() == [4, 24, 24, 24, 24] and tables["daily"]["step_s"].tolist() == [3600.0] * 5
    assert read_about(made, ZONE, LINE)["readings"]["counted"] == 100


@pytest.mark.parametrize(
    ("change", "said"),
    [
        ({"time_zone": "Asia/Tokyo"}, r"the days of these tables are those of Asia/Tokyo, the book's those of America/New_York"),
        ({"lines_c": [17.0]}, r"the passing of 18 °C was not timed. .*--line 18"),
        ({"gap_steps": judgement("logger_gap_steps") + 1}, "another rule of gaps"),
        ({"gap_steps": None}, "another rule of gaps"),
        ({"lines_c": None}, "no summaries.json that can be read"),
    ],
)
def test_what_was_reduced_by_other_rules_is_refused(change: dict[str, object], said: str, folder: Path) -> None:
    (folder / ABOUT).write_text(json.dumps(json.loads((folder / ABOUT).read_text()) | change))
    with pytest.raises(RillbookError, match=said):
        read_about(folder, ZONE, LINE)


@pytest.mark.parametrize("text", ["", "[]", "{}", "\xff"])
def test_a_folder_of_something_else_is_refused(text: str, folder: Path) -> None:
    (folder / ABOUT).write_bytes(text.encode("latin-1"))
    with pytest.raises(RillbookError, match=r"no summaries.json that can be read"):
        read_about(folder, ZONE, LINE)


def test_a_table_that_is_missing_cut_or_doubled_is_refused(folder: Path) -> None:
    before = digest(folder)
    (part,) = (folder / "daily").rglob("*.parquet")
    whole = part.read_bytes()
    (part.parent / "again.parquet").write_bytes(whole)
    assert digest(folder) != before
    with pytest.raises(RillbookError, match="the table daily has two rows of L 2024-06-30"):
        read_summaries(folder, ["daily"])
    (part.parent / "again.parquet").unlink()
    part.write_bytes(whole[: len(whole) // 2])
    with pytest.raises(RillbookError, match="the table daily cannot be read"):
        read_summaries(folder, ["daily"])
    duckdb.sql(f"COPY (SELECT 'L' AS logger_id, DATE '2024-07-01' AS day) TO '{part}' (FORMAT parquet)")
    with pytest.raises(RillbookError, match="the table daily cannot be read"):
        read_summaries(folder, ["daily"])
    shutil.rmtree(folder / "daily")
    with pytest.raises(RillbookError, match="the table daily is missing"):
        read_summaries(folder, ["daily"])
    assert read_summaries(folder, ["nights"])["nights"].empty
