"""Readings reduced by Apache Spark, where Parquet files lie; the door to PySpark (extra `spark`)."""

from __future__ import annotations

import re
import warnings
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import pandas as pd

from pipeline.errors import RillbookError
from pipeline.summaries.columns import INSTANT, OTHER, PARTED_BY, REAL, TEXT, WHOLE, shown_sql

WHOLES = ("tinyint", "smallint", "int", "bigint")
DAY_NUMBER = "date_from_unix_date(CAST({us} DIV 86400000000 AS INT))"
# a folder such as logger_id=007 must not become the number 7; a moment without a zone is in UTC, wherever the computer stands
MISREAD = re.compile(r"/logger_id=[^/]*%25[89A-F]", re.IGNORECASE)
SETTINGS = {"spark.sql.session.timeZone": "UTC", "spark.sql.sources.partitionColumnTypeInference.enabled": "false"}


class InSpark:
    """Adapter; see `columns.Engine`.

    Parameters
    ----------
    session : SparkSession
        The user's own; its settings and views are left as they are.
    source : str
        Folder of Parquet files, or the address of one that this Spark can read.
    """

    dialect = "pyspark"

    def __init__(self, session: Any, source: str) -> None:
        self.session, self.where = session.newSession(), _address(source)
        self.notes: list[str] = []
        self.found: Any = None
        for name, value in SETTINGS.items():
            self.session.conf.set(name, value)

    def kinds(self) -> dict[str, str]:
        """Columns of the readings."""
        with self._told():
            self.found = self.session.read.option("mergeSchema", "true").parquet(self.where)
            return {name: _kind(kind) for name, kind in self.found.dtypes}

    def open(self) -> None:
        """Make them known."""
        with self._told():
            if any(MISREAD.search(file) for file in self.found.inputFiles()):
                # it takes each byte of an é for a letter
                remedy = "Write logger_id as a column of the files, or name the folders without such letters."
                raise RillbookError("Spark misreads folders that name a logger by other letters than A to Z.", remedy, self.where)
            self.found.createOrReplaceTempView("source_of_readings")
            self.session.sql(
                "SELECT CAST(logger_id AS STRING) AS logger_id, unix_micros(CAST(read_at AS TIMESTAMP)) AS at_us,"
                " CAST(temp_c AS DOUBLE) AS temp_c FROM source_of_readings"
            ).createOrReplaceTempView("readings")

    def put(self, name: str, frame: pd.DataFrame) -> None:
        """Make a frame a table."""
        kinds = ", ".join(f"`{column}` {'BIGINT' if frame[column].dtype == 'int64' else 'STRING'}" for column in frame.columns)
        with self._told():
            made = self.session.createDataFrame([tuple(row) for row in frame.astype("object").to_numpy().tolist()], kinds)
            made.createOrReplaceTempView(name)

    def keep(self, name: str, sql: str) -> None:
        """Make an answer a table."""
        with self._told():
            self.session.sql(sql).cache().createOrReplaceTempView(name)

    def rows(self, sql: str) -> list[tuple[Any, ...]]:
        """Answer a question."""
        with self._told():
            return [tuple(row) for row in self.session.sql(sql).collect()]

    def write(self, table: str, sql: str, folder: str) -> None:
        """Write a table; its rows are in no order."""
        moment = "CAST(timestamp_micros({us}) AS TIMESTAMP_NTZ)"
        shown = shown_sql(table, sql, lambda us: moment.format(us=us), lambda us: DAY_NUMBER.format(us=us), "`")
        with self._told():
            self.session.sql(shown).write.mode("overwrite").partitionBy(PARTED_BY).parquet(_address(folder))

    @contextmanager
    def _told(self) -> Iterator[None]:
        from py4j.protocol import Py4JError
        from pyspark.errors import PySparkException

        try:
            yield
        except (PySparkException, Py4JError) as problem:
            first = (str(problem).splitlines() or [""])[0]
            raise RillbookError(f"Spark cannot do this ({first}).", "Are the files Parquet, and can Spark read them?", self.where) from None


def in_spark(source: str) -> InSpark:
    """Readings in Parquet files, in the session that is running, or in a new one as Spark's own settings say.

    Raises
    ------
    RillbookError
        PySpark is not installed, or Spark does not start.
    """
    try:
        with warnings.catch_warnings():
            # of its own copy of pandas, which is not used here
            warnings.simplefilter("ignore", FutureWarning)
            from pyspark.errors import PySparkException
            from pyspark.sql import SparkSession
    except ImportError:
        raise RillbookError("PySpark is not installed.", "Install rillbook with the extra spark: pip install '.[spark]'.") from None
    builder = SparkSession.builder.appName("rillbook").config("spark.log.level", "ERROR").config("spark.ui.showConsoleProgress", "false")
    try:
        session = builder.getOrCreate()
    except (PySparkException, OSError, RuntimeError) as problem:
        first = (str(problem).splitlines() or [""])[0]
        raise RillbookError(f"Spark does not start ({first}).", "It needs Java; `java -version` says which is there.") from None
    return InSpark(session, source)


def _address(path: str) -> str:
    return path if "://" in path else Path(path).resolve().as_uri()


def _kind(kind: str) -> str:
    if kind == "string":
        return TEXT
    if kind in WHOLES:
        return WHOLE
    if kind in ("double", "float") or kind.startswith("decimal"):
        return REAL
    return INSTANT if kind.startswith("timestamp") else OTHER
