"""A first column map for strange sheets, printed or written to a new file."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

from pipeline.errors import RillbookError
from pipeline.mapping.first_map import first_map
from pipeline.mapping.write_first_map import open_points, written
from pipeline.reading import files as read
from pipeline.reading.headings import is_guide, table_of
from pipeline.settings import FILE_NAME, read_settings


@dataclass(frozen=True)
class FirstMapText:
    """A proposed map, and how much of it waits for a person.

    Attributes
    ----------
    text : str
        The map as TOML.
    guesses, questions : int
        How many guesses must be confirmed, and how many words stand as ``ask``.
    notes : list of str
        What to know beside.
    """

    text: str
    guesses: int
    questions: int
    notes: list[str]


def propose(paths: list[Path], book: Path, out: Path | None = None) -> FirstMapText:
    """Propose a column map for sheets, and write it if asked to.

    Parameters
    ----------
    paths : list of Path
        Sheets of one survey.
    book : Path
        A book whose taxa are known; a folder without one knows none.
    out : Path, optional
        A new file.

    Returns
    -------
    FirstMapText

    Raises
    ------
    RillbookError
        A sheet cannot be read or holds no rows, or the file is there already.
    """
    if out is not None and out.exists():
        raise RillbookError("this file is there already, and is not written over.", "Choose another name, or move it away.", str(out))
    taxa, notes = _taxa(book)
    sheets = [one for one in read.read_files(paths) if not is_guide(one)]
    empty = [one for one in sheets if one.cells.empty]
    notes += [f"{one.label}: only a heading, no rows; nothing is proposed for it." for one in empty]
    notes += [f"{one.label}: its headings are rillbook's own; it can be loaded without a map." for one in sheets if table_of(one)]
    sheets = [one for one in sheets if not one.cells.empty]
    if not sheets:
        raise RillbookError("there are no rows from which to propose a map.", "Give a sheet with records in it.", str(paths[0]))
    proposed = first_map(sheets, taxa)
    notes += [
        f"{source.sheet.label}: no column of dates is known for certain, so only sites are proposed."
        for source in proposed.sources
        if not any(line.path == "visits.visit_date" for line in source.lines)
    ]
    text = written(proposed)
    if out is not None:
        try:
            with out.open("x", encoding="utf-8", newline="\n") as file:
                file.write(text)
        except OSError as problem:
            raise RillbookError(f"the map cannot be written ({problem.strerror}).", "Check the folder.", str(out)) from None
    return FirstMapText(text, *open_points(proposed), notes)


def _taxa(book: Path) -> tuple[dict[str, str], list[str]]:
    """Code of each name that the book knows, in lower case."""
    if not (book / FILE_NAME).exists():
        return {}, ["There is no book here: names of taxa are taken as they stand in the sheet."]
    known = read_settings(book).taxa
    names: dict[str, str] = {}
    for row in known.to_dict("records"):
        aliases = row["aliases"].split("|") if isinstance(row["aliases"], str) else []
        names.update({name.casefold(): row["code"] for name in (row["code"], row["scientific_name"], *aliases)})
    return names, []
