"""Checks of one column alone: what cannot be read, what cannot be, and what looks like another unit."""

from __future__ import annotations

from pathlib import Path

import pandas as pd
import pytest
from checked_sheets import CASES, base, run, write

from pipeline.checking import columns
from pipeline.settings import Settings, read_settings


@pytest.fixture(scope="module")
def book() -> Settings:
    return read_settings(CASES / "base")


def test_one_unreadable_cell_hides_no_other_fault_of_its_column(book: Settings, tmp_path: Path) -> None:
    lines = ["find_id,visit_id,taxon,life_stage,count,microhabitat,svl_mm"]
    lines += [f"X{n},V1,GPOR,adult,1,rock_in_flow,{text}" for n, text in enumerate(["forty", "900", "2", "70", "inf", "7O", "", "-5"])]
    checked = run([*base(), *write(tmp_path, more="\n".join(lines))], book)
    assert dict(zip(checked.held["row_key"], checked.held["rule"], strict=True)) == {
        "X0": "unreadable", "X1": "not_possible", "X2": "not_possible", "X4": "unreadable", "X5": "unreadable", "X7": "not_possible",
    }  # fmt: skip


@pytest.mark.parametrize("text", ["inf", "-inf", "Infinity", "NaN", "nan", "1e999", "0x10", "1_000", "١٢", "12,5,1"])
def test_what_only_looks_like_a_number_is_refused(text: str, book: Settings, tmp_path: Path) -> None:
    checked = run(
        [
            *base(),
            *write(
                tmp_path, more=f'find_id,visit_id,taxon,life_stage,count,microhabitat,water_temp_c\nX,V1,GPOR,adult,1,rock_in_flow,"{text}"'
            ),
        ],
        book,
    )
    assert checked.held[["row_key", "field", "text"]].to_numpy().tolist() == [["X", "water_temp_c", text]]
    assert pd.isna(checked.tables["finds"].accepted.set_index("find_id").at["X", "water_temp_c"])


# 50 °F is 10 °C and 86 °F is 30 °C by definition of the scale; above that no water of a stream reads either way.
@pytest.mark.parametrize(
    ("text", "rule", "said"),
    [
        ("50", "likely_fahrenheit", "10.0 °C"),
        ("86", "likely_fahrenheit", "30.0 °C"),
        ("87", "not_possible", ""),
        ("-3", "not_possible", ""),
    ],
)
def test_a_reading_in_fahrenheit_names_the_remedy(text: str, rule: str, said: str, book: Settings, tmp_path: Path) -> None:
    checked = run(
        [
            *base(),
            *write(
                tmp_path, more=f"find_id,visit_id,taxon,life_stage,count,microhabitat,water_temp_c\nX,V1,GPOR,adult,1,rock_in_flow,{text}"
            ),
        ],
        book,
    )
    assert checked.held["rule"].tolist() == [rule]
    assert said in checked.held["remedy"].iloc[0]


def test_the_air_may_be_warm_and_is_not_called_fahrenheit(book: Settings, tmp_path: Path) -> None:
    checked = run(
        [
            *base(),
            *write(tmp_path, more="visit_id,site_id,visit_date,protocol,search_minutes,air_temp_c\nX,S1,2023-07-01,visual_encounter,5,61"),
        ],
        book,
    )
    assert checked.held["rule"].tolist() == ["not_possible"]


def test_a_check_that_names_no_row_stops_the_run(book: Settings, monkeypatch: pytest.MonkeyPatch) -> None:
    import pandera.pandas as pa

    class Broken(pa.DataFrameModel):
        @pa.dataframe_check
        def never(cls, frame: pd.DataFrame) -> bool:
            return False

    monkeypatch.setitem(columns.MODELS, "sites", Broken)
    with pytest.raises(AssertionError, match="failed without naming a row"):
        run(base(), book)


@pytest.mark.parametrize(("svl", "odd"), [("7", True), ("8", False), ("130", False), ("131", True)])
def test_what_is_possible_and_not_expected_is_kept_with_a_mark_at_both_ends(svl: str, odd: bool, book: Settings, tmp_path: Path) -> None:
    """8 to 130 mm from snout to vent: common practice, no source."""
    line = f"find_id,visit_id,taxon,life_stage,count,microhabitat,svl_mm\nX,V1,GPOR,adult,1,rock_in_flow,{svl}"
    checked = run([*base(), *write(tmp_path, more=line)], book)
    marked = checked.flags[(checked.flags["row_key"] == "X") & (checked.flags["field"] == "svl_mm")]
    assert checked.held.empty and marked["rule"].tolist() == ["unexpected"] * odd


COLUMNS = {
    "start_time": ["09:30", "23:59", "24:00", "09:30\n", "9:30", None],
    "visit_id": ["V1", "", None],
    "habitat": ["stream", "no_such_code", None],
    "water_temp_c": [-0.5, 12.0, 60.0, -60.0, None],
}


@pytest.mark.parametrize(
    ("table", "name"), [("visits", name) for name in ("start_time", "visit_id", "water_temp_c")] + [("sites", "habitat")]
)
def test_a_column_is_called_sound_where_pandera_finds_nothing_in_it(table: str, name: str) -> None:
    """Each value alone, and beside a sound one."""
    from pandera.errors import SchemaErrors

    schema, found = columns.MODELS[table].to_schema().select_columns([name]), []
    for value in COLUMNS[name]:
        for cells in ([value], [COLUMNS[name][0], value]):
            column = pd.Series(cells, dtype="float64" if name == "water_temp_c" else "str")
            try:
                schema.validate(column.to_frame(name), lazy=True)
            except SchemaErrors:
                found.append(False)
            else:
                found.append(True)
            assert columns._is_sound(schema.columns[name], column) == found[-1], cells
    assert {True, False} == set(found)
