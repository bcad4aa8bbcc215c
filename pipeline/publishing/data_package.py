"""Published rows as a Data Package: one CSV file a table, its description, and a page to read first."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import pandas as pd

from pipeline.publishing.publication import INVENTED, Statement, generalised
from schemas.descriptor import describe
from schemas.public import PUBLIC_TABLES, public_fields, purpose_of, withheld_titles


def descriptor(said: Statement) -> dict[str, Any]:
    """Describe the package.

    Parameters
    ----------
    said : Statement

    Returns
    -------
    dict
        Content of `datapackage.json`, ready for JSON.

    References
    ----------
    Frictionless Data, Data Package and Table Schema, version 1.
    """
    keys = {table: [name for name, field in public_fields(table).items() if field.key] for table in PUBLIC_TABLES}
    key_of = {table: names[0] for table, names in keys.items()}
    return {
        "profile": "tabular-data-package",
        "name": "rillbook-publication",
        "id": said.dataset,
        "title": said.title,
        "description": " ".join([*([INVENTED] if said.invented else []), said.withheld, f"Cite as: {said.citation}"]),
        "version": said.published,
        "created": f"{said.published}T00:00:00Z",
        "licenses": [{"name": said.licence, "path": said.licence_iri}],
        "contributors": [{"title": said.author, "role": "author"}],
        "resources": [
            {
                "profile": "tabular-data-resource",
                "name": table,
                "path": f"{table}.csv",
                "title": table.capitalize(),
                "description": purpose_of(table),
                "format": "csv",
                "mediatype": "text/csv",
                "encoding": "utf-8",
                "schema": describe(public_fields(table).values(), keys[table], key_of),
            }
            for table in PUBLIC_TABLES
        ],
    }


def read_me(tables: Mapping[str, pd.DataFrame], said: Statement) -> str:
    """The page to read first, as Markdown; text of the book has its signs of HTML and Markdown made harmless."""
    steps = sorted(set(tables["visits"]["grid_step_deg"]), key=float)
    lines = [f"# {plain(said.title)}", "", *([f"**{INVENTED}**", ""] if said.invented else [])]
    lines += [f"Shared by {plain(said.author)} under {said.licence}: {said.licence_iri}", "", f"Cite as: {plain(said.citation)}", ""]
    lines += ["## Files", ""]
    lines += [f"- `{table}.csv`: {purpose_of(table)} {len(tables[table])} rows." for table in PUBLIC_TABLES]
    lines += ["- `datapackage.json`: every field with its unit, its codes and its Darwin Core term.", ""]
    lines += ["## Places and times", "", *(f"- {generalised(step)}" for step in steps)]
    lines += [f"- {plain(said.withheld)}", "- The coordinates are the centres of squares. No animal was found at them.", ""]
    lines += ["Fields that are never published: " + ", ".join(withheld_titles()) + ".", ""]
    return "\n".join(lines)


def plain(text: str) -> str:
    """Text that neither Markdown nor HTML reads as anything but letters."""
    return "".join(f"&#{ord(sign)};" if sign in "<>&`*_[]()#!|\\{}$" else " " if sign in "\r\n" else sign for sign in text)
