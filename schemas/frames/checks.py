"""Shapes of what a check hands to the book: reasons, marks, conversions, and what says nothing of absence."""

from __future__ import annotations

from schemas.fields import Text, Whole
from schemas.frames.frame import Count, Frame, columns_of, maybe, said


class Held(Frame):
    """Why a row or a value is held back: one row a reason."""

    table: Text = said("table")
    row_key: Text = maybe("row_key")
    parent_key: Text = maybe("parent_key", "key of the row above it, such as a find's visit")
    field: Text = maybe("field", "field that is wrong; several separated by a comma, empty where it is the whole row")
    column: Text = maybe("column", "column of the sheet")
    text: Text = maybe("text", "what was written")
    rule: Text = said("rule", "rule or column check that it broke")
    message: Text = said("message", "what is wrong")
    remedy: Text = said("remedy", "what to do next")
    source: Count = said("source")
    row: Count = said("row")
    line: Count = said("line")
    candidate: Count = said("candidate", "candidate whose row is held, -1 where only a value is; a large number where it could not be cut")
    of: Count = said("of", "the candidate in either case")


class Flags(Frame):
    """What to look at in a row that is kept: one row a mark."""

    table: Text = said("table")
    row_key: Text = maybe("row_key")
    field: Text = maybe("field", "fields that the mark is about, separated by a comma")
    rule: Text = said("rule", "rule or column check that marks it")
    effect: Text = said("effect", "whether the row still feeds a target")
    message: Text = said("message", "what is odd")
    remedy: Text = said("remedy", "what to do next")
    value: Text = maybe("value", "what was written")
    source: Count = said("source")
    row: Count = said("row")
    line: Count = said("line")


class Converted(Frame):
    """Stored values that are more than a copy of what was written."""

    table: Text = said("table")
    row_key: Text = maybe("row_key")
    field: Text = said("field", "field of the value")
    text: Text = maybe("text", "what was written")
    value: Text = maybe("value", "the value as text")
    how: Text = said("how", "how it was read")
    source: Count = said("source")
    row: Count = said("row")
    line: Count = said("line")


class Uncounted(Frame):
    """Of which taxa which visits say nothing, and why."""

    visit_id: Text = said("visit_id", "visit, or the word for any of its load")
    taxon: Text = said("taxon", "taxon code of the book, or the word for any")
    life_stage: Text = said("life_stage", "stage, empty for all")
    why: Text = said("why", "why it says nothing")
    text: Text = maybe("text", "what was written")
    row_no: Whole = maybe("row_no", "candidate of the row that is held; missing where none is")
    source: Count = said("source")
    row: Count = said("row")
    line: Count = said("line")


HELD_COLUMNS = columns_of(Held)
UNCOUNTED_COLUMNS = columns_of(Uncounted)
