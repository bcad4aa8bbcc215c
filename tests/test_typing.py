"""What people type: every example of docs/typing.md; and generated cells, which are read, or held back, and never changed in silence."""

from __future__ import annotations

import re
from datetime import date
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd
import pytest
from examples import examples
from hypothesis import HealthCheck, Phase, given, settings
from hypothesis import strategies as st

from pipeline.book.connection import FILE_NAME, open_book
from pipeline.book.current import current_rows, stored_conversions
from pipeline.checking import accounting, check
from pipeline.checking.typed_rows import gather
from pipeline.commands import run
from pipeline.reading.coordinates import read_place
from pipeline.reading.rows import MappedSource, SourceTable
from pipeline.reading.units import UNITS
from pipeline.reading.values import read_column
from pipeline.settings import Settings, read_settings
from schemas.fields import Field
from schemas.tables import LOADED, fields, key_of
from schemas.vocabulary import codes

CASES = Path(__file__).parent / "cases"
TODAY = date(2026, 1, 1)


@pytest.fixture(scope="module")
def settings_of_book() -> Settings:
    return read_settings(CASES / "base")


def rows_of_page(columns: int) -> list[list[str]]:
    page = (CASES.parent.parent / "docs" / "typing.md").read_text(encoding="utf-8")
    lines = [[cell.strip() for cell in line.strip()[1:-1].split("|")] for line in page.splitlines() if line.startswith("| `")]
    return [
        cells
        for cells in lines
        # the table of slips has five columns, and a test of its own
        if len(cells) == 4 and (cells[0].count(".") == 1 and cells[0][1:5] in ("site", "visi", "find")) == (columns == 1)
    ]


@pytest.mark.parametrize("row", rows_of_page(1), ids=lambda row: f"{row[0]} {row[1]}")
def test_the_page_on_typing_is_true_of_cells(row: list[str]) -> None:
    table, name = row[0].strip("`").split(".")
    typed = read_column(pd.Series([row[1].strip("`")], dtype="str"), fields(table)[name])
    value = typed.values.iloc[0]
    assert any(mask.iloc[0] for mask in typed.faults.values()) == (row[2] == "held back")
    if row[2] == "held back":
        assert pd.isna(value)
    else:
        shown = f"{value:%Y-%m-%d}" if isinstance(value, pd.Timestamp) else value if isinstance(value, str) else f"{value:.12g}"
        assert shown == row[2]
        assert ("" if pd.isna(typed.how.iloc[0]) else typed.how.iloc[0]) == row[3]


@pytest.mark.parametrize("row", rows_of_page(2), ids=lambda row: row[0])
def test_the_page_on_typing_is_true_of_places(row: list[str]) -> None:
    place, reason = read_place(row[0].strip("`"))
    if place is None:
        assert row[1:] == ["", "", reason]
    else:
        assert [f"{place.latitude:.6f}".rstrip("0"), f"{place.longitude:.6f}".rstrip("0"), place.notation] == row[1:]


def test_both_tables_of_the_page_are_read() -> None:
    assert len(rows_of_page(1)) > 40 and len(rows_of_page(2)) > 14


def loaded(folder: Path, **sheets: str) -> tuple[run.Report, Path]:
    run.init(folder / "book", (CASES / "base" / "rillbook.toml").read_text(encoding="utf-8"))
    paths = []
    for name, text in sheets.items():
        paths.append(folder / f"{name}.csv")
        paths[-1].write_text(text, encoding="utf-8")
    report = run.load_files(folder / "book", paths, today=TODAY)
    assert isinstance(report, run.Report)
    return report, folder / "book"


SITE = "site_id,habitat\nS,stream\n"
VISIT = "visit_id,site_id,visit_date,protocol,search_minutes\nV,S,2024-05-31,visual_encounter,60\n"


def test_what_is_typed_stands_in_the_book_beside_what_was_written(tmp_path: Path) -> None:
    finds = "find_id,visit_id,taxon,life_stage,count,microhabitat,svl_mm,water_temp_c,mass_g\n"
    finds += 'F,V,GPOR,adult,3+,rock_in_flow,4.5 cm,58F,-\nG,V,GPOR,adult,1,rock_in_flow,NA,"14,5",9.1 g\n'
    report, folder = loaded(tmp_path, sites=SITE, visits=VISIT, finds=finds)
    assert report.held.empty and report.flags["rule"].tolist() == ["at_least"]
    assert report.account is not None and report.account.cells["missing"] == 2
    with open_book(folder) as connection:
        rows = current_rows(connection, "finds").set_index("find_id")
        kept = stored_conversions(connection)
    # 58 °F is (58 - 32) / 1.8 °C by definition of the scale
    assert rows.at["F", "water_temp_c"] == pytest.approx((58 - 32) / 1.8) and rows.at["F", "svl_mm"] == 45 and rows.at["F", "count"] == 3
    assert pd.isna(rows.at["F", "mass_g"]) and pd.isna(rows.at["G", "svl_mm"])
    assert kept[["row_key", "field", "text", "how"]].to_numpy().tolist() == [
        ["F", "count", "3+", "the fewest: more were there"],
        ["F", "svl_mm", "4.5 cm", "cm in the cell"],
        ["F", "water_temp_c", "58F", "degF in the cell"],
        ["G", "water_temp_c", "14,5", "decimal comma"],
    ]
    assert "4 values were worked out" in report.notes[-1] and len(report.as_dict()["converted"]) == 4


def test_a_wet_bulb_pair_is_dry_bulb_then_wet_bulb(tmp_path: Path) -> None:
    head = "visit_id,site_id,visit_date,protocol,search_minutes,air_temp_c,wet_bulb_c\n"
    texts = ("A,15.2/13.1", "B,62F / 58F", "C,13.1/15.2", "D,15.2/x", "E,15.2", "F,1/2/3")
    rows = [f"{text[0]},S,2024-05-{n + 1:02d},visual_encounter,60,,{text[2:]}" for n, text in enumerate(texts)]
    rows.append("G,S,2024-05-20,visual_encounter,60,15.2,15.2/13.1")
    report, folder = loaded(tmp_path, sites=SITE, visits=head + "\n".join(rows))
    with open_book(folder) as connection:
        stored = current_rows(connection, "visits").set_index("visit_id")[["air_temp_c", "wet_bulb_c"]]
    assert stored.loc["A"].tolist() == [15.2, 13.1]
    assert stored.loc["B"].tolist() == pytest.approx([(62 - 32) / 1.8, (58 - 32) / 1.8])
    # wet above dry: nobody knows which is which; both are held with the text of the cell
    assert stored.loc["C"].isna().all() and stored.loc["D"].isna().all() and stored.loc["F"].isna().all()
    assert pd.isna(stored.at["E", "air_temp_c"]) and stored.at["E", "wet_bulb_c"] == 15.2
    # a pair beside an air reading is one reading too many
    assert stored.at["G", "air_temp_c"] == 15.2 and pd.isna(stored.at["G", "wet_bulb_c"])
    held = report.held.groupby("row_key").agg({"rule": "first", "text": "first"})
    assert held["rule"].to_dict() == {
        "C": "visit_wet_bulb_above_air", "D": "unreadable", "F": "unreadable", "G": "unreadable",
    }  # fmt: skip
    both = report.held[report.held["row_key"] == "C"].set_index("field")["text"]
    assert both["wet_bulb_c"] == "13.1/15.2" and "13.1" in both["air_temp_c"]


def test_a_place_that_cannot_be_read_is_held_back_and_can_be_repaired(tmp_path: Path) -> None:
    sites = "site_id,habitat,verbatim_coordinates,datum\nS,stream,17S 273525 3942461,NAD27\n"
    report, folder = loaded(tmp_path, sites=sites)
    (item,) = report.held.to_dict("records")
    assert (item["field"], item["rule"], item["text"]) == ("verbatim_coordinates", "unreadable", "17S 273525 3942461")
    assert "band from 32 to 40" in item["message"] and "17 north" in item["remedy"]
    answers = tmp_path / "held.csv"
    run.write_held(folder, answers)
    frame = pd.read_csv(answers, dtype=str, encoding="utf-8-sig").fillna("")
    frame.assign(corrected="17 north 273525 3942461", by="tester").to_csv(answers, index=False)
    repaired = run.load_files(folder, [answers], today=TODAY)
    assert repaired.exit_code == 0
    with open_book(folder) as connection:
        (row,) = current_rows(connection, "sites").to_dict("records")
    # the correction is a place in the datum of the row, so it is shifted like any other
    assert row["datum"] == "WGS84" and row["latitude"] == pytest.approx(35.6019, abs=1e-4)


def test_a_place_held_by_a_rule_keeps_its_own_datum(tmp_path: Path) -> None:
    """Were it stored as WGS 84 already, a correction in the numbers of the notes would miss the shift."""
    sites = "site_id,habitat,latitude,longitude,datum\nS,stream,36.21,81.91,NAD27\n"
    report, folder = loaded(tmp_path, sites=sites)
    assert set(report.held["rule"]) == {"longitude_sign_lost"}
    with open_book(folder) as connection:
        (row,) = current_rows(connection, "sites").to_dict("records")
    assert row["datum"] == "NAD27" and pd.isna(row["latitude"]) and pd.isna(row["longitude"])


def test_an_old_book_gets_the_table_of_conversions(tmp_path: Path) -> None:
    import duckdb

    _, folder = loaded(tmp_path, sites=SITE, visits=VISIT)
    with duckdb.connect(str(folder / FILE_NAME)) as connection:
        connection.execute("DROP VIEW conversions; DROP TABLE conversions_all; DROP TABLE book_facts")
    assert run.status(folder)["tables"]["sites"] == 1
    path = tmp_path / "more.csv"
    path.write_text("site_id,habitat,elevation_m\nT,stream,100 ft\n", encoding="utf-8")
    run.load_files(folder, [path], today=TODAY)
    with open_book(folder) as connection:
        assert stored_conversions(connection)[["row_key", "value"]].to_numpy().tolist() == [["T", "30.48"]]


# --- generated cells ---

MOSTLY = st.integers(1, 5).map(lambda number: number < 5)
NUMBERS = st.one_of(
    st.floats(-50, 500).map(lambda number: f"{number:.2f}"),
    st.integers(-5, 1200).map(str),
    st.floats(-50, 500).map(lambda n: f"{n:.1f}".replace(".", ",")),
    st.sampled_from(
        [
            "58F",
            "58 °F",
            "14.4C",
            "4.5 cm",
            "45 mm",
            "12 in",
            "1.5 h",
            "85%",
            "3+",
            "50 +",
            "-0",
            "1e3",
            "nan",
            "inf",
            "-",
            "NA",
            "1,234",
            "12?",
            "<5",
            "2-3",
            "٣",
            "15.2/13.1",
            "62F/58F",
            "/",
            "0x10",
            "1_0",
            "5 m m",
            "°F",
            "9" * 400,
            "3" * 17 + "+",
        ]
    ),
)
TIMES = st.one_of(
    st.times().map(lambda one: f"{one:%H:%M}"),
    st.times().map(lambda one: f"{one:%I.%M} pm"),
    st.times().map(lambda one: f"{one:%H%M}"),
    st.sampled_from(["9:52", "24:00", "9", "noon", "0.41", "9:52:33", "21h30", "9:52 xm", "2560"]),
)
DATES = st.one_of(
    st.dates(date(1950, 1, 1), date(2030, 1, 1)).map(str),
    st.dates(date(1990, 1, 1), date(2025, 1, 1)).map(lambda one: f"{one:%m/%d/%Y}"),
    st.dates(date(1990, 1, 1), date(2025, 1, 1)).map(lambda one: f"{one:%d %B %Y}"),
    st.sampled_from(["5/6/24", "2024-02-30", "May 2024", "45443", "2024-05-31T21:30", "0000-00-00", "2024-05-31T02:00Z"]),
)
PLACES = st.one_of(
    st.tuples(st.floats(-95, 95), st.floats(-190, 190)).map(lambda one: f"{one[0]:.4f}, {one[1]:.4f}"),
    st.tuples(st.integers(0, 99), st.integers(0, 70), st.integers(0, 190), st.integers(0, 70)).map(
        lambda one: "{} {} N {} {} W".format(*one)
    ),
    st.tuples(st.integers(0, 70), st.sampled_from(["north", "N", "S", "T", "south", ""]), st.integers(0, 10**6), st.integers(0, 10**7)).map(
        lambda one: "{} {} {} {}".format(*one)
    ),
    st.sampled_from(["39.02569000N", "W 79.4", "39 01 32", "0", "17SKV7352542461", "by the bridge", "39.02569N 79.40033W NAD27"]),
)
ANYTHING = st.text(st.characters(codec="utf-8", exclude_characters="\x00"), max_size=12)


@st.composite
def fitting(draw: st.DrawFn, low: float, high: float, unit: str) -> str:
    """A possible value in any unit that the field knows, with a comma or a dot."""
    factor, offset = (1.0, 0.0)
    name = draw(st.sampled_from(["", *UNITS.get(unit, {})]))
    if name:
        factor, offset = UNITS[unit][name]
    text = f"{draw(st.floats(low, high)) / factor + offset:.2f}{draw(st.sampled_from(['', ' '])) if name else ''}{name}"
    return text.replace(".", ",") if draw(st.booleans()) else text


def cell(table: str, name: str) -> st.SearchStrategy[str]:
    """Cells that a tired person may write into a field, and some that nobody would."""
    field = fields(table)[name]
    listed = (
        st.sampled_from([*codes(field.vocabulary), *(code.upper().replace("_", " ") for code in codes(field.vocabulary))])
        if field.vocabulary
        else ANYTHING
    )
    likely = {
        "real": NUMBERS,
        "whole": NUMBERS,
        "clock": TIMES,
        "day": DATES,
        "code": listed,
        "yes_no": st.sampled_from(["yes", "N", "1", "maybe"]),
        "codes": st.sampled_from(["GPOR", "GPOR, ETEN", "gpor", "X"]),
    }.get(field.kind, ANYTHING)
    if field.kind in ("real", "whole") and field.possible and field.unit != "degree":
        likely = NUMBERS | fitting(field.possible[0], min(field.possible[1], 1e4), field.unit)
    if field.at_least:
        likely = likely | st.integers(1, 90).map(lambda number: f"{number}+")
    if field.unit == "degree" or name == "verbatim_coordinates":
        likely = PLACES | NUMBERS
    if field.unit == "degree":
        # most places of sites are a text alone
        return MOSTLY.flatmap(lambda empty: st.just("") if empty else likely)
    if name == "verbatim_coordinates":
        likely = PLACES
    if name == "taxon":
        likely = st.sampled_from(["GPOR", "ETEN", "gpor", "?"])
    return st.one_of(likely, likely, likely, ANYTHING, st.just(""))


ROWS_EACH = 4
OURS = {table: [name for name, field in fields(table).items() if not field.derived] for table in LOADED}
CELLS_EACH = ROWS_EACH * sum(len(names) for names in OURS.values())
CELLS = examples(10_000, 2_000)
EXAMPLES = -(-CELLS // CELLS_EACH)
SOUND = {
    "sites": {"habitat": "stream"},
    "visits": {"site_id": "S0", "visit_date": "2024-05-31", "protocol": "visual_encounter"},
    "finds": {"visit_id": "V0", "taxon": "GPOR", "life_stage": "adult", "count": "1", "microhabitat": "rock_in_flow"},
    "availability": {"visit_id": "V0", "microhabitat": "rock_in_flow"},
    "enclosures": {"taxon": "GPOR", "life_stage": "adult"},
    "loggers": {"medium": "water", "site_id": "S0"},
    "water_tests": {"visit_id": "V0"},
    "husbandry_events": {"enclosure_id": "E0", "event_date": "2024-05-31", "event": "fed"},
}
LETTER = dict(zip(LOADED, "SVFPELWH", strict=True))


@st.composite
def sheets(draw: st.DrawFn) -> dict[str, pd.DataFrame]:
    """A sheet a table: a sound row, and generated ones, whose required cells are sound four times in five, so that rows live."""
    made = {}
    for table, names in OURS.items():
        rows = [{name: SOUND[table].get(name, "") for name in names}]
        for _ in range(ROWS_EACH):
            rows.append({name: SOUND[table][name] if name in SOUND[table] and draw(MOSTLY) else draw(cell(table, name)) for name in names})
        frame = pd.DataFrame(rows, dtype="str")
        made[table] = frame.assign(**{key_of(table): [f"{LETTER[table]}{n}" for n in range(len(frame))]})
    return made


def as_sources(frames: dict[str, pd.DataFrame]) -> list[MappedSource]:
    """Through the own map of rillbook's sheets, as a file of these cells would go."""
    from pipeline.mapping.apply_map import apply_map
    from pipeline.mapping.own_sheets import own_map

    tables = [SourceTable(f"{table}.csv", "", frame, np.arange(2, len(frame) + 2), "", {}, 0) for table, frame in frames.items()]
    return apply_map(own_map(tables)[0], tables)


# A field's own unit beside the number changes nothing
OWN_UNIT = {"°C": ("degC", "°C", "C"), "%": ("%", "percent"), "µS/cm": ("uS/cm",)}


def plain(text: str, field: Field) -> Any:
    """Value of a text that says it in the plainest way, by Python's own readers; None where it takes more than that."""
    kind, text = field.kind, text.strip()
    try:
        if kind in ("real", "whole"):
            for unit in OWN_UNIT.get(field.unit, (field.unit,)):
                text = text.removesuffix(unit).strip() if unit else text
            return float(text) if "_" not in text else None
        if kind == "day":
            return pd.Timestamp(date.fromisoformat(text)) if re.fullmatch(r"\d{4}-\d\d-\d\d", text) else None
    except ValueError:
        return None
    if kind == "clock":
        return text.zfill(5) if re.fullmatch(r"\d{1,2}:\d\d", text) else None
    if kind == "yes_no":
        return {"y": True, "t": True, "1": True, "n": False, "f": False, "0": False}.get(text[:1].lower())
    if kind == "code":
        return re.sub(r"[\s-]+", "_", text.casefold())
    return "|".join(part for part in re.split(r"[|;,\s]+", text) if part) if kind == "codes" else text


def same(value: Any, said: Any, kind: str) -> bool:
    if said is None:
        return False
    return str(value).casefold() == str(said) if kind == "code" else bool(value == said)


SEEN = {"cells": 0, "stored": 0, "held": 0, "converted": 0}


# no shrinking: the message names the cell, and shrinking whole sheets takes minutes
@settings(max_examples=EXAMPLES, deadline=None, suppress_health_check=list(HealthCheck), phases=[Phase.generate])
@given(frames=sheets())
def generated_cells_end_well(frames: dict[str, pd.DataFrame], settings_of_book: Settings) -> None:
    sources = as_sources(frames)
    checked = check.check(sources, settings_of_book, {table: gather(table, []).typed for table in LOADED}, TODAY)
    account = accounting.account(checked)
    assert sum(account.cells.values()) == sum(frame.size for frame in frames.values())
    held = {(one.table, one.row, one.field) for one in checked.held.itertuples()}
    held_rows = {(one.table, one.row) for one in checked.held.itertuples() if one.candidate >= 0}
    recorded = {(one.table, one.row_key, one.field): one for one in checked.converted.itertuples()}
    for table, frame in frames.items():
        accepted = checked.tables[table].accepted.set_index(key_of(table), drop=False)
        for place, row in enumerate(frame.to_dict("records")):
            SEEN["cells"] += len(row)
            key = row[key_of(table)]
            assert (key in accepted.index) != ((table, place) in held_rows)
            for name, text in row.items():
                if key not in accepted.index:
                    SEEN["held"] += 1
                    continue
                value, kind, record = accepted.at[key, name], fields(table)[name].kind, recorded.get((table, key, name))
                if record is not None:
                    SEEN["converted"] += 1
                    assert record.how and pd.notna(value)
                    # what was worked out from this cell quotes it
                    assert (
                        not text.strip()
                        or record.text.strip() in text
                        or name in ("latitude", "longitude", "coordinate_uncertainty_m", "verbatim_coordinates")
                    ), (name, text, record)
                if not text.strip() or text.strip() in ("NA", "N/A", "na", "n/a", "-", "–", "—"):
                    assert pd.isna(value) or record is not None or name == "verbatim_taxon", (table, name, value)
                elif pd.isna(value):
                    SEEN["held"] += 1
                    assert (table, place, name) in held or kind == "codes", (table, name, text)
                else:
                    SEEN["stored"] += 1
                    assert record is not None or same(value, plain(text, fields(table)[name]), kind), (table, name, text, value)


@pytest.mark.slow
def test_generated_cells_are_read_or_held_back_and_never_changed_in_silence(settings_of_book: Settings) -> None:
    """Ten thousand cells in a full run."""
    SEEN.update(dict.fromkeys(SEEN, 0))
    generated_cells_end_well(settings_of_book=settings_of_book)
    assert SEEN["cells"] >= CELLS, SEEN
    # the cells are not all of one fate
    assert min(SEEN["stored"], SEEN["held"], SEEN["converted"]) > 0.03 * CELLS, SEEN
