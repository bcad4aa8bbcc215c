"""PostgreSQL gives what DuckDB gives, on 10⁶ irregular readings, in a server of its own that only this test can reach."""

from __future__ import annotations

import os
import pwd
import shutil
import subprocess
import tempfile
import time
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import duckdb
import pandas as pd
import pytest
from conftest import absent
from summary_readings import asked, assert_same, made, write_parquet

from pipeline.errors import RillbookError
from pipeline.intake.report import silent
from pipeline.summaries.columns import OTHER
from pipeline.summaries.in_duckdb import in_parquet
from pipeline.summaries.in_postgresql import in_postgresql
from pipeline.summaries.reduce import Asked, reduce_readings

TABLE = "CREATE TABLE {name} (logger_id text, read_at {kind}, temp_c double precision)"


def programs() -> Path:
    """Folder of the server's programs, which Debian keeps off the path."""
    found = sorted(Path("/usr/lib/postgresql").glob("*/bin/initdb"), key=lambda path: float(path.parts[-3]))
    path = shutil.which("initdb") or (found[-1] if found else None)
    if path is None:
        absent("No PostgreSQL server is installed.")
    return Path(str(path)).resolve().parent


def other_user() -> dict[str, Any]:
    """As whom the server runs: it refuses to run as root."""
    if os.geteuid() != 0:
        return {}
    names = {entry.pw_name: entry for entry in pwd.getpwall()}
    user = names.get("postgres") or names["nobody"]
    return {"user": user.pw_uid, "group": user.pw_gid, "extra_groups": []}


@pytest.fixture(scope="module")
def server() -> Iterator[str]:
    """How to reach the server: a socket in a folder that is gone afterwards, and no port."""
    pytest.importorskip("psycopg") if "CI" not in os.environ else None
    bin_, who = programs(), other_user()
    folder = Path(tempfile.mkdtemp(prefix="rillbook_pg_"))
    try:
        if who:
            os.chown(folder, who["user"], who["group"])
        how = {**who, "cwd": folder, "check": True, "stdout": subprocess.DEVNULL}
        subprocess.run(
            [bin_ / "initdb", "-D", folder / "data", "-U", "rillbook", "--auth=trust", "--no-sync", "-E", "UTF8", "--locale=C"], **how
        )
        quick = [word for setting in ("fsync=off", "jit=off", "listen_addresses=", "max_wal_size=4GB") for word in ("-c", setting)]
        with (folder / "log").open("wb") as log:
            running = subprocess.Popen([bin_ / "postgres", "-D", folder / "data", "-k", folder, *quick], **who, cwd=folder, stderr=log)
        try:
            yield _reached(f"host={folder} user=rillbook dbname=postgres", running, folder)
        finally:
            # a fast end: what is still connected is cut off
            running.send_signal(2)
            running.wait(timeout=60)
    finally:
        shutil.rmtree(folder, ignore_errors=True)


def _reached(conninfo: str, running: subprocess.Popen[bytes], folder: Path) -> str:
    import psycopg

    until = time.monotonic() + 60
    while True:
        try:
            psycopg.connect(conninfo).close()
            return conninfo
        except psycopg.OperationalError:
            assert running.poll() is None and time.monotonic() < until, (folder / "log").read_text()
            time.sleep(0.1)


def fill(conninfo: str, name: str, rows: bytes, kind: str = "timestamptz") -> None:
    import psycopg

    with psycopg.connect(conninfo) as connection, connection.cursor() as cursor:
        cursor.execute(TABLE.format(name=name, kind=kind))
        with cursor.copy(f"COPY {name} FROM STDIN (FORMAT csv)") as copy:
            copy.write(rows)
        cursor.execute(f"ANALYZE {name}")


@pytest.mark.slow
def test_postgresql_gives_what_duckdb_gives(server: str, tmp_path: Path) -> None:
    readings, doubt = made(1_000_000)
    write_parquet(readings, tmp_path / "in")
    with in_parquet(tmp_path / "in", tmp_path) as engine:
        reduce_readings(engine, asked(doubt), tmp_path / "one", silent)
        rows = f"SELECT logger_id, strftime(read_at, '%Y-%m-%d %H:%M:%S.%fZ'), temp_c FROM {engine.source}"
        engine.connection.execute(f"COPY ({rows}) TO '{tmp_path}/rows.csv' (HEADER false)")
    fill(server, "readings_2024", (tmp_path / "rows.csv").read_bytes())
    with in_postgresql("public.readings_2024", tmp_path, server) as other:
        reduce_readings(other, asked(doubt), tmp_path / "two", silent)
    assert_same(tmp_path / "one", tmp_path / "two")


def test_nothing_of_the_database_is_changed_and_faults_are_told(server: str, tmp_path: Path) -> None:
    fill(server, "few", b"L,2024-07-01 03:30,10\nL,infinity,11\n", "timestamp")
    with in_postgresql("few", tmp_path, server) as engine:
        about = reduce_readings(engine, Asked("UTC", (18.0,)), tmp_path / "out", silent)
        assert about["readings"]["no_moment"] == 1 and about["first_at"] == "2024-07-01T03:30:00"
    with in_postgresql("few", tmp_path, server) as engine:
        assert engine.rows("SELECT count(*) FROM pg_class WHERE relname IN ('readings', 'series', 'suns')") == [(0,)]
    with in_postgresql("nowhere", tmp_path, server) as engine, pytest.raises(RillbookError, match="no such table"):
        engine.kinds()
    with in_postgresql("few; DROP TABLE few", tmp_path, server) as engine, pytest.raises(RillbookError, match="no such table"):
        engine.kinds()
    fill(server, "words", b"L,soon,10\n", "text")
    with in_postgresql("words", tmp_path, server) as engine:
        assert engine.kinds()["read_at"] not in (OTHER, "date and time")
        with pytest.raises(RillbookError, match="the column read_at is no date and time"):
            reduce_readings(engine, Asked("UTC", (18.0,)), tmp_path / "words", silent)
    with pytest.raises(RillbookError, match="no connection to PostgreSQL"), in_postgresql("few", tmp_path, f"host={tmp_path}"):
        pass
    assert not (tmp_path / "words").exists() and duckdb.sql(f"SELECT count(*) FROM '{tmp_path}/out/daily/*/*.parquet'").fetchall() == [(1,)]
    assert pd.read_json(tmp_path / "out" / "summaries.json", typ="series")["loggers"] == 1
