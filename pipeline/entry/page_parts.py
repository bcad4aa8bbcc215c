"""What the forms share: fields, code lists and rules as their scripts know them, and the page that is put together of them."""

from __future__ import annotations

import json
from collections.abc import Collection, Iterable, Mapping
from dataclasses import asdict
from importlib import resources
from typing import Any

import pandas as pd

from pipeline.checking.nearest import ALIKE
from pipeline.reading.units import SPELLINGS, UNITS
from pipeline.reading.values import NOTHING
from pipeline.settings import Settings
from pipeline.writing.page import render
from schemas.fields import Field
from schemas.rules.rules import COOL, RULES, Rule
from schemas.tables import fields
from schemas.vocabulary import vocabulary

SHARED_SCRIPTS = ("kept.js", "values.js", "rules.js", "repairs.js", "codes.js", "elements.js", "fields.js", "sending.js")
"""Scripts of both forms; the one that says what a draft is made of goes before them."""


def shown_fields(table: str, first: Iterable[str], left_out: Collection[str]) -> list[Field]:
    """Fields of a table that a form asks for: those of `first` in that order, then the others as declared.

    Parameters
    ----------
    table : str
        A declared table.
    first : iterable of str
        Fields that come first.
    left_out : collection of str
        Fields that the form makes itself or does not ask for.

    Returns
    -------
    list of Field
        Without what rillbook derives.
    """
    order = list(first)
    kept = [one for one in fields(table).values() if not one.derived and one.name not in left_out]
    return sorted(kept, key=lambda one: order.index(one.name) if one.name in order else len(order))


def field_words(one: Field, needed: bool = False) -> dict[str, Any]:
    """A field as the scripts know it; `needed` where this form must have it though the table need not."""
    return {
        "name": one.name,
        "title": one.title,
        "meaning": one.meaning,
        "unit": one.unit,
        "kind": one.kind,
        "required": one.required or needed,
        "possible": one.possible,
        "expected": one.expected,
        "codes": one.vocabulary or one.refers_to or ("yes_no" if one.kind == "yes_no" else ""),
        "at_least": one.at_least,
    }


def rule_words(tables: Collection[str]) -> dict[str, dict[str, Any]]:
    """Words of the rules of these tables by id, with the comparisons of those that are data."""
    return {
        rule.id: {"table": rule.table, "fields": rule.fields, "message": rule.message, "remedy": rule.remedy, **_when(rule)}
        for rule in RULES
        if rule.table in tables
    }


def _when(rule: Rule) -> dict[str, Any]:
    if rule.among:
        return {"among": asdict(rule.among)}
    return {"when": [asdict(one) for one in rule.when]} if rule.when else {}


def code_lists(shown: Iterable[Field], settings: Settings) -> dict[str, list[list[str]]]:
    """Lists by name, code and meaning of each: the vocabularies of these fields, the book's taxa, and yes and no."""
    names = sorted({one.vocabulary for one in shown if one.vocabulary})
    lists = {name: [[code, row["definition"]] for code, row in vocabulary(name).items()] for name in names}
    lists["taxa"] = [[str(row.code), str(row.scientific_name)] for row in settings.taxa.itertuples()]
    lists["yes_no"] = [["yes", "Yes"], ["no", "No"]]
    return lists


def common_data(settings: Settings) -> dict[str, Any]:
    """What the scripts of both forms know: units and how they are spelt, what stands for nothing, taxa, likeness of codes, time zone."""
    return {
        "units": UNITS,
        "spellings": SPELLINGS,
        "nothing": sorted({token.lower() for token in NOTHING}),
        "taxa": [_taxon(row) for row in settings.taxa.itertuples()],
        "figures": {"codes_alike": ALIKE},
        "time_zone": settings.time_zone,
    }


def _taxon(row: Any) -> dict[str, Any]:
    numbers = {
        name: None if pd.isna(value) else float(value)
        for name, value in (("taxon_overlap_low", row.overlap_svl_low_mm), ("taxon_overlap_high", row.overlap_svl_high_mm))
    }
    aliases = [alias for alias in str(row.aliases or "").split("|") if alias]
    return {"code": row.code, "aliases": aliases, "cool": row.group in COOL, "taxon_paedomorphic": bool(row.paedomorphic), **numbers}


def assembled(page: str, scripts: Iterable[str], data: Mapping[str, Any], *, title: str, invented: bool) -> str:
    """Put a form together: one page with its style, scripts and data in it.

    Parameters
    ----------
    page : str
        Template in ``templates/form``.
    scripts : iterable of str
        Scripts there, in order.
    data : mapping
        What they know; text in it cannot lead out of its element.
    title : str
        What the page is headed with.
    invented : bool
        Whether the book is an invented study.

    Returns
    -------
    str
        A page that asks for nothing else.
    """
    from markupsafe import Markup

    folder = resources.files("pipeline.entry").joinpath("templates", "form")

    def read(name: str) -> str:
        return folder.joinpath(name).read_text(encoding="utf-8")

    return render(
        "entry", f"form/{page}", title=title, invented=invented, style=Markup(read("form.css")), script=Markup("".join(map(read, scripts))),
        data=Markup(in_script(data)),
    )  # fmt: skip


def in_script(value: Any) -> str:
    """JSON that no text in it can lead out of its script element."""
    text = json.dumps(value, ensure_ascii=False, sort_keys=True, separators=(",", ":"))
    return (
        text.replace("<", "\\u003c")
        .replace(">", "\\u003e")
        .replace("&", "\\u0026")
        .replace("\u2028", "\\u2028")
        .replace("\u2029", "\\u2029")
    )
