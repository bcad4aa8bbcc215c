"""Writes the documents and the Table Schema files that follow from the declarations: `python -m schemas.generate`."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

from schemas.descriptor import describe, describe_frame
from schemas.enums import EFFECTS
from schemas.fields import Field, Span
from schemas.frames.air_and_water import HumidityFigures, HumidityTable, HumidityTargets, WaterTargets
from schemas.frames.field import Detection, Selection
from schemas.frames.frame import Frame
from schemas.frames.maps import ExactCells, PublicCells
from schemas.frames.reports import (
    Absence,
    GapMonths,
    LandownerVisits,
    PermitLimits,
    PermitRows,
    PermitSummary,
    PublicGaps,
    RevisitHistory,
    Revisits,
    Unseen,
)
from schemas.frames.targets import ScheduleWeeks, Targets
from schemas.rules.column_faults import COLUMN_FAULTS
from schemas.rules.rules import RULES, Rule
from schemas.tables import MODELS, fields, key_of, keys_of, purpose
from schemas.vocabulary import TRAITS, vocabulary, vocabulary_names

KINDS = {
    "text": "text",
    "code": "one code of a list",
    "codes": "several words, separated by `|`",
    "real": "number",
    "whole": "whole number",
    "yes_no": "yes or no",
    "day": "date, YYYY-MM-DD",
    "clock": "clock time, HH:MM, 24 hours",
    "instant": "date and time in UTC",
}
# Tables that are written into out/ and out/private/, by the name of their file; those of a permit or parcel have its code behind it.
WRITTEN: dict[str, type[Frame]] = {
    "targets": Targets,
    "schedule": ScheduleWeeks,
    "humidity": HumidityTargets,
    "humidity_by_temperature": HumidityTable,
    "humidity_found": HumidityFigures,
    "water": WaterTargets,
    "selection": Selection,
    "detection": Detection,
    "gaps": PublicGaps,
    "gaps_months": GapMonths,
    "gaps_absence": Absence,
    "gaps_unseen": Unseen,
    "revisit": Revisits,
    "revisit_history": RevisitHistory,
    "permit": PermitRows,
    "permit_limits": PermitLimits,
    "permit_summary": PermitSummary,
    "landowner": LandownerVisits,
    "map": PublicCells,
    "map_exact": ExactCells,
}
GENERATED = "Generated from the declarations in `schemas/` by `python -m schemas.generate`; change it there, not here."


def number(value: float) -> str:
    """Write a bound with no more digits than it has: 30.0 as 30, 20037509.0 in full."""
    return str(int(value)) if float(value).is_integer() else repr(float(value))


def cell(text: str) -> str:
    """Make a text safe for one cell of a Markdown table."""
    return text.replace("\\", "\\\\").replace("|", "\\|").replace("\n", " ")


def row(*texts: str) -> str:
    """One row of a Markdown table."""
    return "| " + " | ".join(cell(text) for text in texts) + " |"


def header(*titles: str) -> list[str]:
    """First two lines of a Markdown table."""
    return [row(*titles), "|" + "---|" * len(titles)]


def _span(span: Span | None) -> str:
    return "" if span is None else f"{number(span[0])} to {number(span[1])}"


def _need(field: Field) -> str:
    words = [word for word, holds in (("key", field.key), ("required", field.required), ("filled in by rillbook", field.derived)) if holds]
    return ", ".join(words)


def _codes(field: Field) -> str:
    if field.vocabulary:
        return f"[{field.vocabulary}](#list-{field.vocabulary.lower()})"
    return f"key of [{field.refers_to}](#{field.refers_to})" if field.refers_to else ""


def _field_row(field: Field) -> str:
    share = "protected" if field.protected else "public"
    return row(
        f"`{field.name}`", field.title, field.meaning, KINDS[field.kind], field.unit, _need(field),
        _span(field.possible), _span(field.expected), _codes(field), field.darwin_core, share,
    )  # fmt: skip


def _table_section(table: str) -> list[str]:
    titles = ("field", "title", "meaning", "kind", "unit", "need", "possible", "expected", "codes", "Darwin Core", "sharing")
    return [f"## {table}", "", purpose(table), "", *header(*titles), *(_field_row(field) for field in fields(table).values()), ""]


def _vocabulary_section(name: str) -> list[str]:
    entries = vocabulary(name)
    # A drawing says nothing to a reader.
    extra = [which for which in TRAITS.get(name, {}) if which not in ("letter_y", "outline")]
    lines = [f"### List: {name}", ""]
    lines += [f"- *{which.replace('_', ' ')}*: {TRAITS[name][which][1]}." for which in extra] + ([""] if extra else [])
    lines += header("code", "definition", *(which.replace("_", " ") for which in extra), "source")
    for code, entry in entries.items():
        lines.append(row(f"`{code}`", entry["definition"], *(entry[column] for column in extra), entry["source"]))
    return [*lines, ""]


def data_dictionary() -> str:
    """Describe every field of every table, then every code list.

    Returns
    -------
    str
        Markdown; the same text whenever the declarations are the same.
    """
    lines = [
        "# Data dictionary",
        "",
        GENERATED,
        "",
        "Outside *possible* an optional value is held back and its row is kept; a required one holds the row.",
        "Outside *expected* a value is kept and flagged. *Protected* fields are never published.",
        "Darwin Core is an open standard for records of living things.",
        "",
    ]
    for table in MODELS:
        lines += _table_section(table)
    lines += ["## Code lists", "", "*common practice no source*: what the trade does, with no publication behind it.", ""]
    for name in vocabulary_names():
        lines += _vocabulary_section(name)
    return "\n".join(lines)


def _rule_row(rule: Rule) -> str:
    names = ", ".join(f"`{name}`" for name in rule.fields)
    return row(f"`{rule.id}`", rule.table, names, _sentence(rule.message), rule.remedy, rule.source)


def _sentence(text: str) -> str:
    return text[:1].upper() + text[1:]


def rule_list() -> str:
    """List the column checks and the cross-field rules, by effect.

    Returns
    -------
    str
        Markdown; the same text whenever the declarations are the same.
    """
    lines = ["# Rules", "", GENERATED, "", "Rare is not wrong: nothing is blanked, clipped or corrected by a rule.", ""]
    for effect, meaning in EFFECTS.items():
        lines += [f"## {effect.replace('_', ' ')}", "", _sentence(meaning) + ".", ""]
        lines += header("rule", "table", "fields", "what is wrong", "what to do", "source")
        lines += [*(_rule_row(rule) for rule in RULES if rule.effect == effect), ""]
    lines += ["## Checks of every field", "", "Words in braces are filled in from the field and the text as written.", ""]
    lines += header("check", "what is wrong", "what to do")
    lines += [row(f"`{fault.id}`", _sentence(fault.message), fault.remedy) for fault in COLUMN_FAULTS]
    return "\n".join([*lines, ""])


def table_schema(table: str) -> dict[str, Any]:
    """Describe a table as a Table Schema.

    Parameters
    ----------
    table : str
        Declared table.

    Returns
    -------
    dict
        Descriptor, ready for JSON. A field of several codes has no foreign key: the standard knows none for lists.

    References
    ----------
    Frictionless Data, Table Schema, version 1.
    """
    return describe(fields(table).values(), keys_of(table), {name: key_of(name) for name in MODELS})


def _json(document: dict[str, Any]) -> str:
    return json.dumps(document, indent=2, ensure_ascii=False) + "\n"


def generated_files() -> dict[str, str]:
    """Text of every generated file, by its path below the project's folder."""
    texts = {"docs/data_dictionary.md": data_dictionary(), "docs/rules.md": rule_list()}
    for table in MODELS:
        texts[f"schemas/table_schema/{table}.json"] = _json(table_schema(table))
    for name, model in WRITTEN.items():
        texts[f"schemas/table_schema/out/{name}.json"] = _json(describe_frame(model))
    return texts


def write_all(folder: Path) -> list[Path]:
    """Write every generated file below a folder.

    Parameters
    ----------
    folder : Path
        The project's folder, or any other.

    Returns
    -------
    list of Path
        Files written.
    """
    written = []
    for name, text in generated_files().items():
        path = folder / name
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_bytes(text.encode("utf-8"))
        written.append(path)
    return written


if __name__ == "__main__":
    for path in write_all(Path(__file__).resolve().parent.parent):
        print(path)
