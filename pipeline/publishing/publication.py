"""What is said of a whole publication, and our words in the standards' words."""

from __future__ import annotations

import csv
from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache
from typing import Any

import numpy as np
import pandas as pd

from pipeline.settings import data_file
from schemas.public import PUBLIC_TABLES, public_fields

INVENTED = "Invented study. No animal, place or person in it is real."


@dataclass(frozen=True)
class Statement:
    """What is said of the whole publication.

    Attributes
    ----------
    title, author : str
        As the book states them; the title of an invented study says so.
    invented : bool
        Whether the study is invented.
    licence, licence_iri : str
        Name and address of the licence.
    citation : str
        How to cite it.
    published : str
        Day of publication, YYYY-MM-DD.
    withheld : str
        What is withheld, why, and how to ask.
    dataset : str
        Opaque code of the data set, the same at every publication of the book.
    contact : str
        Mail or web address for those who ask; empty where the book states none.
    """

    title: str
    author: str
    invented: bool
    licence: str
    licence_iri: str
    citation: str
    published: str
    withheld: str
    dataset: str
    contact: str = ""


@cache
def standard_words() -> dict[tuple[str, str], tuple[str, str]]:
    """The standards' word and address for each of ours, by term and our word; sources stand in data/reference/darwin_core.csv."""
    text = data_file("reference/darwin_core.csv").read_text(encoding="utf-8")
    return {(row["term"], row["ours"]): (row["standard"], row["iri"]) for row in csv.DictReader(text.splitlines())}


def word(term: str, ours: Any) -> str:
    """The standard's word for one of ours; empty where it has none or ours is missing."""
    return "" if ours is None or pd.isna(ours) else standard_words().get((term, str(ours)), ("", ""))[0]


def generalised(step: str) -> str:
    """What was done to a place and a date, in a sentence for `dataGeneralizations`."""
    return (
        f"Place generalised to a decimal geographic grid of {step} degree, the centre of the square with a radius to its farthest corner; "
        "it is held as recorded, to 0.00001 degree at best. Nothing was shifted at random. "
        "A place that was corrected by less than a square later keeps its first square. "
        "Date generalised to the month; it is held to the day. Temperatures rounded to 0.5 °C, minutes to 5, lengths of animals to 1 mm "
        "and every other quantity likewise; they are held as recorded."
    )


def as_written(value: Any, kind: str) -> str:
    """A value as text of an archive: no needless decimals, true and false in small letters, empty where it is missing."""
    if value is None or pd.isna(value):
        return ""
    if kind == "yes_no":
        return "true" if value else "false"
    if kind in ("real", "whole"):
        return str(int(value)) if float(value).is_integer() else repr(float(value))
    return str(value)


def texts(tables: Mapping[str, pd.DataFrame]) -> dict[str, pd.DataFrame]:
    """Public tables as text of an archive, their declared fields in order; each distinct value is written once.

    Parameters
    ----------
    tables : mapping of str to DataFrame
        Rows of some of `schemas.public.PUBLIC_TABLES`.

    Returns
    -------
    dict of str to DataFrame
        In the order of `PUBLIC_TABLES`; each value as :func:`as_written` gives it, the index as it was.
    """
    return {table: _texts(table, tables[table]) for table in PUBLIC_TABLES if table in tables}


def _texts(table: str, frame: pd.DataFrame) -> pd.DataFrame:
    declared = public_fields(table)
    columns = {name: texts_of(frame[name], field.kind) for name, field in declared.items()}
    return pd.DataFrame(columns, index=frame.index, columns=list(declared), dtype="str")


def texts_of(column: pd.Series, kind: str) -> pd.Series:
    """A column as :func:`as_written` writes each of its values."""
    if isinstance(column.dtype, pd.StringDtype) and kind not in ("real", "whole", "yes_no"):
        return column.fillna("")
    if column.dtype == object:
        # values that are equal and not alike, such as 1 and True, would be taken for one
        return pd.Series([as_written(value, kind) for value in column], index=column.index, dtype="str")
    numbers, distinct = pd.factorize(column, use_na_sentinel=False)
    written = np.array([as_written(value, kind) for value in distinct], dtype=object)
    return pd.Series(written[numbers], index=column.index, dtype="str")
