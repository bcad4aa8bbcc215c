"""Taxa of stored rows, read again after the taxa of `rillbook.toml` changed: another code, another owner of a spelling."""

from __future__ import annotations

from typing import TYPE_CHECKING

import pandas as pd

from pipeline.checking.completing import alias_of, spellings
from pipeline.errors import RillbookError
from pipeline.settings import Settings
from schemas.tables import key_of

if TYPE_CHECKING:
    from pipeline.book.engine import DuckDBPyConnection
    from pipeline.book.standards import Standards

FIELDS = {"finds": "taxon", "enclosures": "taxon", "visits": "target_taxa"}
"""Where codes of taxa are stored; `target_taxa` holds several, parted by ``|``."""
LEDGERS = ("published", "accepted_warmer")
UNKNOWN = ("taxon_unknown", "enclosure_taxon_unknown", "code_unknown")
ALIAS = "an alias of the code"


def new_taxa(connection: DuckDBPyConnection, settings: Settings, old: Standards | None) -> dict[str, int]:
    """Read the taxa of stored rows again.

    Parameters
    ----------
    connection : DuckDBPyConnection
        A book that is open for writing.
    settings : Settings
        With the taxa as they are now.
    old : dict or None
        What the rows were read under; without it what is stored is taken for codes.

    Returns
    -------
    dict of str to int
        Rows whose taxa have another code now, by table; none are left out.

    Raises
    ------
    RillbookError
        A load that stands, or stands again after an undo, brought a taxon that is known no more: it is not for a program to drop it, and
        the class that protected it would be gone.
    """
    now, was = alias_of(settings), {} if old is None else spellings((one["code"], one["aliases"]) for one in old["taxa"])
    changed = {}
    for table, name in FIELDS.items():
        pairs = _pairs(connection, table, name)
        pairs["new"] = [_again(stored, text, was, now) for stored, text in zip(pairs["stored"], pairs["written"], strict=True)]
        lost = pairs[pairs["new"].isna() & (pairs["standing"] > 0)]
        if len(lost):
            raise _lost(table, lost.iloc[0], now)
        moved = pairs[pairs["new"].notna() & (pairs["new"] != pairs["stored"])]
        if len(moved):
            changed[table] = int(moved["n"].sum())
            _store(connection, table, name, moved)
    _recode_silence(connection, was, now)
    _follow_in_ledgers(connection, was, now)
    return changed


def _pairs(connection: DuckDBPyConnection, table: str, name: str) -> pd.DataFrame:
    """Distinct codes of a table with the text that they were read from; ``n`` rows of each, ``standing`` of loads that are not undone."""
    key, of_field = key_of(table), f"table_name = '{table}' AND field = '{name}'"
    return connection.execute(f"""
        SELECT a.{name} AS stored, c.text AS written, count(*) AS n, count(*) FILTER (l.undone_at IS NULL) AS standing,
          min(a.{key}) AS first, min(a.load_id) FILTER (l.undone_at IS NULL) AS load_id
        FROM {table}_all a JOIN loads l USING (load_id)
        LEFT JOIN {_texts(of_field)} c ON c.load_id = a.load_id AND c.row_key = a.{key}
        WHERE a.{name} <> '' GROUP BY ALL ORDER BY ALL""").df()


def _again(stored: str, written: object, was: dict[str, str], now: dict[str, str]) -> str | None:
    """The code of a text under other taxa; where the text was no spelling of what is stored, a column map read it, and the code counts."""
    codes, texts = stored.split("|"), written.strip().split("|") if isinstance(written, str) else []
    if [was.get(text.strip().casefold()) for text in texts] != codes:
        texts = codes
    found = [now.get(text.strip().casefold()) for text in texts]
    if None in found or found == codes:
        return None if None in found else stored
    return "|".join(dict.fromkeys(code for code in found if code))


def _lost(table: str, row: pd.Series, now: dict[str, str]) -> RillbookError:
    written = f", written {row['written']!r}" if isinstance(row["written"], str) else ""
    what = (
        f"rillbook.toml no longer knows {row['stored']}{written}, and the book holds {row['standing']} {table} of it, the first "
        f"{row['first']} of load {row['load_id']}. Nothing was changed."
    )
    remedy = (
        "Put the taxon or its alias back; or, if it has another code now, name the old one among the aliases of the new. If its records "
        f"are to go, `rillbook undo {row['load_id']}` first."
    )
    return RillbookError(what, remedy)


def _store(connection: DuckDBPyConnection, table: str, name: str, moved: pd.DataFrame) -> None:
    key, of_field = key_of(table), f"table_name = '{table}' AND field = '{name}'"
    connection.register("incoming", moved[["stored", "written", "new"]].astype("str"))
    connection.execute(f"""
        CREATE OR REPLACE TEMP TABLE moved AS
        SELECT a.load_id, a.row_no, a.{key} AS row_key, i.stored, c.text AS written, i.new, a.source, a.line
        FROM {table}_all a LEFT JOIN {_texts(of_field)} c ON c.load_id = a.load_id AND c.row_key = a.{key}
        JOIN incoming i ON i.stored = a.{name} AND i.written IS NOT DISTINCT FROM c.text""")
    connection.unregister("incoming")
    as_noted = ", verbatim_taxon = coalesce(verbatim_taxon, m.written, m.stored)" if table == "finds" else ""
    connection.execute(f"""
        UPDATE {table}_all SET {name} = m.new{as_noted} FROM moved m
        WHERE {table}_all.load_id = m.load_id AND {table}_all.row_no = m.row_no""")
    connection.execute(f"""
        UPDATE conversions_all SET value = m.new FROM moved m
        WHERE conversions_all.load_id = m.load_id AND conversions_all.row_key = m.row_key AND {of_field}""")
    connection.execute(f"""
        INSERT INTO conversions_all (load_id, table_name, row_key, field, text, value, how, file, sheet, line)
        SELECT m.load_id, '{table}', m.row_key, '{name}', m.stored, m.new, '{ALIAS}', o.file, o.sheet, m.line FROM moved m
        LEFT JOIN source_files o ON o.load_id = m.load_id AND o.source = m.source WHERE m.written IS NULL""")
    connection.execute("DROP TABLE moved")


def _texts(of_field: str) -> str:
    """SQL of the texts that values of a field were read from, by load and row."""
    return f"(SELECT load_id, row_key, min(text) AS text FROM conversions_all WHERE {of_field} GROUP BY ALL)"


def _owners(code: str, was: dict[str, str], now: dict[str, str]) -> set[str | None]:
    """To whom the spellings of a code belong now."""
    return {now.get(text) for text in {code.casefold(), *(text for text, owner in was.items() if owner == code)}}


def _recode_silence(connection: DuckDBPyConnection, was: dict[str, str], now: dict[str, str]) -> None:
    """A row that was held back silences the taxon that it names; where its spellings have several owners now it silences them all."""
    codes = [row[0] for row in connection.execute("SELECT DISTINCT taxon FROM uncounted_all WHERE taxon <> '' ORDER BY ALL").fetchall()]
    owners = {code: _owners(code, was, now) for code in codes}
    moved = {code: (next(iter(some)) if len(some) == 1 else None) or "" for code, some in owners.items() if some != {code}}
    if moved:
        connection.execute(
            "UPDATE uncounted_all SET taxon = map_extract_value(?::MAP(VARCHAR, VARCHAR), taxon) WHERE list_contains(?::VARCHAR[], taxon)",
            [moved, list(moved)],
        )


def _follow_in_ledgers(connection: DuckDBPyConnection, was: dict[str, str], now: dict[str, str]) -> None:
    """What was published of a taxon binds it under its new code too; the lines of the old code stay."""
    codes = set(now.values())
    for table in LEDGERS:
        names = [row[0] for row in connection.execute(f"DESCRIBE {table}").fetchall() if row[0] != "taxon"]
        listed = ", ".join(names)
        for (code,) in connection.execute(f"SELECT DISTINCT taxon FROM {table} ORDER BY ALL").fetchall():
            new = now.get(code.casefold())
            if code not in codes and new is not None:
                connection.execute(
                    f"""INSERT INTO {table} (taxon, {listed}) SELECT ?, {listed} FROM {table} WHERE taxon = ?
                    EXCEPT SELECT taxon, {listed} FROM {table}""",
                    [new, code],
                )


def known_by_now(connection: DuckDBPyConnection, settings: Settings, old: Standards) -> tuple[int, list[str]]:
    """Open items that were held back for a taxon that is known by now and was not before, and the files to load again."""
    now, was = alias_of(settings), spellings((one["code"], one["aliases"]) for one in old["taxa"])
    rows = connection.execute(
        f"SELECT text, file FROM held WHERE rule IN {UNKNOWN} AND field IN ('taxon', 'target_taxa') ORDER BY file"
    ).fetchall()
    spelled = [([part.strip().casefold() for part in text.split("|")], file) for text, file in rows if text]
    found = [file for parts, file in spelled if all(one in now for one in parts) and not all(one in was for one in parts)]
    return len(found), list(dict.fromkeys(found))
