"""Files that nobody should open: refused with a reason, in seconds and in little memory."""

from __future__ import annotations

import io
import multiprocessing
import os
import resource
import time
import zipfile
from collections.abc import Callable
from pathlib import Path

import pytest
import xlsxwriter
from small_sheets import FINDS

from pipeline.errors import RillbookError
from pipeline.intake.places_and_photos import split_waypoints
from pipeline.reading import files as read
from pipeline.reading.odd_files import MOST_COLUMNS, refuse_odd

MOST_S, MOST_BYTES = 5, 500 << 20
BOOK = '<workbook xmlns:r="r"><sheets><sheet name="finds" sheetId="1" r:id="r1"/></sheets></workbook>'
LINKS = '<Relationships><Relationship Id="r1" Target="worksheets/sheet1.xml" Type="w"/></Relationships>'
LONE = (
    '<worksheet><sheetData><row r="1"><c r="A1" t="inlineStr"><is><t>find_id</t></is></c></row>'
    '<row r="1048576"><c r="XFD1048576"><v>1</v></c></row></sheetData></worksheet>'
)


def workbook(path: Path) -> Path:
    with zipfile.ZipFile(path, "w", zipfile.ZIP_DEFLATED) as archive:
        archive.writestr("xl/workbook.xml", BOOK)
        archive.writestr("xl/_rels/workbook.xml.rels", LINKS)
        archive.writestr("xl/worksheets/sheet1.xml", LONE)
    return path


def zeros(path: Path) -> Path:
    """600 MB of zeros in a workbook of less than 1 MB, and a size in its list that says 1 kB."""
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED, compresslevel=1) as archive, archive.open("xl/worksheets/sheet1.xml", "w") as file:
        for _ in range(600):
            file.write(bytes(1 << 20))
    path.write_bytes(out.getvalue())
    return path


def pipe(path: Path) -> Path:
    os.mkfifo(path)
    return path


def wide(path: Path) -> Path:
    path.write_text(",".join(f"c{number}" for number in range(100_000)) + "\n" + ",".join("1" * 100_000) + "\n")
    return path


def rows_repeated(path: Path) -> Path:
    cell = '<table:table-cell office:value-type="float" office:value="1" table:number-columns-repeated="16384"/>'
    body = f'<table:table-row table:number-rows-repeated="1048576">{cell}</table:table-row>'
    with zipfile.ZipFile(path, "w", zipfile.ZIP_DEFLATED) as archive:
        archive.writestr("mimetype", "application/vnd.oasis.opendocument.spreadsheet")
        archive.writestr("content.xml", body)
    return path


ODD: dict[str, tuple[Callable[[Path], Path], str]] = {
    "lone.xlsx": (workbook, "reach to row 1048576 and column 16384, and only 2 are written"),
    "zeros.xlsx": (zeros, "more than 200 MB when unpacked"),
    "repeated.ods": (rows_repeated, "is repeated 16384 times"),
    "wide.csv": (wide, f"100000 columns; a sheet has at most {MOST_COLUMNS}"),
    "pipe.csv": (pipe, "this is a pipe"),
    "zero.csv": (lambda path: Path("/dev/zero"), "this is a device"),
    "folder.csv": (lambda path: path.parent, "this is a folder"),
}


def tried(path: str, answer: multiprocessing.connection.Connection) -> None:  # type: ignore[name-defined]
    """In a process of its own: read a file with little memory beyond what the libraries hold already."""
    held = int(Path("/proc/self/statm").read_text().split()[0]) * os.sysconf("SC_PAGE_SIZE")
    resource.setrlimit(resource.RLIMIT_AS, (held + MOST_BYTES, held + MOST_BYTES))
    started = time.process_time()
    try:
        answer.send((f"read: {len(read.read_files(split_waypoints([Path(path)])[0]))}", time.process_time() - started))
    except BaseException as problem:
        answer.send((f"{type(problem).__name__}: {problem}", time.process_time() - started))


@pytest.mark.parametrize("name", ODD)
def test_an_odd_file_is_refused_soon_and_in_little_memory(name: str, tmp_path: Path) -> None:
    make, said = ODD[name]
    path = make(tmp_path / name)
    # forked: a program started anew costs seconds, and what would fill the memory must not fill that of the tests
    context = multiprocessing.get_context("fork")
    here, there = context.Pipe()
    victim = context.Process(target=tried, args=(str(path), there))
    victim.start()
    there.close()
    assert here.poll(60), "no answer"
    words, seconds = here.recv()
    victim.join(10)
    assert words.startswith("RillbookError") and said in words, words
    assert seconds < MOST_S


def test_what_is_an_ordinary_file_or_is_missing_is_left_to_its_reader(tmp_path: Path) -> None:
    (tmp_path / "a.csv").write_text("a\n")
    refuse_odd([tmp_path / "a.csv", tmp_path / "none.csv"])


def test_a_sparse_but_ordinary_workbook_is_read(tmp_path: Path) -> None:
    with xlsxwriter.Workbook(tmp_path / "a.xlsx") as book:
        sheet = book.add_worksheet("finds")
        sheet.write("A1", "find_id")
        sheet.write("AZ1", "remarks")
        sheet.write("AZ900", "far")
    (table,) = read.read_file(tmp_path / "a.xlsx")
    assert table.lines.tolist() == [900]


@pytest.mark.parametrize(("cut", "held"), [(len("3,rock_in_flow,12.4\n"), True), (1, False), (3, False)])
def test_a_row_cut_at_the_end_of_a_file_is_held(tmp_path: Path, cut: int, held: bool) -> None:
    """A cut inside the last column cannot be seen; one before it leaves a short line without an end."""
    (tmp_path / "finds.csv").write_text(FINDS[:-cut])
    (table,) = read.read_file(tmp_path / "finds.csv")
    assert list(table.misshapen) == ([1] if held else [])


def test_a_short_last_line_with_an_end_is_kept(tmp_path: Path) -> None:
    (tmp_path / "finds.csv").write_text(FINDS[: -len("3,rock_in_flow,12.4\n")] + "\n")
    assert read.read_file(tmp_path / "finds.csv")[0].misshapen == {}


def test_a_folder_says_so() -> None:
    with pytest.raises(RillbookError, match="folder"):
        read.read_file(Path("/tmp"))
