"""rillbook's own sheets: their headings are the names of the fields, so that they need no column map."""

from __future__ import annotations

from pipeline.errors import RillbookError
from pipeline.reading import headings
from pipeline.reading.rows import Cell, ColumnMap, FieldMap, SourceMap, SourceTable
from pipeline.reading.values import NOTHING
from schemas.tables import fields


def own_map(tables: list[SourceTable]) -> tuple[ColumnMap, list[str]]:
    """Map of rillbook's own sheets, whose headings are the names of the fields, with their units in brackets or without.

    Parameters
    ----------
    tables : list of SourceTable
        The sheets; each is recognised by the key field among its headings.

    Returns
    -------
    ColumnMap, list of str
        The map, and the sheets of workbooks that no table recognises.

    Raises
    ------
    RillbookError
        A text file, or every sheet of a workbook, is no sheet of rillbook's; a required column is missing; or what stands in the brackets
        of a heading is no unit.
    """
    sources, skipped = [], []
    for one in tables:
        table = headings.table_of(one)
        if table is None:
            skipped.append(one)
            continue
        names = headings.headings_of(one)
        for name, declared in fields(table).items():
            if declared.required and name not in names:
                raise RillbookError(f"the column {name} is missing.", f"{table} cannot be loaded without it.", one.label)
        settable = headings.filled_in(table)
        maps = tuple(
            FieldMap(name, (Cell(column),), style=headings.style_of(column, settable[name], one.label))
            for name, column in names.items()
            if name in settable
        )
        sources.append(SourceMap(one.file, one.sheet, NOTHING, (), {}, "count", {}, {table: maps}, strict=False))
    recognised = {source.file for source in sources}
    for one in skipped:
        if one.file not in recognised:
            raise RillbookError(
                f"no table has these columns: {', '.join(one.cells.columns[:6])}{' …' if one.cells.shape[1] > 6 else ''}.",
                "Name a column map with --map, or use the headings of docs/data_dictionary.md.", one.label,
            )  # fmt: skip
    return ColumnMap("", "", tuple(sources)), [one.label for one in skipped]
