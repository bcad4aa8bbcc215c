"""A book's settings: each mistake is one clear line that names the file and the word."""

from __future__ import annotations

from pathlib import Path

import pytest

from pipeline.errors import RillbookError
from pipeline.settings import Area, data_file, parse_settings, read_settings

BOOK = '[book]\ntime_zone = "America/New_York"\n'
TAXON = '[[taxon]]\ncode = "AAAA"\nscientific_name = "Aus aus"\ngroup = "cool_stream"\n'
OTHER = TAXON.replace("AAAA", "BBBB")
AREA = '[[area]]\ncode = "X"\n'

MISTAKES = {
    "no zone": ("", "time_zone '' is not a known time zone"),
    "unknown zone": ('[book]\ntime_zone = "Mars/Rim"', "time_zone 'Mars/Rim' is not a known"),
    "a folder of zones": ('[book]\ntime_zone = "America"', "time_zone 'America' is not a known"),
    "a path": ('[book]\ntime_zone = "../passwd"', "time_zone '../passwd' is not a known"),
    "zone as a number": ("[book]\ntime_zone = 5", "time_zone must be a text"),
    "title as a number": (BOOK + "title = 5", "title must be a text"),
    "unknown word": (BOOK + "colour = 1", r"\[book\]: unknown word 'colour'"),
    "unknown table": (BOOK + "[boook]", "unknown word 'boook'"),
    "book no table": ("book = 3", r"book must stand as a heading \[book\]"),
    "one bracket for a taxon": (BOOK + '[taxon]\ncode = "A"', r"taxon must stand as a heading \[\[taxon\]\]"),
    "one bracket for an area": (BOOK + '[area]\ncode = "A"', r"area must stand as a heading \[\[area\]\]"),
    "month 13": (BOOK + "warm_months = [13]", "warm_months must be a list of whole numbers from 1 to 12"),
    "month 0": (BOOK + "cold_months = [0]", "cold_months must be"),
    "months no list": (BOOK + "warm_months = 6", "warm_months must be"),
    "months as text": (BOOK + 'warm_months = ["6"]', "warm_months must be"),
    "months as yes": (BOOK + "warm_months = [true]", "warm_months must be"),
    "no months": (BOOK + "warm_months = []", "warm_months must be"),
    "month twice": (BOOK + "warm_months = [6, 6]", "each once"),
    "seed as text": (BOOK + 'seed = "x"', "seed must be a whole number"),
    "seed below zero": (BOOK + "seed = -1", "seed must be"),
    "seed as fraction": (BOOK + "seed = 1.5", "seed must be"),
    "invented as text": (BOOK + 'invented = "no"', "invented must be true or false"),
    "unknown precision": (BOOK + "public_precision_deg = 0.5", "public_precision_deg '0.5' is not one of withheld, 1, 0.1"),
    "taxon without code": (BOOK + TAXON.replace('"AAAA"', '""'), r"a \[\[taxon\]\] has no code"),
    "taxon without name": (BOOK + '[[taxon]]\ncode = "A"\ngroup = "cave"', r"a \[\[taxon\]\] has no scientific_name"),
    "taxon without group": (BOOK + '[[taxon]]\ncode = "A"\nscientific_name = "A"', r"a \[\[taxon\]\] has no group"),
    "unknown group": (BOOK + TAXON.replace("cool_stream", "brook"), "taxon AAAA: group 'brook' is not one of cool_stream"),
    "unknown rank": (BOOK + TAXON + 'rank = "sort"', "rank 'sort' is not one of species"),
    "unknown sensitivity": (BOOK + TAXON + 'sensitivity = "high"', "sensitivity 'high' is not one of withheld"),
    "unknown word in a taxon": (BOOK + TAXON + "size = 3", r"\[\[taxon\]\]: unknown word 'size'"),
    "code as a number": (BOOK + TAXON.replace('"AAAA"', "5"), "taxon code 5 must be a text"),
    "code with a bar": (BOOK + TAXON.replace("AAAA", "A|B"), r"'A\|B' may hold letters"),
    "code that is the folder above": (BOOK + TAXON.replace("AAAA", ".."), r"'\.\.'"),
    "code that is a device": (BOOK + TAXON.replace("AAAA", "CON"), "taxon code 'CON' cannot be part of a file's name everywhere"),
    "code that is a device in small letters": (BOOK + TAXON.replace("AAAA", "com1"), "taxon code 'com1' cannot be part"),
    "taxon twice": (BOOK + TAXON + TAXON, "taxon 'AAAA' is declared twice"),
    "taxon twice in another case": (BOOK + TAXON + TAXON.replace("AAAA", "aaaa"), "taxon 'aaaa' is declared twice"),
    "alias of two taxa": (BOOK + TAXON + 'aliases = ["x"]\n' + OTHER + 'aliases = ["X"]', "alias 'X' belongs to AAAA and to BBBB"),
    "alias that is another code": (BOOK + TAXON + 'aliases = ["bbbb"]\n' + OTHER, "alias 'bbbb' belongs to BBBB and to AAAA"),
    "alias as a number": (BOOK + TAXON + "aliases = [3]", "aliases must be a list of texts"),
    "paedomorphic as text": (BOOK + TAXON + 'paedomorphic = "yes"', "paedomorphic must be true or false"),
    "overlap as text": (BOOK + TAXON + 'overlap_svl_low_mm = "x"', "overlap_svl_low_mm must be a number from 5 to 200"),
    "overlap too long": (BOOK + TAXON + "overlap_svl_high_mm = 3000", "overlap_svl_high_mm must be a number"),
    "overlap turned round": (BOOK + TAXON + "overlap_svl_low_mm = 30\noverlap_svl_high_mm = 20", "overlap_svl_low_mm is above"),
    "area of two numbers": (BOOK + AREA + "circle = [36, -81]", "needs a code and either circle"),
    "area of words": (BOOK + AREA + 'circle = [36, -81, "x"]', "needs a code and either circle"),
    "area of both kinds": (BOOK + AREA + "circle = [36, -81, 5]\nbox = [36, -82, 37, -81]", "needs a code and either circle"),
    "area without code": (BOOK + "[[area]]\ncircle = [36, -81, 5]", "needs a code and either circle"),
    "latitude and longitude swapped": (BOOK + AREA + "circle = [-181, 36, 5]", "area 'X' lies nowhere"),
    "box upside down": (BOOK + AREA + "box = [37, -82, 36, -81]", "area 'X' lies nowhere"),
    "no radius": (BOOK + AREA + "circle = [36, -81, 0]", "area 'X' lies nowhere"),
    "not a number": (BOOK + AREA + "circle = [nan, -81, 5]", "area 'X' lies nowhere"),
    "area twice": (BOOK + (AREA + "circle = [36, -81, 5]\n") * 2, "area 'X' is declared twice"),
    "broken TOML": ("[book\n", "not valid TOML: .*line 1"),
    "a word twice": (BOOK + 'time_zone = "UTC"\n', "not valid TOML: .*line 3"),
}


@pytest.mark.parametrize("mistake", MISTAKES)
def test_a_mistake_is_one_clear_line(mistake: str) -> None:
    text, message = MISTAKES[mistake]
    with pytest.raises(RillbookError, match=message) as caught:
        parse_settings(text, "rillbook.toml")
    assert str(caught.value).startswith("rillbook.toml")
    assert "\n" not in str(caught.value)
    assert caught.value.remedy


def test_defaults() -> None:
    settings = parse_settings(BOOK, "rillbook.toml")
    assert settings.warm_months == (6, 7, 8, 9)
    assert settings.cold_months == (12, 1, 2, 3)
    assert (settings.public_precision_deg, settings.invented, settings.areas, len(settings.taxa)) == ("0.1", False, (), 0)


def test_everything_said() -> None:
    text = (
        BOOK + 'title = "T"\ninvented = true\npublic_precision_deg = 0.01\nseed = 7\nwarm_months = [5, 6]\n'
        '[[area]]\ncode = "X"\nbox = [36, -82, 37.5, -81]\n[[area]]\ncode = "Y"\ncircle = [36, -81, 5]\n'
        + TAXON + 'aliases = ["A. aus", "aus"]\nsensitivity = 0.1\npaedomorphic = true\noverlap_svl_low_mm = 20\n' + OTHER
    )  # fmt: skip
    settings = parse_settings(text, "rillbook.toml")
    assert settings.areas == (Area("X", "box", (36.0, -82.0, 37.5, -81.0)), Area("Y", "circle", (36.0, -81.0, 5.0)))
    assert (settings.title, settings.invented, settings.public_precision_deg, settings.seed) == ("T", True, "0.01", 7)
    first, second = settings.taxa.to_dict("records")
    assert (first["aliases"], first["sensitivity"], first["paedomorphic"], first["overlap_svl_low_mm"]) == ("A. aus|aus", "0.1", True, 20.0)
    assert (second["rank"], second["aliases"], second["paedomorphic"]) == ("species", "", False)


def test_a_file_with_a_byte_order_mark(tmp_path: Path) -> None:
    (tmp_path / "rillbook.toml").write_bytes(b"\xef\xbb\xbf" + BOOK.encode())
    assert read_settings(tmp_path).time_zone == "America/New_York"


def test_a_file_that_is_no_utf_8(tmp_path: Path) -> None:
    (tmp_path / "rillbook.toml").write_bytes((BOOK + 'title = "é"').encode("cp1252"))
    with pytest.raises(RillbookError, match=r"rillbook\.toml: the file is not UTF-8 text"):
        read_settings(tmp_path)


def test_a_folder_that_is_no_book(tmp_path: Path) -> None:
    with pytest.raises(RillbookError, match=r"is not a book: it has no rillbook\.toml.*rillbook init"):
        read_settings(tmp_path)


def test_the_settings_of_a_new_book_are_in_order() -> None:
    assert parse_settings(data_file("new_book.toml").read_text(encoding="utf-8"), "new_book.toml").time_zone
