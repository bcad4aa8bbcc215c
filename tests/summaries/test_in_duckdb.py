"""DuckDB on 10⁶ irregular readings against pandas, which finds local days and crossings in its own way; and Parquet as it comes."""

from __future__ import annotations

from pathlib import Path

import duckdb
import numpy as np
import pandas as pd
import pytest
import reduced_by_pandas as by_pandas
from summary_readings import LINES, PLACES, ZONE, asked, made, table, write_parquet

from pipeline.errors import RillbookError
from pipeline.formulas.exceedances import excursions
from pipeline.formulas.series import usual_step_h
from pipeline.intake.report import silent
from pipeline.settings.limits import judgement
from pipeline.summaries.columns import INSTANT, REAL, TEXT
from pipeline.summaries.in_duckdb import in_parquet, parquet_files
from pipeline.summaries.reduce import Asked, reduce_readings

SUMMARY = {"n": "size", "mean_c": "mean", "low_c": "min", "high_c": "max"}


@pytest.fixture(scope="module")
def million(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, pd.DataFrame]:
    """Folder of the reduced tables, and the readings that count, chosen without the code under test."""
    folder = tmp_path_factory.mktemp("million")
    readings, doubt = made(1_000_000)
    write_parquet(readings, folder / "in")
    with in_parquet(folder / "in", folder) as engine:
        about = reduce_readings(engine, asked(doubt), folder / "out", silent)
    kept = readings[readings["temp_c"].between(-40, 85)]
    marked = np.zeros(len(kept), dtype=bool)
    for row in doubt.itertuples():
        marked |= ((kept["logger_id"] == row.logger_id) & kept["read_at"].between(row.from_at, row.to_at)).to_numpy()
    tally = about["readings"]
    assert tally["rows"] == len(readings) == sum(n for fate, n in tally.items() if fate != "rows")
    assert (tally["no_value"], tally["not_possible"]) == (readings["temp_c"].isna().sum(), (readings["temp_c"] == -200).sum())
    assert (tally["in_doubt"], tally["counted"]) == (marked.sum(), (~marked).sum())
    assert marked.sum() > 1000 and about["without_place"] == ["E5", "Z9", "once"]
    return folder / "out", kept[~marked].sort_values(["logger_id", "read_at"], ignore_index=True)


def same(found: pd.DataFrame, wanted: pd.DataFrame, names: list[str]) -> None:
    wanted = wanted.reset_index()[names]
    pd.testing.assert_frame_equal(found[names], wanted, check_dtype=False, check_index_type=False, rtol=0, atol=1e-9)


def test_hours_and_days_are_those_of_pandas(million: tuple[Path, pd.DataFrame]) -> None:
    folder, kept = million
    local = kept["read_at"].dt.tz_localize("UTC").dt.tz_convert(ZONE).dt.tz_localize(None)
    for name, moment, key in (("hourly", kept["read_at"].dt.floor("h"), "hour_at"), ("daily", local.dt.normalize(), "day")):
        wanted = kept.assign(**{key: moment}).groupby(["logger_id", key])["temp_c"].agg(**SUMMARY)
        same(table(folder, name), wanted, ["logger_id", key, *SUMMARY])
    steps = kept.groupby("logger_id")["read_at"].diff().dt.total_seconds().groupby(kept["logger_id"]).median()
    daily = table(folder, "daily")
    pd.testing.assert_series_equal(daily.groupby("logger_id")["step_s"].first(), steps, check_names=False, rtol=0, atol=1e-6)


def test_excursions_are_those_of_the_definition(million: tuple[Path, pd.DataFrame]) -> None:
    folder, kept = million
    found = table(folder, "excursions")
    assert len(found) > 5000 and (found["line_c"] == LINES[0]).all()
    for logger_id, part in kept.groupby("logger_id"):
        mine = found[found["logger_id"] == logger_id].reset_index(drop=True)
        if len(part) < 2:
            assert mine.empty
            continue
        gap_h = judgement("logger_gap_steps") * usual_step_h(part["read_at"])
        wanted = excursions(part["read_at"], part["temp_c"], LINES[0], gap_h)
        assert len(mine) == len(wanted)
        for name, other in (("start_at", "start"), ("end_at", "end")):
            # those of the definition are told to the millisecond
            assert ((mine[name] - wanted[other].dt.tz_localize(None)).abs() <= pd.Timedelta("1ms")).all()
        np.testing.assert_allclose(mine["hours"], wanted["hours"], rtol=0, atol=1e-7)


def test_nights_are_those_of_a_sun_for_each_reading(million: tuple[Path, pd.DataFrame]) -> None:
    folder, kept = million
    # two are enough: one of them near the polar circle, where the sun of June sets after midnight
    two = ["A1", "07"]
    wanted = by_pandas.nights(kept[kept["logger_id"].isin(two)], PLACES, ZONE)
    nights = table(folder, "nights")
    found = nights[nights["logger_id"].isin(two)].sort_values(["logger_id", "day"], ignore_index=True)
    assert len(wanted) > 1000
    pd.testing.assert_frame_equal(found[wanted.columns], wanted, check_dtype=False, rtol=0, atol=1e-9)


def put(folder: Path, sql: str, options: str = "") -> Path:
    with duckdb.connect() as connection:
        connection.execute(f"COPY ({sql}) TO '{folder}' (FORMAT parquet{options})")
    return folder


ROWS = "SELECT 'L' AS logger_id, TIMESTAMP '2024-07-01 03:30' + to_hours(i::INT) AS read_at, 10.0 + i AS temp_c FROM range(3) t(i)"


def reduced(path: Path, out: Path) -> pd.DataFrame:
    with in_parquet(path, out.parent) as engine:
        reduce_readings(engine, Asked("UTC", (18.0,)), out, silent)
    return table(out, "hourly")


@pytest.mark.parametrize(
    "sql",
    [
        ROWS,
        ROWS.replace("TIMESTAMP '2024-07-01 03:30'", "TIMESTAMPTZ '2024-07-01 05:30+02'"),
        f"SELECT logger_id, read_at::TIMESTAMP_NS AS read_at, temp_c::FLOAT AS temp_c, 'x' AS note FROM ({ROWS})",
    ],
)
def test_moments_with_and_without_a_zone_and_narrow_numbers_are_read(sql: str, tmp_path: Path) -> None:
    rows = reduced(put(tmp_path / "in.parquet", sql), tmp_path / "out")
    assert rows["hour_at"].tolist() == [pd.Timestamp(f"2024-07-01 0{hour}:00") for hour in (3, 4, 5)]
    assert rows["mean_c"].tolist() == [10.0, 11.0, 12.0]


def test_a_logger_in_the_name_of_a_folder_stays_text(tmp_path: Path) -> None:
    put(tmp_path / "in", ROWS.replace("'L'", "['007', 'é 5'][1 + i % 2]"), ", PARTITION_BY (logger_id)")
    (tmp_path / "in" / "notes.txt").touch()
    assert reduced(tmp_path / "in", tmp_path / "out")["logger_id"].tolist() == ["007", "007", "é 5"]
    with in_parquet(tmp_path / "in", tmp_path) as engine:
        assert engine.notes == [f"1 other file in {tmp_path / 'in'} not read: no Parquet."]
        assert engine.kinds() == {"read_at": INSTANT, "temp_c": REAL, "logger_id": TEXT}


def test_what_is_no_parquet_is_refused(tmp_path: Path) -> None:
    with pytest.raises(RillbookError, match="there is no such folder"):
        parquet_files(tmp_path / "nowhere")
    (tmp_path / "a.csv").write_text("logger_id,read_at,temp_c\n")
    for path in (tmp_path, tmp_path / "a.csv"):
        with pytest.raises(RillbookError, match="no Parquet file is there"):
            parquet_files(path)
    (tmp_path / "b.parquet").write_text("no Parquet")
    with pytest.raises(RillbookError, match="cannot be reduced"):
        reduced(tmp_path, tmp_path.parent / "out")
    assert not (tmp_path.parent / "out").exists()
