"""The ledger of published values, and the warmer ones that a named person accepted."""

from __future__ import annotations

from datetime import datetime
from typing import TYPE_CHECKING

import pandas as pd

from schemas.frames.frame import entering, framed
from schemas.frames.ledger import Accepted, Kept, Published

if TYPE_CHECKING:
    from pipeline.book.connection import DuckDBPyConnection


def read_ledger(connection: DuckDBPyConnection) -> tuple[pd.DataFrame, pd.DataFrame]:
    """The ledger: values published so far with the site-days behind each, and the warmer ones that a named person accepted."""
    before = connection.execute("SELECT * EXCLUDE (published_at) FROM published").df()
    accepted = connection.execute("SELECT * EXCLUDE (accepted_at, who, reason) FROM accepted_warmer").df()
    before = before.assign(visits=[frozenset(days) for days in before["visits"]])
    return framed(Published, before), framed(Accepted, accepted)


def add_to_ledger(connection: DuckDBPyConnection, entries: pd.DataFrame, at: datetime) -> None:
    """Add values to the ledger; an entry that stands there already is not repeated."""
    if entries.empty:
        return
    # the values of one cell rest on one set
    ordered = {days: sorted(days) for days in set(entries["visits"])}
    rows = entering(Published, entries).assign(published_at=at, visits=[ordered[days] for days in entries["visits"]])
    connection.register("incoming", rows)
    names = "taxon, population, life_stage, medium, month, quantity, value, visits, method"
    connection.execute(f"INSERT INTO published SELECT published_at, {names} FROM incoming i ANTI JOIN published p USING ({names})")
    connection.unregister("incoming")


def accept_warmer(connection: DuckDBPyConnection, notes: pd.DataFrame, who: str, reason: str, at: datetime) -> None:
    """Write down that a person takes values that are warmer than an earlier publication."""
    rows = entering(Kept, notes).rename(columns={"derived": "value"}).assign(accepted_at=at, who=who, reason=reason)
    if rows.empty:
        return
    connection.register("incoming", rows)
    names = "accepted_at, taxon, population, life_stage, medium, month, quantity, value, who, reason"
    connection.execute(f"INSERT INTO accepted_warmer SELECT {names} FROM incoming")
    connection.unregister("incoming")
