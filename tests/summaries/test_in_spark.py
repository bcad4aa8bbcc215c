"""PySpark in local mode gives what DuckDB gives, on 10⁶ irregular readings, in one session of one core."""

from __future__ import annotations

import shutil
import warnings
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import duckdb
import pytest
from conftest import absent
from summary_readings import asked, assert_same, made, write_parquet

from pipeline.errors import RillbookError
from pipeline.intake.report import silent
from pipeline.summaries.columns import INSTANT, REAL, TEXT
from pipeline.summaries.in_duckdb import in_parquet
from pipeline.summaries.in_spark import in_spark
from pipeline.summaries.reduce import reduce_readings

# one core, loopback alone, few parts, and no thorough compiling of what runs once
SETTINGS = {
    "spark.ui.enabled": "false", "spark.driver.bindAddress": "127.0.0.1", "spark.driver.host": "127.0.0.1", "spark.log.level": "ERROR",
    "spark.sql.shuffle.partitions": "1", "spark.sql.adaptive.enabled": "false", "spark.driver.memory": "1g",
    "spark.driver.extraJavaOptions": "-XX:TieredStopAtLevel=1 -XX:+UseSerialGC", "spark.sql.files.openCostInBytes": "0",
    "spark.sql.session.timeZone": "Asia/Tokyo",
}  # fmt: skip


@pytest.fixture(scope="module")
def session(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Any]:
    """A session as somebody else made it, in a zone of its own."""
    if shutil.which("java") is None:
        absent("No Java is installed.")
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        try:
            from pyspark.sql import SparkSession
        except ImportError:
            absent("PySpark is not installed.")
    builder = SparkSession.builder.master("local[1]")
    for name, value in {**SETTINGS, "spark.local.dir": str(tmp_path_factory.mktemp("spark"))}.items():
        builder = builder.config(name, value)
    made_here = builder.getOrCreate()
    yield made_here
    made_here.stop()


@pytest.mark.slow
def test_spark_gives_what_duckdb_gives(session: Any, tmp_path: Path) -> None:
    readings, doubt = made(1_000_000)
    write_parquet(readings, tmp_path / "in")
    with in_parquet(tmp_path / "in", tmp_path) as engine:
        reduce_readings(engine, asked(doubt), tmp_path / "one", silent)
    reduce_readings(in_spark(str(tmp_path / "in")), asked(doubt), tmp_path / "two", silent)
    assert_same(tmp_path / "one", tmp_path / "two")
    # the session's own views and settings are as they were
    assert session.conf.get("spark.sql.session.timeZone") == "Asia/Tokyo" and not session.catalog.listTables()


def put(path: Path, sql: str, options: str = "") -> str:
    with duckdb.connect() as connection:
        connection.execute(f"COPY ({sql}) TO '{path}' (FORMAT parquet{options})")
    return str(path)


ROWS = "SELECT 'L' AS logger_id, TIMESTAMP '2024-07-01 03:30' AS read_at, 10.0::DOUBLE AS temp_c"


def test_moments_are_utc_whatever_the_zone_of_the_session(session: Any, tmp_path: Path) -> None:
    without = ROWS.replace("'L'", "'M'")
    for place, sql in enumerate((without, ROWS.replace("TIMESTAMP '2024-07-01 03:30'", "TIMESTAMPTZ '2024-07-01 05:30+02'"))):
        engine = in_spark(put(tmp_path / f"{place}.parquet", sql))
        assert engine.kinds() == {"logger_id": TEXT, "read_at": INSTANT, "temp_c": REAL}
        engine.open()
        assert engine.rows("SELECT at_us FROM readings") == [(1_719_804_600_000_000,)]


def test_a_folder_that_spark_misreads_is_refused(session: Any, tmp_path: Path) -> None:
    put(tmp_path / "in", ROWS.replace("'L'", "'é5'"), ", PARTITION_BY (logger_id)")
    engine = in_spark(str(tmp_path / "in"))
    engine.kinds()
    with pytest.raises(RillbookError, match="misreads folders"):
        engine.open()


def test_what_spark_cannot_read_is_told_in_one_line(session: Any, tmp_path: Path) -> None:
    (tmp_path / "a.parquet").write_text("no Parquet")
    for path in (tmp_path / "nowhere", tmp_path / "a.parquet"):
        with pytest.raises(RillbookError, match="Spark cannot do this"):
            in_spark(str(path)).kinds()
