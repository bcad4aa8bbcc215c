"""What a cell of the workbook takes, and what it says when it does not."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import pandas as pd

from pipeline.reading.headings import shown_unit
from pipeline.reading.values import EXAMPLES, read_column
from schemas.fields import Field, Span
from schemas.rules.column_faults import COLUMN_FAULTS
from schemas.vocabulary import codes

YES_NO = ("yes", "no")
# Fixed by the file format: what is longer makes a spreadsheet program refuse the workbook.
LONGEST_MESSAGE, LONGEST_TITLE = 255, 32


def validation(declared: Field, cell: str, names: Mapping[str, str]) -> dict[str, Any]:
    """Say what the cells of a field take, in the words of XlsxWriter's ``data_validation``.

    Parameters
    ----------
    declared : Field
        The field.
    cell : str
        Name of the first of these cells, as formulas say it.
    names : mapping of str to str
        Named range of each list.

    Returns
    -------
    dict
        Possible spans and codes stop what is typed; a code of a site or a visit, and the form of a date, only warn.
    """
    told = shown_when_chosen(declared)
    if declared.kind in ("code", "yes_no"):
        listed = declared.vocabulary or "yes_no"
        return {"validate": "list", "source": f"={names[listed]}", **told, **_refusal("code_unknown", declared)}
    if declared.refers_to == "taxa" and declared.kind == "text" and "taxa" in names:
        return {"validate": "list", "source": f"={names['taxa']}", **told, **_refusal("code_unknown", declared)}
    if declared.refers_to and declared.kind == "text" and declared.refers_to != "taxa":
        source = names.get(declared.refers_to, f"new_{declared.refers_to}")
        words = _message(f"This code is not in the list. It is right if it stands on the sheet {declared.refers_to} or in the book.")
        return {"validate": "list", "source": f"={source}", **told, "error_type": "warning", "error_message": words}
    if declared.kind in ("real", "whole") and declared.possible is not None:
        return {**_span(declared, declared.possible, cell), **told, **_refusal("not_possible", declared)}
    if declared.kind == "day":
        rule = f'=OR(ISNUMBER({cell}),AND(LEN({cell})=10,MID({cell},5,1)="-",MID({cell},8,1)="-"))'
        words = _message(f"Write {EXAMPLES['day']}. Another order may be held back, for it can mean more than one day.")
        return {"validate": "custom", "value": rule, **told, "error_type": "warning", "error_message": words}
    return {"validate": "any", **told}


def _span(declared: Field, possible: Span, cell: str) -> dict[str, Any]:
    low, high = possible
    if _takes_text(declared):
        whole = f",{cell}=INT({cell})" if declared.kind == "whole" else ""
        return {"validate": "custom", "value": f"=OR(ISTEXT({cell}),AND({cell}>={low:.10g},{cell}<={high:.10g}{whole}))"}
    return {"validate": "integer" if declared.kind == "whole" else "decimal", "criteria": "between", "minimum": low, "maximum": high}


def _takes_text(declared: Field) -> bool:
    """Whether people write more than a number here, such as ``58F`` or ``3+``: the cell lets a text pass, and the check reads it."""
    return any(not read_column(pd.Series([more], dtype="str"), declared).faults for more in ("58F", "3+", "10 N", "10 W"))


def _refusal(fault: str, declared: Field) -> dict[str, Any]:
    """The rule's own words for what a cell does not take."""
    rule = next(one for one in COLUMN_FAULTS if one.id == fault)
    low, high = declared.possible or ("", "")
    listed = declared.vocabulary.replace("_", " ") or ("the book's taxa" if declared.refers_to else "yes or no")
    known = (
        ", ".join(codes(declared.vocabulary) if declared.vocabulary else () if declared.refers_to else YES_NO) or "those of the drop-down"
    )
    words = {"text": "This", "unit": declared.unit, "low": _number(low), "high": _number(high), "vocabulary": listed, "codes": known}
    message = " ".join(rule.message.replace("{text!r}", "{text}").replace("{text} {unit}", "{text}").format(**words).split())
    remedy = rule.remedy.format(**words) if fault == "code_unknown" else ""
    return {"error_type": "stop", "error_title": _title(declared), "error_message": _message(f"{message.replace(' )', ')')} {remedy}")}


def shown_when_chosen(declared: Field) -> dict[str, Any]:
    """What a cell says when one stands on it: meaning, usual span, form."""
    unit = shown_unit(declared)
    parts = [declared.meaning + ("." if not declared.meaning.endswith(".") else "")]
    if declared.expected is not None:
        parts.append(f"Usual: {_number(declared.expected[0])} to {_number(declared.expected[1])} {unit}".strip() + ".")
    if declared.kind in EXAMPLES:
        parts.append(f"Write {EXAMPLES[declared.kind]}.")
    if declared.required:
        parts.append("Needed.")
    return {"input_title": _title(declared), "input_message": _message(" ".join(parts)), "ignore_blank": True}


def _number(value: object) -> str:
    return f"{value:.10g}" if isinstance(value, (int, float)) else str(value)


def _message(text: str) -> str:
    text = text.strip()
    return text if len(text) <= LONGEST_MESSAGE else text[: LONGEST_MESSAGE - 2].rstrip(" ,") + " …"


def _title(declared: Field) -> str:
    unit = shown_unit(declared)
    full = f"{declared.title} ({unit})" if unit else declared.title
    return (full if len(full) <= LONGEST_TITLE else declared.title)[:LONGEST_TITLE]
