"""`rillbook summaries` as a person runs it: the book's own readings, Parquet from elsewhere, and what it refuses."""

from __future__ import annotations

import json
from pathlib import Path

import duckdb
import pytest
import reduced_by_pandas as by_pandas
from typer.testing import CliRunner

from pipeline.book.connection import open_book
from pipeline.book.current import current_rows
from pipeline.book.standards import read_under, standards_of
from pipeline.cli import app
from pipeline.commands import run
from pipeline.errors import RillbookError
from pipeline.settings import read_settings

ROWS = "SELECT 'far' AS logger_id, TIMESTAMP '2024-07-01' + to_minutes(30 * i::INT) AS read_at, 15.0 + i % 5 AS temp_c FROM range(200) t(i)"


@pytest.fixture
def book(tmp_path: Path) -> Path:
    """A book in which nothing is yet."""
    (tmp_path / "book").mkdir()
    (tmp_path / "book" / "rillbook.toml").write_bytes((Path(__file__).parents[1] / "cases" / "base" / "rillbook.toml").read_bytes())
    return tmp_path / "book"


def test_the_books_own_readings_give_the_nights_of_a_sun_for_each_reading(book: Path, tmp_path: Path) -> None:
    sites = Path(__file__).parents[1] / "cases" / "base" / "sites.csv"
    site = duckdb.sql(f"SELECT site_id FROM '{sites}' WHERE latitude IS NOT NULL LIMIT 1").fetchall()[0][0]
    (book / "loggers.csv").write_text(f"logger_id,site_id,medium\nL1,{site},water\n")
    run.load_files(book, [sites, book / "loggers.csv"])
    wave = ROWS.replace("'far'", "'L1'").replace("range(200)", "range(2000)")
    with open_book(book, write=True) as connection:
        connection.execute(
            "INSERT INTO logger_readings_all (load_id, source, line, logger_id, read_at, temp_c)"
            f" SELECT 1, 0, row_number() OVER (), * FROM ({wave})"
        )
    out = tmp_path / "out"
    about = json.loads(CliRunner().invoke(app, ["summaries", str(out), "--book", str(book), "--json"]).stdout)
    assert (about["readings"]["rows"], about["readings"]["counted"], about["without_place"]) == (2000, 2000, [])
    with open_book(book) as connection:
        kept = connection.execute("SELECT logger_id, read_at, temp_c FROM logger_readings").df()
        places = current_rows(connection, "loggers").merge(current_rows(connection, "sites"), on="site_id")
    wanted = by_pandas.nights(kept, places, read_settings(book).time_zone)
    nights = duckdb.sql(f"FROM '{out}/nights/*/*.parquet'").df()
    assert len(nights) == len(wanted) > 30
    assert nights.sort_values("day")["night_drop"].tolist() == pytest.approx(wanted["night_drop"].tolist(), abs=1e-9)
    # local days of another zone rest on marks of that zone: the book is brought to it first
    (book / "rillbook.toml").write_text((book / "rillbook.toml").read_text().replace("America/New_York", "Pacific/Honolulu"))
    run.write_summaries(book, tmp_path / "other")
    with open_book(book) as connection:
        assert read_under(connection) == standards_of(read_settings(book))


def test_parquet_from_elsewhere_with_stretches_left_out(book: Path, tmp_path: Path) -> None:
    (tmp_path / "in").mkdir()
    duckdb.sql(f"COPY ({ROWS}) TO '{tmp_path}/in/a.parquet'")
    (tmp_path / "doubt.csv").write_text("logger_id,from_at,to_at\nfar,2024-07-01 00:30,2024-07-01T01:30:00Z\n")
    words = ["--readings", str(tmp_path / "in"), "--line", "17.5", "--line", "16", "--leave-out", str(tmp_path / "doubt.csv")]
    done = CliRunner().invoke(app, ["summaries", str(tmp_path / "out"), *words, "--book", str(book)])
    assert done.exit_code == 0, done.output
    assert "200 readings of 1 loggers: 197 count; 3 in doubt." in done.stdout
    assert "the book knows no place of: far" in done.stdout and "not looked through" in done.stdout
    lines = duckdb.sql(f"SELECT DISTINCT line_c FROM '{tmp_path}/out/excursions/*/*.parquet' ORDER BY ALL").fetchall()
    assert lines == [(16.0,), (17.5,)]


@pytest.mark.parametrize(
    ("more", "said"),
    [
        ({"engine": "abacus"}, "'abacus' is no engine. Known: duckdb, spark, postgresql"),
        ({"engine": "spark"}, "Name its readings with --readings"),
        ({"readings": "nowhere"}, "there is no such folder or file"),
    ],
)
def test_what_cannot_be_done_is_told(more: dict[str, str], said: str, book: Path, tmp_path: Path) -> None:
    with pytest.raises(RillbookError, match=said):
        run.write_summaries(book, tmp_path / "out", **more)
    assert not (tmp_path / "out").exists()


@pytest.mark.parametrize(
    "text",
    [
        "logger_id,from_at\nL,2024-07-01\n",
        "logger_id,from_at,to_at\nL,2024-07-02,2024-07-01\n",
        "logger_id,from_at,to_at\n,2024-07-01,2024-07-02\n",
        "logger_id,from_at,to_at\nL,soon,2024-07-02\n",
        "logger_id,from_at,to_at\nL,,\n",
    ],
)
def test_a_line_that_is_no_stretch_is_named(text: str, book: Path, tmp_path: Path) -> None:
    (tmp_path / "doubt.csv").write_text(text)
    with pytest.raises(RillbookError, match=r"doubt.csv, line 2: this is no stretch"):
        run.write_summaries(book, tmp_path / "out", leave_out=tmp_path / "doubt.csv")


def test_a_file_that_is_not_there_is_told(book: Path, tmp_path: Path) -> None:
    with pytest.raises(RillbookError, match="the stretches cannot be read"):
        run.write_summaries(book, tmp_path / "out", leave_out=tmp_path / "nowhere.csv")
