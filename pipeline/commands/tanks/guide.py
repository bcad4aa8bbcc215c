"""From the keeper's notes and the targets of a book to the guide of one taxon."""

from __future__ import annotations

from pathlib import Path

from pipeline.commands.reports.report_files import Written
from pipeline.commands.tanks.audit import OUT, read_targets, slug
from pipeline.errors import RillbookError
from pipeline.settings import read_settings


def write_guide(folder: Path, taxon: str) -> Written:
    """Write the guide of a taxon.

    Parameters
    ----------
    folder : Path
        The book; its folder ``notes`` holds the keeper's words.
    taxon : str
        Taxon code.

    Returns
    -------
    Written

    Raises
    ------
    RillbookError
        No such taxon, no targets, or a note that cannot be read.
    """
    from pipeline.tanks.pages import guide

    settings = read_settings(folder)
    names = settings.taxa.set_index("code")["scientific_name"]
    if taxon not in names.index:
        raise RillbookError(f"{taxon!r} is not among the book's taxa.", f"Known: {', '.join(names.index)}.")
    targets, document = read_targets(folder / "out" / "targets.json", True)
    notes = guide.notes_of(folder / "notes", taxon)
    about = {
        "invented": settings.invented, "author": settings.author,
        "source": f"{document.get('study') or 'a study without a title'}, method {document.get('method_version', 'not said')}",
    }  # fmt: skip
    path = guide.write_guide(folder / "out" / OUT / f"guide_{slug(taxon)}.html", taxon, names[taxon], notes, targets, about)
    lacking = [title for section, title, _ in guide.SECTIONS if section not in notes]
    return Written([path], {}, [f"Shown as empty: {', '.join(lacking)}."] if lacking else [])
