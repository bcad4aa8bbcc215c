"""What to record on: the forms, the paper sheet and the workbook of one book, written together."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

from pipeline.book.connection import open_book
from pipeline.book.current import known_rows
from pipeline.entry import form, paper, tank_form, workbook
from pipeline.intake.settings_changed import settled
from pipeline.publishing.public_book import public_title
from pipeline.writing.files import PRIVATE


def write_sheets(folder: Path) -> list[Path]:
    """Write the form, the log of the enclosures, the paper sheet and the workbook under the book's `out/private/`: they know its sites.

    Parameters
    ----------
    folder : Path
        The book.

    Returns
    -------
    list of Path
        The files. They are blank and made anew each time.

    Raises
    ------
    RillbookError
        There is no book, or a file cannot be written.
    """
    settings = settled(folder)
    with open_book(folder) as connection:
        known = known_rows(connection)
    # sheets lie about in cars and huts: their heading names no more than a public page would
    title = public_title(settings, known)
    headed = replace(settings, title=title)
    out = folder / "out" / PRIVATE
    return [
        form.write(out, settings, known, title),
        tank_form.write(out, settings, known, title),
        paper.write(out, headed, known),
        workbook.write_workbook(out / workbook.FILE, headed, known),
    ]
