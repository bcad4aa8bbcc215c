"""Books of every earlier version: read, brought up to date with a copy beside them, and what is no book told in one line."""

from __future__ import annotations

import logging
from pathlib import Path

import duckdb
import pytest
from book_dump import dump, rebuild
from small_sheets import CASES, SITES, load, sheets, state

from pipeline.book import versions
from pipeline.book.connection import FILE_NAME, open_book
from pipeline.book.ledger import read_ledger
from pipeline.commands import run
from pipeline.errors import RillbookError

EARLIER = sorted((Path(__file__).parent / "earlier").glob("version_*.sql"))
# A released version never changes its tables: raise VERSION, add its Migration, keep a book of the version before in tests/book/earlier
# (tests/book_dump.py says how), and note the new shape. While a version is not released its shape is noted anew.
SHAPES = {2: "393932eae938aa84"}


@pytest.fixture
def earlier(tmp_path: Path, request: pytest.FixtureRequest) -> Path:
    run.init(tmp_path / "b", (CASES / "base" / "rillbook.toml").read_text())
    rebuild(request.param, tmp_path / "b" / FILE_NAME)
    return tmp_path / "b"


def test_a_change_of_the_tables_raises_the_version() -> None:
    assert {versions.VERSION: versions.shape()} == {versions.VERSION: SHAPES.get(versions.VERSION)}
    assert [step.to for step in versions.MIGRATIONS] == list(range(2, versions.VERSION + 1))


def test_a_book_of_each_earlier_version_is_kept() -> None:
    assert [path.stem for path in EARLIER] == [f"version_{number}" for number in range(1, versions.VERSION)]


@pytest.mark.parametrize("earlier", EARLIER, indirect=True, ids=lambda path: path.stem)
def test_a_book_of_an_earlier_version_is_brought_up_to_date_with_a_copy(earlier: Path, caplog: pytest.LogCaptureFixture) -> None:
    tables = "SELECT table_name FROM duckdb_tables() WHERE NOT internal ORDER BY ALL"
    with duckdb.connect(str(earlier / FILE_NAME), read_only=True) as old:
        rows = {name: old.execute(f"SELECT * FROM {name} ORDER BY ALL").fetchall() for (name,) in old.execute(tables).fetchall()}
    with caplog.at_level(logging.WARNING):
        found = run.status(earlier)
    assert {name: found["tables"][name] for name in ("sites", "visits", "finds", "loggers")} == {
        "sites": 1, "visits": 2, "finds": 3, "loggers": 1
    }  # fmt: skip
    assert [one["stands"] for one in found["loads"]] == [True, True, True, True, False]
    assert found["logger_files"]["readings"] == 2 and found["absences"] == 1
    (said,) = caplog.messages
    copy = earlier / f"rillbook_version_{EARLIER[0].stem[-1]}.duckdb"
    assert "was of version 1 and is now of version 2" in said and str(copy) in said
    with duckdb.connect(str(copy), read_only=True) as old:
        assert rows == {name: old.execute(f"SELECT * FROM {name} ORDER BY ALL").fetchall() for name in rows}
    with open_book(earlier) as connection:
        for name, before in rows.items():
            assert connection.execute(f"SELECT * FROM {name} ORDER BY ALL").fetchall() == before, name
        assert read_ledger(connection)[0]["value"].tolist() == [12.5]
    load(earlier, sheets(earlier, more=SITES.replace("S1", "S9")))
    run.undo(earlier, 6)
    assert len([*earlier.glob("*.duckdb")]) == 2


@pytest.mark.parametrize("earlier", EARLIER[:1], indirect=True, ids=["version_1"])
def test_a_migration_that_fails_leaves_the_book_as_it_was(earlier: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    def fails(connection: duckdb.DuckDBPyConnection) -> None:
        connection.execute("DELETE FROM finds_all")
        raise RillbookError("stopped.", "Try again.")

    before = (earlier / FILE_NAME).read_bytes()
    monkeypatch.setattr(versions, "_finish", fails)
    with pytest.raises(RillbookError, match="stopped"):
        run.status(earlier)
    monkeypatch.undo()
    assert (earlier / "rillbook_version_1.duckdb").read_bytes() == before
    assert run.status(earlier)["tables"]["finds"] == 3
    assert len([*earlier.glob("*.duckdb")]) == 2, "the copy of the first try serves the second"


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    run.init(tmp_path / "b", (CASES / "base" / "rillbook.toml").read_text())
    load(tmp_path / "b")
    return tmp_path / "b"


def change(folder: Path, sql: str) -> None:
    with duckdb.connect(str(folder / FILE_NAME)) as connection:
        connection.execute(sql)


@pytest.mark.parametrize(
    ("sql", "said"),
    [
        ("UPDATE book_facts SET value = '99' WHERE name = 'version'", "the book is of version 99; this rillbook knows versions up to 2"),
        ("ALTER TABLE finds_all DROP COLUMN svl_mm", "lacks finds_all.svl_mm, which it had"),
        ("DROP TABLE flags_all", "lacks the table flags_all, which it had"),
    ],
)
def test_a_book_that_does_not_fit_is_refused_and_left_alone(folder: Path, sql: str, said: str) -> None:
    change(folder, sql)
    before = (folder / FILE_NAME).read_bytes()
    for action in (lambda: run.status(folder), lambda: load(folder, sheets(folder, more=SITES)), lambda: run.undo(folder, 1)):
        with pytest.raises(RillbookError, match=said):
            action()
    assert (folder / FILE_NAME).read_bytes() == before


def test_a_database_that_is_no_book_is_refused_and_left_alone(tmp_path: Path) -> None:
    run.init(tmp_path / "b", (CASES / "base" / "rillbook.toml").read_text())
    change(tmp_path / "b", "CREATE TABLE recipes (name VARCHAR)")
    with pytest.raises(RillbookError, match="no book of rillbook: it has no table of loads, but recipes"):
        load(tmp_path / "b")


def test_a_table_declared_otherwise_is_made_anew_and_loses_nothing(folder: Path) -> None:
    """A book made between two releases: another list of codes, a column less, and one that nobody declares."""
    before = state(folder)["sites_all"]
    change(
        folder,
        """CREATE TABLE other AS SELECT * EXCLUDE (remarks), 'kept' AS lost_word FROM sites_all; DROP TABLE sites_all;
        ALTER TABLE other RENAME TO sites_all; UPDATE book_facts SET value = 'x' WHERE name IN ('shape', 'declared:sites_all');
        DELETE FROM book_facts WHERE name = 'columns'""",
    )
    with open_book(folder) as connection:
        assert connection.execute("SELECT * EXCLUDE (lost_word) FROM sites_all").fetchall() == before
        assert connection.execute("SELECT lost_word FROM sites_all").fetchall() == [("kept",)]
        assert "remarks" in [row[0] for row in connection.execute("DESCRIBE sites").fetchall()]
    with duckdb.connect(str(folder / FILE_NAME)) as connection, pytest.raises(duckdb.ConstraintException):
        connection.execute("INSERT INTO sites_all (load_id, row_no, patch, site_id, habitat) VALUES (1, 9, false, 'S8', 'moon')")


def test_the_dump_makes_the_same_book(folder: Path, tmp_path: Path) -> None:
    with open_book(folder) as connection:
        text = dump(connection)
    (tmp_path / "b.sql").write_text(text, encoding="utf-8")
    rebuild(tmp_path / "b.sql", tmp_path / "again.duckdb")
    with duckdb.connect(str(tmp_path / "again.duckdb")) as connection:
        assert dump(connection) == text
