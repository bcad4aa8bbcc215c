"""Logger exports: every layout is read right or refused; nothing is guessed, nothing is dropped, memory does not grow with the file.

The hand-made files follow the layouts of real exports: those of djhocking/sparcnetfsu @7b45907 (CC0) and ibot-geoecology/myClim @45e0bd6.
The counts of the real files (118 files, 210,873 temperatures, 8,846 light values; 20,881 readings in four layouts; -200 for no sensor) are
those of the README of the open data.
"""

from __future__ import annotations

import re
import tracemalloc
from collections import Counter
from datetime import date, datetime, timedelta
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from hypothesis import assume, given
from hypothesis import strategies as st
from logger_exports import (
    DECIMAL_COMMA,
    FAHRENHEIT,
    INDEXED,
    ISO_OFFSETS,
    MONTH_NAMES,
    NO_HEADING,
    PREAMBLE,
    THREE_TIMES,
    TWO_LINES_12H,
    TWO_LINES_24H,
    UNIT_COLUMN,
    UNITS_BELOW,
)  # fmt: skip
from logger_texts import OFFSET_ONLY, STATED, TODAY, read, stated, times, write

from pipeline.errors import RillbookError
from pipeline.loggers import dates as logger_dates
from pipeline.loggers import export_rows
from pipeline.loggers import exports as logger_files
from pipeline.loggers import text as logger_text
from pipeline.loggers.exports import Layout
from pipeline.loggers.map import parse_logger_map, read_logger_map
from schemas.tables import fields

MAPS = Path(__file__).resolve().parents[2] / "data" / "column_maps"
LAYOUTS = {
    "two lines, 24 h": (TWO_LINES_24H, {"heading": 2, "reading": 3, "event": 1}),
    "two lines, 12 h": (TWO_LINES_12H, {"heading": 2, "reading": 3, "event": 1}),
    "preamble": (PREAMBLE, {"heading": 7, "reading": 3, "event": 1}),
    "date_time, date, time": (THREE_TIMES, {"heading": 1, "reading": 3}),
    "index, date, time": (INDEXED, {"heading": 1, "reading": 3}),
    "unit column": (UNIT_COLUMN, {"heading": 5, "reading": 3}),
    "no heading": (NO_HEADING, {"reading": 3}),
    "decimal comma": (DECIMAL_COMMA, {"heading": 1, "reading": 3, "event": 1}),
    "fahrenheit": (FAHRENHEIT, {"heading": 1, "reading": 3}),
    "units below": (UNITS_BELOW, {"heading": 2, "reading": 3}),
    "offset in each row": (ISO_OFFSETS, {"heading": 1, "reading": 3}),
    "month names": (MONTH_NAMES, {"heading": 1, "reading": 3}),
}


@pytest.mark.parametrize("encoding", ["utf-8", "utf-8-sig", "cp1252", "utf-16"])
@pytest.mark.parametrize("name", LAYOUTS)
def test_each_layout_gives_the_same_readings(name: str, encoding: str, tmp_path: Path) -> None:
    text, fates = LAYOUTS[name]
    path = write(tmp_path, text, encoding=encoding)
    assert logger_files.is_export(path)
    frame, rows, held, _ = read(logger_files.inspect(path, OFFSET_ONLY, TODAY))
    assert times(frame) == ["2017-12-17 01:00:00", "2017-12-17 03:00:00", "2017-12-17 05:00:00"]
    np.testing.assert_allclose(frame["temp_c"], [20.5, 19, 18.5], atol=1e-9)
    assert rows == fates and not held


@pytest.mark.parametrize("end", ["\n", "\r\n", "\r"])
def test_line_ends_do_not_matter(end: str, tmp_path: Path) -> None:
    frame, rows, _, _ = read(logger_files.inspect(write(tmp_path, PREAMBLE.replace("\n", end)), None, TODAY))
    assert len(frame) == 3 and rows["heading"] == 7


def test_binary_and_half_utf8_files_are_refused(tmp_path: Path) -> None:
    with pytest.raises(RillbookError, match="not a text file"):
        logger_files.inspect(write(tmp_path, b"PK\x03\x04\x00\x00"), STATED, TODAY)
    with pytest.raises(RillbookError, match="some of it is not"):
        logger_files.inspect(write(tmp_path, "°°°°".encode() + b"\xb0\n"), STATED, TODAY)
    with pytest.raises(RillbookError, match="cannot be read"):
        logger_files.inspect(tmp_path / "none.csv", STATED, TODAY)


def test_a_cut_off_sign_at_the_end_is_windows_text(tmp_path: Path) -> None:
    path = write(tmp_path, b"Date Time,Temp C\n2020-05-06 10:00,12\n2020-05-06 11:00,12\n-end \xc3")
    assert logger_files.inspect(path, STATED, TODAY).encoding == "windows-1252"


def test_the_offset_of_the_file_goes_before_that_of_the_map_and_is_told(tmp_path: Path) -> None:
    layout = logger_files.inspect(write(tmp_path, TWO_LINES_24H), stated('utc_offset = "+02:00"'), TODAY)
    assert layout.offset == timedelta(hours=-5) and layout.contradictions[0][0] == "offset_contradicts"


def test_the_logger_is_the_one_of_the_book_that_the_file_names(tmp_path: Path) -> None:
    layout = logger_files.inspect(write(tmp_path, TWO_LINES_24H, "tank1.csv"), None, TODAY)
    assert layout.names == ("tank1", "20153879", "1")
    assert export_rows.resolve(layout, ["tank1", "pool"]).logger_id == "tank1"
    assert export_rows.resolve(layout, ["20153879"]).logger_id == "20153879"
    with pytest.raises(RillbookError, match=r"which logger is this.*tank1, 20153879, 1.*The book has pool"):
        export_rows.resolve(layout, ["pool"])
    with pytest.raises(RillbookError, match="two loggers: tank1 and 20153879"):
        export_rows.resolve(layout, ["tank1", "20153879"])
    with pytest.raises(RillbookError, match=r"load loggers\.csv first"):
        export_rows.resolve(layout, [])
    named = logger_files.inspect(layout.path, stated('name = "brook"'), TODAY)
    assert export_rows.resolve(named, ["brook", "tank1"]).logger_id == "brook"
    with pytest.raises(RillbookError, match="logger brook is not in the book"):
        export_rows.resolve(named, ["tank1"])


FORMATS = {
    "ymd": "%y{0}%m{0}%d", "mdy": "%m{0}%d{0}%y", "dmy": "%d{0}%m{0}%y", "mdY": "%m{0}%d{0}%Y", "dmY": "%d{0}%m{0}%Y",
    "Ymd": "%Y{0}%m{0}%d",
}  # fmt: skip


Export = tuple[str, str, list[datetime], list[float], list[float], int]


@st.composite
def exports(draw: st.DrawFn) -> Export:
    """Text of an export, its encoding, and the true times (UTC), temperatures and humidities."""
    start = draw(st.datetimes(datetime(2003, 1, 1), datetime(2023, 6, 1))).replace(microsecond=0)
    step = timedelta(minutes=draw(st.sampled_from([1, 15, 60, 240, 1440])))
    local = [start + n * step for n in range(draw(st.integers(2, 120)))]
    gone = draw(st.sets(st.integers(1, len(local) - 1), max_size=len(local) // 3))
    local = [moment for n, moment in enumerate(local) if n not in gone]
    form, sign, half = draw(st.sampled_from(list(FORMATS))), draw(st.sampled_from("/.-")), draw(st.booleans())
    delimiter, comma, fahrenheit = draw(st.sampled_from("\t;|,")), draw(st.booleans()), draw(st.booleans())
    offset = draw(st.integers(-12, 14))
    temps = draw(st.lists(st.integers(-350, 800).map(lambda tenths: tenths / 10), min_size=len(local), max_size=len(local)))
    humid = draw(st.lists(st.integers(0, 1000).map(lambda tenths: tenths / 10), min_size=len(local), max_size=len(local)))

    def number(value: float, scale: bool = False) -> str:
        text = f"{value * 1.8 + 32 if scale else value:.4f}"
        return f'"{text.replace(".", ",")}"' if comma else text

    clock = "%I:%M:%S %p" if half else "%H:%M:%S"
    lines = [f'"Date Time, GMT{offset:+03d}:00"', f'"Temp, °{"F" if fahrenheit else "C"}"', '"RH, %"']
    rows = [delimiter.join(lines)]
    for moment, temp, rh in zip(local, temps, humid, strict=True):
        rows.append(delimiter.join([moment.strftime(f"{FORMATS[form].format(sign)} {clock}"), number(temp, fahrenheit), number(rh)]))
    true = [moment - timedelta(hours=offset) for moment in local]
    return "\n".join(rows), draw(st.sampled_from(["utf-8", "utf-8-sig", "cp1252", "utf-16"])), true, temps, humid, draw(st.integers(1, 50))


@given(exports())
def test_a_round_trip_is_right_or_refused_and_never_wrong(tmp_path_factory: pytest.TempPathFactory, export: Export) -> None:
    text, encoding, true, temps, humid, chunk = export
    path = write(tmp_path_factory.mktemp("export"), text, encoding=encoding)
    try:
        layout = logger_files.inspect(path, None, TODAY)
    except RillbookError as refused:
        assert "ways" in str(refused) or "fit no order" in str(refused)
        assume(False)
    frame, _, held, _ = read(layout, chunk)
    assert frame["read_at"].tolist() == [pd.Timestamp(moment) for moment in true]
    np.testing.assert_allclose(frame["temp_c"], temps, atol=1e-4)
    np.testing.assert_allclose(frame["rh_pct"], humid, atol=1e-9)
    assert not held


def long_file(folder: Path, n: int) -> Path:
    path = folder / f"long_{n}.csv"
    start = datetime(2010, 1, 1)
    with path.open("w", encoding="utf-8") as file:
        file.write('#,"Date Time, GMT+00:00","Temp, °C",Note\n')
        for place in range(n):
            file.write(f"{place},{start + timedelta(minutes=place):%m/%d/%y %H:%M},{10 + place % 7 / 10},\n")
    return path


def peak(path: Path) -> int:
    logger_text.day_of.cache_clear()
    tracemalloc.start()
    try:
        layout = logger_files.inspect(path, None, TODAY)
        assert sum(len(part.readings) for part in export_rows.parts(layout, 4000)) == layout.readings
        return tracemalloc.get_traced_memory()[1]
    finally:
        tracemalloc.stop()


def test_memory_does_not_grow_with_the_file(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(logger_dates, "CHUNK", 4000)
    small, large = peak(long_file(tmp_path, 12_000)), peak(long_file(tmp_path, 72_000))
    assert large < 1.2 * small


# ---- real exports ---------------------------------------------------------------------------------------------------------------------

# How each family writes its times, said here by hand: pandas reads them by this format alone, as the other judge of the date order.
FAMILIES = {
    r"air_\d_Spring18\.csv": ("%m/%d/%y %H:%M", "Etc/GMT+5"),
    r"sparcnet_air_plot_\d\.csv": ("%m/%d/%y %I:%M:%S %p", "Etc/GMT+4"),
    r"12-1-17_Site.*": ("%m/%d/%y %H:%M", "America/New_York"),
    r"12_15_17Site.*": ("%m/%d/%y %H:%M:%S", "America/New_York"),
    r"5-25-18_Site1-(0|10|20)\..*": ("%m/%d/%y %H:%M", "America/New_York"),
    r"5-25-18_Site.*": ("%m/%d/%y %I:%M:%S %p", "America/New_York"),
    r"[0-9A-F]{16}_191116_.*": ("%Y-%m-%d %H:%M", "Etc/GMT+5"),
}
SOIL_ROW = re.compile(
    r'^"?(?:\d+,)?(\d+[/-]\d+[/-]\d+)[, ](\d+:\d+(?::\d+)?(?: [AP]M)?)"?(?:[,\t][^,\t]*)??[,\t]"?(-?\d+(?:\.\d+)?)"?(?:[,\t].*)?$'
)


def judged(path: Path) -> pd.Series:
    """Temperatures by UTC time of one export, through a pattern and pandas' own reading of dates."""
    form, zone = next(known for pattern, known in FAMILIES.items() if re.fullmatch(pattern, path.name))
    rows = []
    for line in path.read_text(encoding="latin-1").splitlines():
        if path.parent.name == "air":
            cells = line.replace('"', "").split(",")
            if cells[0].isdigit() and cells[2]:
                rows.append((cells[1], float(cells[2])))
        elif path.name.startswith("12-1-17"):
            cells = line.split(",")
            if cells[0][0].isdigit():
                rows.append((cells[0], float(cells[3])))
        elif match := SOIL_ROW.match(line):
            rows.append((f"{match[1]} {match[2]}", float(match[3])))
    local = pd.to_datetime(pd.Series([moment for moment, _ in rows]), format=form)
    utc = local.dt.tz_localize(zone, ambiguous=np.zeros(len(local), dtype=bool)).dt.tz_convert("UTC").dt.tz_localize(None)
    return pd.Series([value for _, value in rows], index=pd.DatetimeIndex(utc))


Exports = dict[str, tuple[Layout, pd.DataFrame, Counter[str], Counter[str]]]


@pytest.mark.parametrize(
    ("text", "words", "said"),
    [
        (FAHRENHEIT, 'utc_offset = "-05:00"\nunit = "degC"', "the map says degC, the file says degF"),
        (ISO_OFFSETS.replace("Z,", ","), "", "some times have an offset from UTC and some have not"),
    ],
)
def test_two_words_for_one_thing_are_refused(text: str, words: str, said: str, tmp_path: Path) -> None:
    with pytest.raises(RillbookError, match=said):
        logger_files.inspect(write(tmp_path, text), stated(words) if words else None, TODAY)


@pytest.fixture(scope="module")
def sparcnet(open_data: Path) -> Exports:
    known = read_logger_map(MAPS / "sparcnet_fsu_loggers.toml")
    found = {}
    for path in sorted((open_data / "sparcnet_fsu" / "temperature").glob("*/*")):
        layout = logger_files.inspect(path, known, date(2026, 1, 1))
        frame, fates, held, values = read(layout)
        assert not held
        found[path.name] = (layout, frame, fates, values)
    return found


@pytest.mark.open_data
def test_all_118_exports_are_read_whole(sparcnet: Exports) -> None:
    fates, values = Counter[str](), Counter[str]()
    for _, _, rows, seen in sparcnet.values():
        fates.update(rows)
        values.update(seen)
    assert len(sparcnet) == 118
    assert values["temp_c"] == 210_873 and values["light"] == 8_846
    assert fates == {"reading": 210_873, "heading": 861, "event": 56}


@pytest.mark.open_data
def test_no_export_is_read_in_a_wrong_order(open_data: Path, sparcnet: Exports) -> None:
    for path in sorted((open_data / "sparcnet_fsu" / "temperature").glob("*/*")):
        expected, frame = judged(path), sparcnet[path.name][1]
        assert frame["read_at"].tolist() == expected.index.tolist(), path.name
        np.testing.assert_allclose(frame["temp_c"], expected.to_numpy(), err_msg=path.name)


@pytest.mark.open_data
def test_the_layouts_of_the_118_exports(sparcnet: Exports) -> None:
    layouts = [layout for layout, *_ in sparcnet.values()]
    assert Counter(layout.encoding for layout in layouts)["windows-1252"] == 41
    assert sum(layout.shape.delimiter == "\t" for layout in layouts) == 1
    assert Counter(layout.step_s / 60 for layout in layouts) == {60: 36, 120: 72, 240: 10}
    assert len({layout.logger_id for layout in layouts}) == 6 * 7
    contradicting = [layout.path.name for layout in layouts if layout.contradictions]
    assert len(contradicting) == 13 and all("_191116_" in name for name in contradicting)


@pytest.mark.open_data
def test_one_export_is_there_twice(sparcnet: Exports) -> None:
    one, other = sparcnet["5-25-18_Site1-0.csv"], sparcnet["5-25-18_Site1-0.txt"]
    assert one[0].logger_id == other[0].logger_id == "1-0" and len(one[1]) == 2005
    pd.testing.assert_frame_equal(one[1], other[1])


@pytest.mark.open_data
def test_four_layouts_of_one_logger_are_the_same_readings(open_data: Path) -> None:
    known = read_logger_map(MAPS / "logger_air_humidity.toml")
    frames = [
        read(logger_files.inspect(path, known, date(2026, 1, 1)))[0].drop(columns="line")
        for path in sorted((open_data / "logger_air_humidity").glob("station2_*"))
    ]
    assert len(frames) == 4 and len(frames[0]) == 20_881
    assert times(frames[0])[0] == "2021-04-08 21:00:00"
    for frame in frames[1:]:
        pd.testing.assert_frame_equal(frame, frames[0])


@pytest.mark.open_data
def test_minus_200_is_no_temperature(open_data: Path) -> None:
    path = open_data / "logger_soil" / "multi_depth.csv"
    frame, fates, held, _ = read(logger_files.inspect(path, read_logger_map(MAPS / "logger_soil.toml"), date(2026, 1, 1)))
    assert len(frame) == 16_508 and not held and frame["temp_c"].min() > -20
    words = '[logger]\nheading_line = 0\ncolumns = { moment = 2, temp_c = 5 }\nunit = "degC"\nutc_offset = "+00:00"\n'
    frame, fates, held, _ = read(logger_files.inspect(path, parse_logger_map(words, "map"), date(2026, 1, 1)))
    assert frame.empty and fates == {"held": 16_508} and held == {("temp_c", "-200", "not_possible"): 16_508}
    frame, fates, held, _ = read(logger_files.inspect(path, parse_logger_map(words + 'missing = ["-200"]\n', "map"), date(2026, 1, 1)))
    assert frame.empty and not held
    possible = fields("logger_readings")["temp_c"].possible
    assert possible and possible[0] > -200
