"""Files to text: every common way in which a sheet is saved, and every way in which it can be broken.

That a CSV has quoted cells, doubled quote marks and line breaks within them: RFC 4180 §2. Byte order marks: The Unicode Standard, §23.8.
Spreadsheet files are written here by XlsxWriter and odfpy.
"""

from __future__ import annotations

import csv
import datetime as dt
import io
import zipfile
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from pipeline.errors import RillbookError
from pipeline.reading.files import decode, find_delimiter, read_file, read_files
from pipeline.reading.rows import SourceTable

PLAIN = "id,name\n1,é\n2,x\n"


def _read(folder: Path, content: bytes | str, name: str = "a.csv") -> SourceTable:
    (folder / name).write_bytes(content.encode() if isinstance(content, str) else content)
    (table,) = read_file(folder / name)
    return table


def _cells(table: SourceTable) -> list[list[str]]:
    return [list(table.cells.columns), *table.cells.to_numpy().tolist()]


@pytest.mark.parametrize("delimiter", [",", ";", "\t", "|"])
@pytest.mark.parametrize("end", ["\n", "\r\n", "\r"])
def test_delimiters_and_line_ends(tmp_path: Path, delimiter: str, end: str) -> None:
    table = _read(tmp_path, PLAIN.replace(",", delimiter).replace("\n", end))
    assert _cells(table) == [["id", "name"], ["1", "é"], ["2", "x"]]
    assert table.lines.tolist() == [2, 3]


@pytest.mark.parametrize(
    ("mark", "encoding"),
    [
        (b"", "utf-8"), (b"\xef\xbb\xbf", "utf-8"), (b"", "cp1252"), (b"", "utf-16-le"), (b"", "utf-16-be"),
        (b"\xff\xfe", "utf-16-le"), (b"\xfe\xff", "utf-16-be"),
    ],
)  # fmt: skip
def test_encodings(tmp_path: Path, mark: bytes, encoding: str) -> None:
    assert _cells(_read(tmp_path, mark + PLAIN.encode(encoding))) == [["id", "name"], ["1", "é"], ["2", "x"]]


def test_every_byte_of_windows_1252_is_kept() -> None:
    given = bytes(range(0x20, 0x100))
    text = decode(given, "a.csv")
    assert len(set(text)) == len(given)
    # the WHATWG Encoding Standard's index windows-1252 gives these bytes these signs, and leaves 0x81 a control sign
    assert (text[0x80 - 0x20], text[0x81 - 0x20], text[0x96 - 0x20], text[0xB0 - 0x20]) == ("€", "\x81", "–", "°")


def test_cells_stay_text(tmp_path: Path) -> None:
    given = ["007", "1,50", "NA", " x ", "1e3", "TRUE", "2012-06-16", "1/2", "=1+1", "nan", "null", "−3", "12.0", "\u00a05"]
    table = _read(tmp_path, "\t".join(f"c{place}" for place in range(len(given))) + "\n" + "\t".join(given))
    assert table.cells.iloc[0].tolist() == given
    assert {str(kind) for kind in table.cells.dtypes} == {"str"}


def test_quoted_cells_with_delimiters_and_line_breaks(tmp_path: Path) -> None:
    table = _read(tmp_path, 'a,b\n"x\ny",1\n2,"p,q"\n"r\r\ns",5\n"say ""hi""",7\n')
    assert _cells(table)[1:] == [["x\ny", "1"], ["2", "p,q"], ["r\r\ns", "5"], ['say "hi"', "7"]]
    assert table.lines.tolist() == [2, 4, 5, 7]


def test_old_mac_line_ends_within_quotes(tmp_path: Path) -> None:
    table = _read(tmp_path, 'a,b\r"x\ry",1\r2,3\r')
    assert _cells(table)[1:] == [["x\ry", "1"], ["2", "3"]]
    assert table.lines.tolist() == [2, 4]


def test_signs_that_only_look_like_line_ends_stay(tmp_path: Path) -> None:
    table = _read(tmp_path, "a,b\n1,x\x0cy\u2028z\x85w\n2,y\n")
    assert table.cells.iloc[0, 1] == "x\x0cy\u2028z\x85w"
    assert table.lines.tolist() == [2, 3]


def test_short_rows_are_padded_and_long_ones_kept_apart(tmp_path: Path) -> None:
    table = _read(tmp_path, "a,b,c\n1\n1,2\n1,2,3,4\n1,2,3,\n1,2,3,, \n,,,x\n")
    assert _cells(table)[1:3] == [["1", "", ""], ["1", "2", ""]]
    assert table.misshapen == {2: ("1", "2", "3", "4"), 5: ("", "", "", "x")}
    assert len(table.cells) == 6


def test_blank_rows_are_counted_and_do_not_shift_lines(tmp_path: Path) -> None:
    table = _read(tmp_path, "\n\na,b\n\n1,2\n,,\n3,4\n \t \n")
    assert _cells(table) == [["a", "b"], ["1", "2"], ["3", "4"]]
    assert (table.lines.tolist(), table.blank_rows) == ([5, 7], 5)


def test_a_blank_first_row_does_not_hide_the_delimiter(tmp_path: Path) -> None:
    assert _cells(_read(tmp_path, " \na;b\n1;2\n")) == [["a", "b"], ["1", "2"]]


def test_a_cell_that_swallowed_a_sheet_is_refused_whatever_other_libraries_allow(tmp_path: Path) -> None:
    """131 072 characters are the csv module's own limit, which any library in the process may lift."""
    before = csv.field_size_limit(10_000_000)
    try:
        assert _read(tmp_path, f"a,b\n{'x' * 131_072},1\n").cells.shape == (1, 2)
        with pytest.raises(RillbookError, match="longer than 131072"):
            _read(tmp_path, f"a,b\n{'x' * 131_073},1\n")
    finally:
        csv.field_size_limit(before)


def test_trailing_delimiters(tmp_path: Path) -> None:
    assert _cells(_read(tmp_path, "a,b,\n1,2,\n3,4,\n")) == [["a", "b"], ["1", "2"], ["3", "4"]]


def test_a_blank_heading_gets_its_place_as_name(tmp_path: Path) -> None:
    assert _cells(_read(tmp_path, "a,,b\n1,2,3\n")) == [["a", "column 2", "b"], ["1", "2", "3"]]


def test_headings_are_stripped_and_cells_are_not(tmp_path: Path) -> None:
    assert _cells(_read(tmp_path, " a , b \n 1 , 2 \n")) == [["a", "b"], [" 1 ", " 2 "]]


def test_one_column(tmp_path: Path) -> None:
    assert _cells(_read(tmp_path, 'note\n"a, b"\nx; y\n')) == [["note"], ["a, b"], ["x; y"]]


def test_a_header_alone(tmp_path: Path) -> None:
    table = _read(tmp_path, "a,b\n")
    assert _cells(table) == [["a", "b"]]
    assert str(table.cells["a"].dtype) == "str"


@pytest.mark.parametrize(
    ("text", "delimiter"),
    [
        ("a;b\n1,5;2,5\n", ";"),
        ("temp,c;b,x\n1,5;2,5\n3,1;4,4\n", ";"),
        ("a;b;remarks\n1,5;2,5;seen, twice, here\n3,1;4,4;none\n", ";"),
        ('id,remarks\n1,"a; b; c"\n2,"d; e; f"\n', ","),
        ("id,remarks\n1,a; b; c\n2,d; e; f\n", ","),
        ("id\tremarks\n1\ta, b, c\n2\td, e, f\n", "\t"),
        ("id,taxa\n1,A|B\n2,A|B\n", ","),
        ("taxa\nA|B\nA|B\n", ","),
        ('id;note\n1;"a,\nb,\nc"\n2;x\n', ";"),
        ("id,a (x;y),b\n1,2,3\n4,5,6\n", ","),
        ('"id";"a,b"\n"1";"2,5"\n"3";"4,5"\n', ";"),
        ("", ","),
    ],
)
def test_the_delimiter_is_found_among_commas_in_numbers_and_sentences(text: str, delimiter: str) -> None:
    assert find_delimiter(text) == delimiter


@pytest.mark.parametrize(
    ("content", "message"),
    [
        ("", "the file is empty"),
        (" \n\n", "the file is empty"),
        (b"\xef\xbb\xbf", "the file holds no text"),
        (b"\xff\xfe", "the file holds no text"),
        (",,\n,,\n", "the file holds no text"),
        (bytes(range(256)) * 4, "not a text file or a workbook"),
        ("a,b\n1\x00,2\n" * 20, "not a text file or a workbook"),
        (b"\xff\xfe" + "a,b\n1\x00,2\n".encode("utf-16-le"), "not a text file or a workbook"),
        (b"\xff\xfea\x00,", "says it is utf-16-le text and is not"),
        (b"\xef\xbb\xbfa,b\n\xe9,1\n", "says it is utf-8 text and is not"),
        ("a,b\né,à\nö,ü\n".encode() + b"\xe9,1\n", "line 4: most of the file is UTF-8 text"),
        ("a,a\n1,2\n", "line 1: two columns are named 'a'"),
        ("\na, a\n1,2\n", "line 2: two columns are named 'a'"),
        ('a,b\n1,"x\n2,y\n3,z\n', "line 2: the file cannot be cut into cells.*stray quote mark"),
        ('a,b\n1,2\n1,"5" rock"\n2,y\n', "line 3: the file cannot be cut into cells.*stray quote mark"),
        ("a,b\n" + "x" * 200_000 + ",2\n", "line 2: the file cannot be cut into cells"),
    ],
)
def test_a_broken_file_is_one_clear_line(tmp_path: Path, content: bytes | str, message: str) -> None:
    with pytest.raises(RillbookError, match=message) as caught:
        _read(tmp_path, content)
    assert "a.csv" in str(caught.value)
    assert "\n" not in str(caught.value)


def test_a_quote_mark_within_a_cell_is_a_sign_like_others(tmp_path: Path) -> None:
    assert _cells(_read(tmp_path, 'a,b\n1,5" rock\n2,y\n'))[1] == ["1", '5" rock']


def test_missing_file_and_folder(tmp_path: Path) -> None:
    with pytest.raises(RillbookError, match="there is no such file"):
        read_file(tmp_path / "none.csv")
    with pytest.raises(RillbookError, match="this is a folder"):
        read_file(tmp_path)


def test_two_files_of_one_name(tmp_path: Path) -> None:
    (tmp_path / "b").mkdir()
    for path in (tmp_path / "a.csv", tmp_path / "b" / "a.csv"):
        path.write_text("a\n1\n")
    with pytest.raises(RillbookError, match="two of the files have the same name"):
        read_files([tmp_path / "a.csv", tmp_path / "b" / "a.csv"])


CELL = st.text(st.characters(codec="utf-8", exclude_characters="\x00\r"), max_size=8)


@settings(max_examples=60)
@given(st.lists(st.lists(CELL, min_size=3, max_size=3), max_size=5), st.sampled_from([",", ";", "\t", "|"]))
def test_what_a_writer_of_csv_writes_comes_back(tmp_path_factory: pytest.TempPathFactory, body: list[list[str]], delimiter: str) -> None:
    body = [row for row in body if any(cell.strip() for cell in row)]
    text = io.StringIO()
    csv.writer(text, delimiter=delimiter, quoting=csv.QUOTE_ALL).writerows([["a", "b", "c"], *body])
    assert _cells(_read(tmp_path_factory.mktemp("csv"), text.getvalue())) == [["a", "b", "c"], *body]


def _workbook(path: Path, *cells: tuple[str, Any, str]) -> bytes:
    """A sheet with one row below its headings: heading, value, number format."""
    import xlsxwriter

    book = xlsxwriter.Workbook(str(path))
    sheet = book.add_worksheet("finds")
    for column, (heading, value, number_format) in enumerate(cells):
        sheet.write_string(0, column, heading)
        style = book.add_format({"num_format": number_format})
        if isinstance(value, (dt.date, dt.time, dt.timedelta)):
            sheet.write_datetime(1, column, value, style)
        elif value == "#DIV/0!":
            sheet.write_formula(1, column, "=1/0", style, value)
        elif value is None:
            sheet.write_blank(1, column, None, style)
        else:
            sheet.write(1, column, value, style)
    book.add_worksheet("empty")
    book.close()
    return path.read_bytes()


CELLS = (
    ("id", "007", "", "007"),
    ("date", dt.date(2012, 6, 16), "yyyy-mm-dd", "2012-06-16"),
    ("american date", dt.date(2012, 6, 16), "m/d/yy", "2012-06-16"),
    ("clock", dt.time(21, 30), "hh:mm", "21:30"),
    ("midnight", dt.time(0, 0), "hh:mm", "00:00"),
    ("seconds", dt.time(21, 30, 15), "hh:mm:ss", "21:30:15"),
    ("hours", dt.timedelta(hours=25, minutes=5), "[h]:mm", "25:05"),
    ("moment", dt.datetime(2012, 6, 16, 21, 30), "yyyy-mm-dd hh:mm", "2012-06-16 21:30:00"),
    ("a crumb before midnight", 41076.99999999, "yyyy-mm-dd", "2012-06-17"),
    ("a crumb before a day is over", 0.999999, "hh:mm", "23:59:59"),
    ("serial", 41076, "General", "41076"),
    ("yes", True, "", "TRUE"),
    ("whole", 12.0, "", "12"),
    ("shown as 12.00", 12.0, "0.00", "12"),
    ("tenth", 0.1, "", "0.1"),
    ("shown as a percentage", 0.25, "0%", "0.25"),
    ("small", 1e-7, "", "1e-07"),
    ("blank", None, "", ""),
    ("error", "#DIV/0!", "", "#DIV/0!"),
    ("last", "x", "", "x"),
)


def test_cells_of_a_workbook(tmp_path: Path) -> None:
    _workbook(tmp_path / "w.xlsx", *(cell[:3] for cell in CELLS))
    (table,) = read_file(tmp_path / "w.xlsx")
    assert (table.file, table.sheet, table.lines.tolist()) == ("w.xlsx", "finds", [2])
    assert table.cells.iloc[0].to_dict() == {heading: text for heading, _, _, text in CELLS}


def test_merged_cells_offset_sheets_and_several_sheets(tmp_path: Path) -> None:
    import xlsxwriter

    book = xlsxwriter.Workbook(str(tmp_path / "w.xlsx"))
    one, two = book.add_worksheet("one & only"), book.add_worksheet("two")
    one.write_row(0, 0, ["a", "b"])
    one.merge_range(1, 0, 2, 0, "M")
    one.write_column(1, 1, ["x", "y"])
    two.write_row(3, 2, ["c", "d"])
    two.write(5, 2, 1)
    two.write_formula(5, 3, "=NA()", None, "#N/A")
    book.add_chartsheet("chart")
    book.close()
    first, second = read_file(tmp_path / "w.xlsx")
    # only the first of merged cells holds the text
    assert _cells(first)[1:] == [["M", "x"], ["", "y"]]
    assert _cells(second) == [["column 1", "column 2", "c", "d"], ["", "", "1", "#N/A"]]
    assert (first.sheet, second.sheet, second.lines.tolist(), second.blank_rows) == ("one & only", "two", [6], 4)


def test_the_bytes_decide_what_a_file_is(tmp_path: Path) -> None:
    content = _workbook(tmp_path / "w.xlsx", ("a", 1, ""))
    assert _cells(_read(tmp_path, content, "text.csv")) == [["a"], ["1"]]
    assert _cells(_read(tmp_path, "a,b\n1,2\n", "book.xlsx")) == [["a", "b"], ["1", "2"]]


def test_broken_and_empty_workbooks(tmp_path: Path) -> None:
    import xlsxwriter

    whole = _workbook(tmp_path / "w.xlsx", ("a", 1, ""))
    zipped = io.BytesIO()
    with zipfile.ZipFile(zipped, "w") as archive:
        archive.writestr("a.txt", "x")
    for content in (whole[:2000], zipped.getvalue(), b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1" + b"\x00" * 600):
        with pytest.raises(RillbookError, match=r"the workbook cannot be opened.*save it as XLSX or CSV"):
            _read(tmp_path, content, "b.xls")
    book = xlsxwriter.Workbook(str(tmp_path / "e.xlsx"))
    book.add_worksheet()
    book.close()
    with pytest.raises(RillbookError, match="the workbook is empty"):
        read_file(tmp_path / "e.xlsx")


def test_an_open_document_sheet(tmp_path: Path) -> None:
    from odf.opendocument import OpenDocumentSpreadsheet
    from odf.table import Table, TableCell, TableRow
    from odf.text import P

    given = [
        ("id", {"valuetype": "string"}, "007"),
        ("date", {"valuetype": "date", "datevalue": "2012-06-16"}, "2012-06-16"),
        ("clock", {"valuetype": "time", "timevalue": "PT21H30M00S"}, "21:30"),
        ("moment", {"valuetype": "date", "datevalue": "2012-06-16T21:30:00"}, "2012-06-16 21:30:00"),
        ("yes", {"valuetype": "boolean", "booleanvalue": "true"}, "TRUE"),
        ("whole", {"valuetype": "float", "value": "12"}, "12"),
        ("tenth", {"valuetype": "float", "value": "0.1"}, "0.1"),
    ]
    sheet = Table(name="sites")
    for row in ([({"valuetype": "string"}, heading) for heading, _, _ in given], None, [(words, text) for _, words, text in given]):
        line = TableRow() if row is not None else TableRow(numberrowsrepeated=3)
        for words, text in row or [({}, "")]:
            cell = TableCell(**words)
            cell.addElement(P(text=text))
            line.addElement(cell)
        sheet.addElement(line)
    document = OpenDocumentSpreadsheet()
    document.spreadsheet.addElement(sheet)
    document.save(str(tmp_path / "w.ods"))
    (table,) = read_file(tmp_path / "w.ods")
    assert table.cells.iloc[0].to_dict() == {heading: text for heading, _, text in given}
    assert (table.sheet, table.lines.tolist(), table.blank_rows) == ("sites", [5], 3)


@pytest.mark.open_data
def test_a_real_sheet_with_old_line_ends(open_data: Path) -> None:
    (table,) = read_file(open_data / "gsmnp_2012" / "TransectData2012.csv")
    assert table.cells.shape == (195, 146)
    assert table.lines.tolist() == list(range(2, 197))


@pytest.mark.open_data
def test_a_real_workbook_says_the_same_as_its_text_file(open_data: Path) -> None:
    from pipeline.reading.values import Style, possible_days

    folder = open_data / "canaan_valley_2001_2006"
    (text,) = read_file(folder / "CVNWR_transects.csv")
    book = {table.sheet: table for table in read_file(folder / "CVNWR_transects.xlsx")}["Transects"]
    assert list(book.cells.columns) == list(text.cells.columns)
    assert book.cells.shape == text.cells.shape
    different = 0
    for column in text.cells:
        for written, cell in zip(text.cells[column].str.strip(), book.cells[column].str.strip(), strict=True):
            days = possible_days(written, Style(date_order="mdy", pivot=50))
            same = written == cell or (days and days == possible_days(cell)) or _number(written) == _number(cell) is not None
            different += not same
    assert different == 0


def _number(text: str) -> float | None:
    try:
        return float(text)
    except ValueError:
        return None
