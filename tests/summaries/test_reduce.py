"""What a reduction refuses, and that its folder is there whole or not at all."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import duckdb
import pandas as pd
import pytest

from pipeline.errors import RillbookError
from pipeline.intake.report import silent
from pipeline.summaries.in_duckdb import InDuckDB, in_parquet
from pipeline.summaries.reduce import Asked, reduce_readings

ROWS = "SELECT 'L' AS logger_id, TIMESTAMP '2024-07-01' + to_hours(i::INT) AS read_at, 10.0 + i % 3 AS temp_c FROM range(50) t(i)"
NEW_YORK = Asked("America/New_York", (11.5, 10.5))


def reduced(sql: str, folder: Path, asked: Asked = NEW_YORK) -> dict[str, Any]:
    with duckdb.connect() as connection:
        connection.execute(f"CREATE TABLE source AS {sql}")
        return reduce_readings(InDuckDB(connection, "source", "source"), asked, folder, silent)


def test_what_was_done_stands_beside_the_tables(tmp_path: Path) -> None:
    places = pd.DataFrame({"logger_id": ["L", "K"], "latitude": [40.0, 1.0], "longitude": [-75.0, 1.0]})
    doubt = pd.DataFrame({"logger_id": ["L"], "from_at": [pd.Timestamp("2024-07-02 00:30")], "to_at": [pd.Timestamp("2024-07-02 02:00")]})
    about = reduced(ROWS, tmp_path / "new" / "out", Asked("America/New_York", (11.5, 10.5), places, doubt))
    assert about == json.loads((tmp_path / "new" / "out" / "summaries.json").read_text())
    assert about == {
        "readings": {"rows": 50, "no_logger": 0, "no_moment": 0, "no_value": 0, "not_possible": 0, "in_doubt": 2, "counted": 48},
        "loggers": 1, "without_place": [], "time_zone": "America/New_York", "lines_c": [11.5, 10.5], "gap_steps": 2.0,
        "first_at": "2024-07-01T00:00:00", "last_at": "2024-07-03T01:00:00",
    }  # fmt: skip
    assert sorted(path.name for path in (tmp_path / "new").rglob("*") if path.parent.name in ("new", "out")) == [
        "daily", "excursions", "hourly", "nights", "out", "summaries.json",
    ]  # fmt: skip
    lines = duckdb.sql(f"SELECT line_c, count(*) FROM '{tmp_path}/new/out/excursions/*/*.parquet' GROUP BY ALL ORDER BY ALL").fetchall()
    assert [line for line, _ in lines] == [10.5, 11.5]


@pytest.mark.parametrize(
    ("sql", "said"),
    [
        (f"SELECT logger_id, read_at FROM ({ROWS})", "no column temp_c"),
        (f"SELECT * REPLACE (read_at::VARCHAR AS read_at) FROM ({ROWS})", "read_at is no date and time"),
        (f"SELECT * FROM ({ROWS}) WHERE temp_c > 99", r"no reading counts \(there are none\)"),
        (f"SELECT * REPLACE (NULL::DOUBLE AS temp_c) FROM ({ROWS})", r"no reading counts \(50 no_value\)"),
        (f"SELECT * REPLACE (200.0 AS temp_c) FROM ({ROWS})", r"no reading counts \(50 not_possible\)"),
        (f"FROM ({ROWS}) UNION ALL SELECT 'L', TIMESTAMP '2024-07-01', 4", "two readings of one moment: L. Settle"),
        (
            " UNION ALL ".join(f"SELECT '{name}' AS logger_id, TIMESTAMP '2024-07-01' AS read_at, 4.0 AS temp_c" for name in "ABCDEABCDE"),
            "two readings of one moment: A, B, C and 2 more",
        ),
    ],
)
def test_what_cannot_be_reduced_is_refused_and_nothing_is_written(sql: str, said: str, tmp_path: Path) -> None:
    with pytest.raises(RillbookError, match=said):
        reduced(sql, tmp_path / "out")
    assert not list(tmp_path.iterdir())


def test_a_folder_that_is_there_is_left_alone(tmp_path: Path) -> None:
    (tmp_path / "out").mkdir()
    with pytest.raises(RillbookError, match="there already"):
        reduced(ROWS, tmp_path / "out")
    (tmp_path / "link").symlink_to(tmp_path / "nowhere")
    with pytest.raises(RillbookError, match="there already"):
        reduced(ROWS, tmp_path / "link")
    (tmp_path / "file").touch()
    with pytest.raises(RillbookError, match="cannot be written"):
        reduced(ROWS, tmp_path / "file" / "out")


def test_an_end_half_way_leaves_no_folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    written = InDuckDB.write

    def stop(self: InDuckDB, table: str, sql: str, folder: str) -> None:
        if table == "nights":
            raise KeyboardInterrupt
        written(self, table, sql, folder)

    monkeypatch.setattr(InDuckDB, "write", stop)
    with pytest.raises(KeyboardInterrupt):
        reduced(ROWS, tmp_path / "out")
    assert not list(tmp_path.iterdir())


def test_what_comes_out_is_parquet_that_goes_in_again(tmp_path: Path) -> None:
    """Hourly means, renamed, are readings again: the day's mean of 24 of them is theirs."""
    reduced(ROWS, tmp_path / "out")
    again = f"SELECT logger_id, hour_at AS read_at, mean_c AS temp_c FROM '{tmp_path}/out/hourly/*/*.parquet'"
    duckdb.sql(f"COPY ({again}) TO '{tmp_path}/hours.parquet'")
    with in_parquet(tmp_path / "hours.parquet", tmp_path) as engine:
        reduce_readings(engine, NEW_YORK, tmp_path / "again", silent)
    one, two = (duckdb.sql(f"FROM '{tmp_path}/{name}/daily/*/*.parquet' ORDER BY ALL").fetchall() for name in ("out", "again"))
    assert one == two
