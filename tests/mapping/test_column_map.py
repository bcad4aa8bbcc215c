"""Column maps: every word of their language, every mistake with its line, and rillbook's own sheets (design §5, docs/column_maps.md)."""

from __future__ import annotations

from typing import Any

import numpy as np
import pandas as pd
import pytest

from pipeline.checking.merging import merge, rows
from pipeline.checking.typed_rows import gather
from pipeline.errors import RillbookError
from pipeline.mapping.apply_map import apply_map
from pipeline.mapping.column_map import parse_map, read_map
from pipeline.mapping.own_sheets import own_map
from pipeline.reading.rows import ColumnMap, Mapped, MappedSource, SourceTable

SITES = '[source.sites]\nsite_id = "s"\n'
VISITS = '[source.visits]\nvisit_id = "v"\n'
FINDS = '[source.finds]\nfind_id = "f"\n'


def _sheet(text: str, file: str = "a.csv", sheet: str = "", misshapen: dict[int, tuple[str, ...]] | None = None) -> SourceTable:
    header, *body = [line.split(",") for line in text.strip("\n").split("\n")]
    cells = pd.DataFrame(body, columns=header, dtype="str")
    return SourceTable(file, sheet, cells, np.arange(2, len(body) + 2), "0" * 64, misshapen or {}, 0)


def _source(body: str, text: str, **words: Any) -> MappedSource:
    """The one source of a map whose source has this body, applied to a sheet with this text."""
    toml = body if "[[source]]" in body else f"[[source]]\n{body}"
    (mapped,) = apply_map(parse_map(toml, "map.toml"), [_sheet(text, **words)])
    return mapped


def _table(source: MappedSource, table: str) -> Mapped:
    return next(one for one in source.mapped if one.table == table)


def _column(body: str, text: str, table: str, name: str) -> list[str | None]:
    values = _table(_source(body, text), table).text[name]
    return [None if pd.isna(value) else value for value in values]


def _typed(body: str, text: str, table: str, name: str) -> list[Any]:
    typed = gather(table, [_source(body, text)]).typed[name]
    return [None if pd.isna(value) else value for value in typed]


# the words of a field


def test_rename() -> None:
    source = _source(SITES + 'site_name = "Name of it"\n', "s,Name of it\nA, x \n")
    assert _table(source, "sites").text.to_dict("records") == [{"site_id": "A", "site_name": "x"}]
    assert _table(source, "sites").columns == {"site_id": ("s",), "site_name": ("Name of it",)}


def test_units() -> None:
    body = VISITS + 'air_temp_c = { column = "t", unit = "degF" }\n'
    assert _typed(body, "v,t\n1,50\n2,x\n", "visits", "air_temp_c") == [10.0, None]


@pytest.mark.parametrize(("order", "day"), [("mdy", "2012-05-06"), ("dmy", "2012-06-05")])
def test_date_order_of_a_field_and_of_the_map(order: str, day: str) -> None:
    text = "v,d\n1,5/6/12\n"
    own = VISITS + f'visit_date = {{ column = "d", date_order = "{order}", pivot_year = 30 }}\n'
    whole = f'[reading]\ndate_order = "{order}"\npivot_year = 30\n[[source]]\n{VISITS}visit_date = "d"\n'
    assert _typed(own, text, "visits", "visit_date") == _typed(whole, text, "visits", "visit_date") == [pd.Timestamp(day)]


def test_pivot_year() -> None:
    body = VISITS + 'visit_date = {{ column = "d", date_order = "mdy", pivot_year = {} }}\n'
    assert _typed(body.format(11), "v,d\n1,5/6/12\n", "visits", "visit_date") == [pd.Timestamp("1912-05-06")]
    assert _typed(body.format(12), "v,d\n1,5/6/12\n", "visits", "visit_date") == [pd.Timestamp("2012-05-06")]


def test_clock_and_the_evening_s_date() -> None:
    # common practice, no source: evenings are written 9:52 and 1:05 under the date on which the night began
    body = '[reading]\nclock = "night"\ndate_is = "evening"\n[[source]]\n' + VISITS + 'visit_date = "d"\nstart_time = "t"\n'
    text = "v,d,t\n1,2012-06-30,9:52\n2,2012-06-30,1:05\n3,2012-06-30,\n"
    assert _typed(body, text, "visits", "start_time") == ["21:52", "01:05", None]
    days = [pd.Timestamp(day) for day in ("2012-06-30", "2012-07-01", "2012-06-30")]
    assert _typed(body, text, "visits", "visit_date") == days


def test_missing_tokens_of_the_map_the_source_and_the_field() -> None:
    text = "s,n\nA,-99\nB,NULL\nC,x\nD,\n"
    for body in (
        '[reading]\nmissing = [-99, "NULL"]\n[[source]]\n' + SITES + 'county = "n"\n',
        'missing = ["-99", "NULL"]\n' + SITES + 'county = "n"\n',
        SITES + 'county = { column = "n", missing = ["-99", "NULL"] }\n',
    ):
        assert _column(body, text, "sites", "county") == [None, None, "x", None]
    source = _source('missing = ["-99", "NULL"]\n' + SITES + 'county = "n"\n', text)
    assert source.missing[:, 1].tolist() == [True, True, False, True]


def test_the_source_s_missing_tokens_stand_in_place_of_the_map_s() -> None:
    body = '[reading]\nmissing = ["NA"]\n[[source]]\nmissing = ["x"]\n' + SITES + 'county = "n"\n'
    assert _column(body, "s,n\nA,NA\nB,x\n", "sites", "county") == ["NA", None]


def test_recode_also_a_blank_before_it_counts_as_missing() -> None:
    body = SITES + 'habitat = { column = "n", recode = { S = "stream", "" = "seep" } }\n'
    assert _column(body, "s,n\nA,S\nB,\nC,bog\n", "sites", "habitat") == ["stream", "seep", "bog"]


def test_others() -> None:
    body = SITES + 'habitat = { column = "n", recode = { S = "stream" }, others = "other" }\n'
    assert _column(body, "s,n\nA,S\nB,\nC,bog\n", "sites", "habitat") == ["stream", None, "other"]
    with_blank = SITES + 'habitat = { column = "n", recode = { S = "stream", "" = "seep" }, others = "other" }\n'
    assert _column(with_blank, "s,n\nA,S\nB,\nC,bog\n", "sites", "habitat") == ["stream", "seep", "other"]
    nothing = SITES + 'habitat = { column = "n", recode = { S = "stream" }, others = "" }\n'
    assert _column(nothing, "s,n\nA,S\nC,bog\n", "sites", "habitat") == ["stream", None]


def test_case_is_folded_before_recoding() -> None:
    body = SITES + 'habitat = { column = "n", case = "lower", recode = { s = "stream" } }\n'
    assert _column(body, "s,n\nA,S\nB,s\n", "sites", "habitat") == ["stream", "stream"]
    assert _column(SITES + 'county = { column = "n", case = "upper" }\n', "s,n\nA,ab\n", "sites", "county") == ["AB"]


def test_part_of_a_cell() -> None:
    text = "s,n\nCOST21-3,15m\nCOST2-11,15\n,n/a\n"
    assert _column(SITES + "waterbody = { column = \"s\", part = '^(\\w+)-' }\nelevation_m = { column = \"n\", part = '^(\\d+)m?$' }\n",
                   text, "sites", "waterbody") == ["COST21", "COST2", None]  # fmt: skip
    body = VISITS.replace('"v"', '"s"') + "length_m = { column = \"n\", part = '^(\\d+)m$' }\n"
    # what the pattern does not fit stays as it is, to be read or refused
    assert _column(body, text, "visits", "length_m") == ["15", "15", "n/a"]


def test_one_cell_split_over_two_fields() -> None:
    body = FINDS + (
        'taxon = { column = "n", part = "^(\\\\w+)" }\n'
        'id_certainty = { column = "n", recode = { "desm sp" = "genus_only" }, others = "certain" }\n'
    )
    source = _table(_source(body, "f,n\n1,desm sp\n2,dmon\n"), "finds")
    assert source.text[["taxon", "id_certainty"]].values.tolist() == [["desm", "genus_only"], ["dmon", "certain"]]


def test_columns_are_joined() -> None:
    body = '[source.sites]\nsite_id = { columns = ["a", { column = "b", case = "upper" }], join = "-" }\n'
    assert _column(body, "a,b\nx,y\n,y\nx,\n,\n", "sites", "site_id") == ["x-Y", "Y", "x", None]


def test_ids_are_composed_of_fields_in_the_form_that_sorts() -> None:
    body = (
        '[reading]\ndate_order = "mdy"\nclock = "ampm"\n[[source]]\n' + SITES + '[source.visits]\nsite_id = { same_as = "sites.site_id" }\n'
        'visit_date = "d"\nstart_time = "t"\nvisit_id = { fields = ["site_id", "visit_date", "start_time"] }\n'
    )
    text = "s,d,t\nA,5/6/2012,9:52 PM\nA,05/06/2012,09:52 pm\nA,soon,9:00 AM\n"
    assert _column(body, text, "visits", "visit_id") == ["A_2012-05-06_21:52", "A_2012-05-06_21:52", "A_soon_09:00"]


def test_a_collision_is_numbered_by_order_within_the_visit_and_never_by_line() -> None:
    body = VISITS + (
        '[source.finds]\nvisit_id = { same_as = "visits.visit_id" }\ntaxon = "x"\nfind_id = { fields = ["visit_id", "taxon"] }\n'
    )
    text = "v,x\nV1,A\nV1,A\nV2,A\nV1,B\nV1,A\n"
    assert _column(body, text, "finds", "find_id") == ["V1_A", "V1_A-2", "V2_A", "V1_B", "V1_A-3"]
    # rows of another visit in between change nothing
    moved = "v,x\nV2,A\nV1,A\nV1,B\nV0,Z\nV1,A\nV1,A\n"
    assert _column(body, moved, "finds", "find_id") == ["V2_A", "V1_A", "V1_B", "V0_Z", "V1_A-2", "V1_A-3"]


def test_number_marks_repeats_of_one_column_too() -> None:
    assert _column('[source.finds]\nfind_id = { column = "f", number = true }\n', "f\nA\nA\nB\n", "finds", "find_id") == ["A", "A-2", "B"]
    assert _column(FINDS, "f\nA\nA\n", "finds", "find_id") == ["A", "A"]


def test_a_number_never_makes_an_id_that_the_sheet_has() -> None:
    body = '[source.finds]\nfind_id = { column = "f", number = true }\n'
    assert _column(body, "f\nA\nA\nA-2\nA\nA-2\n", "finds", "find_id") == ["A", "A-3", "A-2", "A-4", "A-2-2"]


def test_a_constant_alone_and_where_the_sheet_is_blank() -> None:
    assert _column(SITES + 'habitat = { constant = "stream" }\n', "s\nA\n", "sites", "habitat") == ["stream"]
    body = SITES + 'habitat = { column = "n", constant = "seep" }\n'
    assert _column(body, "s,n\nA,stream\nB,\n", "sites", "habitat") == ["stream", "seep"]


def test_constants_by_life_stage_are_marked_as_assumed() -> None:
    body = FINDS + (
        'life_stage = "l"\n'
        'microhabitat = { by_stage = { larva = "stream_unspecified", adult = "land_unspecified" }, constant = "unknown" }\n'
    )
    mapped = _table(_source(body, "f,l\n1,Larva\n2,adult\n3,juvenile\n4,\n"), "finds")
    assert mapped.text["microhabitat"].tolist() == ["stream_unspecified", "land_unspecified", "unknown", "unknown"]
    assert mapped.text["medium_assumed"].tolist() == ["yes"] * 4


def test_a_noted_microhabitat_is_not_assumed() -> None:
    body = FINDS + (
        'life_stage = "l"\nmicrohabitat = { column = "m", by_stage = { larva = "stream_unspecified" }, constant = "unknown" }\n'
    )
    mapped = _table(_source(body, "f,l,m\n1,larva,seep\n2,larva,\n3,adult,\n"), "finds")
    assert mapped.text["microhabitat"].tolist() == ["seep", "stream_unspecified", "unknown"]
    assert mapped.text["medium_assumed"].isna().tolist() == [True, False, False]


def test_a_map_may_say_itself_what_is_assumed() -> None:
    body = FINDS + 'medium_assumed = { constant = "no" }\nmicrohabitat = { constant = "stream_unspecified" }\n'
    assert _column(body, "f\n1\n", "finds", "medium_assumed") == ["no"]


def test_an_availability_point_has_no_assumed_medium() -> None:
    body = '[source.availability]\npoint_id = "p"\nmicrohabitat = { constant = "stream_unspecified" }\n'
    assert list(_table(_source(body, "p\n1\n"), "availability").text.columns) == ["point_id", "microhabitat"]


def test_effort_is_summed_over_distinct_passes() -> None:
    body = VISITS + 'search_minutes = { column = "m", sum_over = ["p"] }\n'
    text = 'v,p,m\nA,1,10\nA,1,10\nA,2,5.5\nB,1,"x"\nB,1,3\nC,1,3\nC,1,4\nD,1,\n'.replace('"', "")
    # B and C contradict themselves: their texts stand side by side, to be held back
    assert _column(body, text, "visits", "search_minutes") == ["15.5", "15.5", "15.5", "x|3", "x|3", "3|4", "3|4", None]


def test_a_pass_column_may_have_any_name() -> None:
    body = VISITS + 'search_minutes = { column = "m", sum_over = ["key", "text"] }\n'
    assert _column(body, "v,key,text,m\nA,1,a,1\nA,1,b,2\nA,1,b,2\n", "visits", "search_minutes") == ["3"] * 3


def test_mean_of_columns() -> None:
    body = VISITS + 'water_temp_c = { mean_of = ["a", "b", "c"], unit = "degF" }\n'
    text = "v,a,b,c\n1,50,51,52\n2,50,,52\n3,,,\n4,50,x,52\n5,50.5,51.5,\n"
    assert _column(body, text, "visits", "water_temp_c") == ["51", "51", None, "50|x|52", "51"]
    assert _typed(body, text, "visits", "water_temp_c")[2:4] == [None, None]
    commas = "v;a;b;c\n1;10,5;11,5;\n".replace(",", "D").replace(";", ",")
    cells = _sheet(commas)
    fixed = cells.cells.apply(lambda column: column.str.replace("D", ",", regex=False))
    (source,) = apply_map(parse_map(f"[[source]]\n{body}", "map.toml"), [SourceTable("a.csv", "", fixed, cells.lines, "0", {}, 0)])
    assert _table(source, "visits").text["water_temp_c"].tolist() == ["11"]


# the words of a source


WIDE = FINDS.replace('find_id = "f"', 'visit_id = "v"\nfind_id = { fields = ["visit_id", "taxon", "life_stage"] }') + (
    '[source.wide]\n[source.wide.columns]\nA_l = { taxon = "A", life_stage = "larva" }\nA_a = { taxon = "A", life_stage = "adult" }\n'
)


def test_wide_columns_of_species_and_stage_become_rows() -> None:
    source = _source(VISITS + WIDE, "v,A_l,A_a\nV1,2,\nV2,1,3\nV3,0,4\n")
    finds = _table(source, "finds")
    assert finds.text[["find_id", "taxon", "life_stage", "count"]].values.tolist() == [
        ["V1_A_larva", "A", "larva", "2"], ["V2_A_larva", "A", "larva", "1"],
        ["V2_A_adult", "A", "adult", "3"], ["V3_A_adult", "A", "adult", "4"],
    ]  # fmt: skip
    assert finds.rows.tolist() == [0, 1, 1, 2]
    assert finds.wide["count"].tolist() == ["A_l", "A_l", "A_a", "A_a"]
    assert source.find_words == ("A_l", "A_a")
    assert source.zero("A_l").tolist() == [False, False, True]


def test_zero_in_every_wide_column_is_a_visit_without_finds() -> None:
    source = _source(VISITS + WIDE, "v,A_l,A_a\nV1,0,0\nV2,0,\nV3,,\nV4,0,x\n")
    assert source.no_find.tolist() == [True, True, False, False]
    assert _table(source, "visits").rows.tolist() == [0, 1, 2, 3]
    # a row with nothing written says nothing: it is no absence
    assert _table(source, "finds").rows.tolist() == [2, 3]
    assert _table(source, "finds").text["count"].isna().tolist() == [True, False]


@pytest.mark.parametrize("text", ["v,A_l,A_a\n", "v,A_l,A_a\nV1,0,0\nV2,0,0\n"])
def test_wide_columns_without_any_find(text: str) -> None:
    finds = _table(_source(VISITS + WIDE, text), "finds")
    assert len(finds.text) == 0
    assert {"find_id", "taxon", "life_stage", "count"} <= set(finds.text.columns)


def test_wide_passes() -> None:
    body = VISITS + (
        '[source.finds]\nvisit_id = "v"\ntaxon = "x"\nfind_id = { fields = ["visit_id", "taxon", "pass_no"] }\n'
        "[source.wide]\ncolumns.p1 = { pass_no = 1 }\ncolumns.p2 = { pass_no = 2 }\n"
    )
    source = _source(body, "v,x,p1,p2\nV1,A,2,3\nV1,B,0,1\nV2,A,0,0\n")
    finds = _table(source, "finds").text
    # the row of a taxon with zero in every pass contradicts itself and is left to the check
    assert finds[["find_id", "pass_no", "count"]].values.tolist() == [
        ["V1_A_1", "1", "2"], ["V1_A_2", "2", "3"], ["V1_B_2", "2", "1"], ["V2_A_1", "1", "0"],
    ]  # fmt: skip
    assert source.no_find.tolist() == [False, False, False]


def test_no_find_markers() -> None:
    body = (
        VISITS
        + '[source.finds]\nvisit_id = "v"\nfind_id = "f"\ntaxon = "x"\ncount = "n"\n[source.no_find]\nx = ["NULL", "none", ""]\nn = ["0"]\n'
    )
    source = _source(body, "v,f,x,n\nV1,1,A,2\nV2,2,NULL,\nV3,3,none,\nV4,4,,\nV5,5,A,0\n")
    assert source.no_find.tolist() == [False, True, True, True, True]
    assert _table(source, "finds").rows.tolist() == [0]
    assert _table(source, "visits").rows.tolist() == [0, 1, 2, 3, 4]


def test_misshapen_rows_make_nothing() -> None:
    source = _source(VISITS, "v\nV1\nV2\n", misshapen={0: ("V1", "x")})
    assert _table(source, "visits").rows.tolist() == [1]


def test_unused_columns_are_listed_and_counted() -> None:
    assert _source('unused = ["x"]\n' + SITES, "s,x\nA,1\n").unmapped == ("x",)


def test_several_files_in_one_map() -> None:
    toml = (
        '[[source]]\nfile = "places*.csv"\n' + SITES + '[[source]]\nfile = "visits.csv"\n' + VISITS + 'site_id = "s"\n'
    )  # fmt: skip
    made = apply_map(parse_map(toml, "map.toml"), [_sheet("v,s\nV1,A\n", "visits.csv"), _sheet("s\nA\n", "places_2012.csv")])
    assert [(one.source.file, one.mapped[0].table) for one in made] == [("visits.csv", "visits"), ("places_2012.csv", "sites")]


def test_a_sheet_of_a_workbook_is_named_or_known_by_its_columns() -> None:
    named = parse_map('[[source]]\nsheet = "one"\n' + SITES, "map.toml")
    sheets = [_sheet("s\nA\n", "w.xlsx", "two"), _sheet("s\nB\n", "w.xlsx", "one")]
    assert [one.source.sheet for one in apply_map(named, sheets)] == ["one"]
    by_columns = parse_map("[[source]]\n" + SITES, "map.toml")
    assert [one.source.sheet for one in apply_map(by_columns, [_sheet("code\nA\n", "w.xlsx", "codes"), sheets[1]])] == ["one"]


def test_one_site_described_twice() -> None:
    # design §5: equal descriptions are merged, blanks are filled, the later of two different ones is held once
    toml = "[[source]]\n" + SITES + 'habitat = "h"\ncounty = "c"\n'
    sheets = [_sheet("s,h,c\nA,stream,\nB,seep,\n", "a.csv"), _sheet("s,h,c\nA,,x\nB,stream,y\nB,stream,y\n", "b.csv")]
    one = gather("sites", apply_map(parse_map(toml, "map.toml"), sheets))
    merged = merge(one)
    assert merged.row_of.tolist() == [0, 1, 0, 3, 3]
    assert merged.later.tolist() == [False, False, False, True, True]
    assert rows(one, merged, one.text).loc[0, ["habitat", "county"]].tolist() == ["stream", "x"]


# a map's own mistakes


FIRST = '[[source]]\nfile = "z.csv"\n' + SITES + 'county = "c"\n'
MISTAKES = {
    "no source": ("title = 'x'", "", "the map has no"),
    "broken": ("[[source]]\nx = = 3", "", "not valid TOML: .*line 2"),
    "unknown word": ("title = 'x'\nfoo = 1", "line 2", "unknown word 'foo'"),
    "unknown word of reading": ("[reading]\nfoo = 1", "line 2", "unknown word 'foo'"),
    "unknown word of a source": ("[[source]]\nfoo = 1", "line 2", "unknown word 'foo'"),
    "unknown word of a field": ("[[source]]\n" + SITES + 'county = { colum = "s" }', "line 4", "unknown word 'colum'"),
    "unknown word of a column": ("[[source]]\n" + SITES + 'county = { columns = [{ column = "s", cas = "upper" }] }', "line 4", "'cas'"),
    "unknown word of wide": ("[[source]]\n" + FINDS + "[source.wide]\nfoo = 1", "line 5", "unknown word 'foo'"),
    "no table": ("[[source]]\nfile = 'a.csv'", "line 1", "maps no table"),
    "one bracket": ("[source]\n" + SITES, "", "the map has no"),
    "unknown field": ("[[source]]\n" + SITES + 'size = "s"', "line 4", "'size' is no field of sites"),
    "unknown field of the second source": (FIRST + "[[source]]\n" + SITES + 'size = "s"', "line 9", "'size' is no field of sites"),
    "a derived field": ("[[source]]\n" + VISITS + 'start_utc = "s"', "line 4", "'start_utc' is no field of visits"),
    "field as a number": ("[[source]]\n" + SITES + "county = 3", "line 4", "county must be a table of words"),
    "table as a number": ("[[source]]\nsites = 3", "line 2", "sites must be a table of words"),
    "nothing said": ("[[source]]\n" + SITES + "county = {}", "line 4", "county has no column"),
    "said twice": ("[[source]]\n" + SITES + 'county = { column = "c", columns = ["c"] }', "line 4", "more than one of column, columns"),
    "column as a number": ("[[source]]\n" + SITES + "county = { column = 3 }", "line 4", "columns of county must be texts"),
    "column without a name": ("[[source]]\n" + SITES + 'county = { columns = [{ case = "upper" }] }', "line 4", "must be named by a text"),
    "bad unit": ("[[source]]\n" + SITES + 'elevation_m = { column = "e", unit = "yd" }', "line 4", "unit 'yd' cannot be turned into m"),
    "unit of a text": ("[[source]]\n" + SITES + 'county = { column = "e", unit = "m" }', "line 4", "unit 'm' cannot be turned"),
    "bad regular expression": ("[[source]]\n" + SITES + 'county = { column = "c", part = "(" }', "line 4", "is no regular expression"),
    "no group": ("[[source]]\n" + SITES + 'county = { column = "c", part = "x" }', "line 4", "must have one group"),
    "bad case": ("[[source]]\n" + SITES + 'county = { column = "c", case = "title" }', "line 4", "neither upper nor lower"),
    "recode as a list": ("[[source]]\n" + SITES + 'county = { column = "c", recode = ["x"] }', "line 4", "recode must be a table"),
    # a text alone would be taken letter by letter
    "missing as a text": ('[[source]]\nmissing = "NA"\n' + SITES, "line 2", "missing must be a list"),
    "missing of the map as a text": ('[reading]\nmissing = "NA"\n[[source]]\n' + SITES, "line 2", "missing must be a list"),
    "unused as a text": ('[[source]]\nunused = "NA"\n' + SITES, "line 2", "unused must be a list"),
    "no_find as a text": ("[[source]]\n" + FINDS + '[source.no_find]\nc = "none"', "line 5", "no_find must be a list"),
    "sum_over as a text": ("[[source]]\n" + VISITS + 'search_minutes = { column = "m", sum_over = "p" }', "line 4", "must be a list"),
    "bad date order": ("[[source]]\n" + VISITS + 'visit_date = { column = "d", date_order = "usa" }', "line 4", "date_order 'usa'"),
    "bad pivot": ("[[source]]\n" + VISITS + 'visit_date = { column = "d", pivot_year = 1930 }', "line 4", "pivot_year 1930"),
    "bad date_is": ("[[source]]\n" + VISITS + 'visit_date = { column = "d", date_is = "day" }', "line 4", "date_is 'day'"),
    "bad clock": ("[[source]]\n" + VISITS + 'start_time = { column = "d", clock = "noon" }', "line 4", "clock 'noon'"),
    "constant that is no code": ("[[source]]\n" + SITES + 'habitat = { constant = "strem" }', "line 4", "habitat cannot be 'strem'"),
    "stage that is none": ("[[source]]\n" + FINDS + 'microhabitat = { by_stage = { larv = "seep" } }', "line 4", "a stage that is no code"),
    "same_as to nothing": ("[[source]]\n" + SITES + 'county = { same_as = "state" }', "line 4", "refers to 'state', which is not mapped"),
    "same_as to a later table": ("[[source]]\n" + SITES + 'county = { same_as = "visits.visit_id" }\n' + VISITS, "line 4", "not mapped"),
    "same_as to a later field": (
        "[[source]]\n" + SITES + 'county = { same_as = "state" }\nstate = { same_as = "site_id" }', "line 4", "not mapped before",
    ),
    "wide without finds": ("[[source]]\n" + SITES + "[source.wide]\ncolumns = {}", "line 4", r"\[source.wide\] needs"),
    "wide field unknown": ("[[source]]\n" + FINDS + '[source.wide.columns]\nA = { tax = "A" }', "line 5", "'tax' is no field of finds"),
}  # fmt: skip


@pytest.mark.parametrize("mistake", MISTAKES)
def test_a_mistake_names_its_line(mistake: str) -> None:
    text, line, message = MISTAKES[mistake]
    with pytest.raises(RillbookError, match=message) as caught:
        parse_map(text, "map.toml")
    assert caught.value.where == ("map.toml, " + line if line else "map.toml")
    assert "\n" not in str(caught.value)


def _refused(toml: str, *sheets: SourceTable) -> RillbookError:
    with pytest.raises(RillbookError) as caught:
        apply_map(parse_map(toml, "map.toml"), list(sheets))
    return caught.value


def test_a_column_that_the_sheet_lacks() -> None:
    error = _refused("[[source]]\n" + SITES + 'county = { column = "Cnty" }\n', _sheet("s,County\nA,x\n"))
    assert (error.where, error.what) == ("map.toml, line 4", "a.csv has no column 'Cnty'.")
    error = _refused("[[source]]\nsheet = 'one'\n" + SITES, _sheet("x\nA\n", "w.xlsx", "one"))
    assert (error.where, error.what) == ("map.toml, line 4", "w.xlsx, sheet one has no column 's'.")


def test_a_column_of_which_the_map_says_nothing() -> None:
    error = _refused("title = 'x'\n[[source]]\n" + SITES, _sheet("s,County\nA,x\n"))
    assert (error.where, error.what) == ("map.toml, line 2", "the map says nothing of the column 'County' of a.csv.")
    assert "unused" in error.remedy


def test_a_file_without_a_source() -> None:
    error = _refused("[[source]]\nfile = 'b.csv'\n" + SITES, _sheet("s\nA\n"))
    assert (error.where, error.what) == ("a.csv", "the column map has no source for this file.")
    assert "b.csv" in error.remedy


def test_a_map_file(tmp_path: Any) -> None:
    (tmp_path / "map.toml").write_bytes(b"\xef\xbb\xbf" + f"title = 'é'\n[[source]]\n{SITES}".encode())
    made = read_map(tmp_path / "map.toml")
    assert (made.title, len(made.sha256)) == ("é", 64)
    (tmp_path / "old.toml").write_bytes("title = 'é'".encode("cp1252"))
    with pytest.raises(RillbookError, match=r"cannot be read.*Save it as UTF-8"):
        read_map(tmp_path / "old.toml")
    with pytest.raises(RillbookError, match="there is no such column map"):
        read_map(tmp_path / "none.toml")


# rillbook's own sheets


def _own(*sheets: SourceTable) -> tuple[ColumnMap, list[str]]:
    return own_map(list(sheets))


OWN_SITES = "site_id,habitat\nA,stream\n"
OWN_VISITS = "visit_id,site_id,visit_date,protocol\nV,A,2024-05-31,timed_search\n"
OWN_FINDS = "find_id,visit_id,taxon,life_stage,count,microhabitat\nF,V,X,adult,1,seep\n"
OWN_POINTS = "point_id,visit_id,microhabitat\nP,V,seep\n"


@pytest.mark.parametrize(
    ("text", "table"), [(OWN_SITES, "sites"), (OWN_VISITS, "visits"), (OWN_FINDS, "finds"), (OWN_POINTS, "availability")]
)
def test_own_sheets_are_known_by_their_headings(text: str, table: str) -> None:
    made, skipped = _own(_sheet(text))
    assert [list(source.tables) for source in made.sources] == [[table]]
    assert (skipped, made.sha256) == ([], "")
    (source,) = apply_map(made, [_sheet(text)])
    assert list(source.mapped[0].text.columns) == text.split("\n")[0].split(",")


def test_case_and_spaces_of_own_headings_do_not_count() -> None:
    made, _ = _own(_sheet("Site ID,HABITAT,my notes\nA,stream,x\n"))
    (source,) = apply_map(made, [_sheet("Site ID,HABITAT,my notes\nA,stream,x\n")])
    assert source.mapped[0].text.to_dict("records") == [{"site_id": "A", "habitat": "stream"}]
    assert source.unmapped == ("my notes",)


def test_two_headings_of_one_field() -> None:
    with pytest.raises(RillbookError, match="'site_id' and 'Site ID' name one field"):
        _own(_sheet("site_id,Site ID,habitat\nA,B,stream\n"))


def test_an_own_sheet_without_a_required_column() -> None:
    with pytest.raises(RillbookError, match=r"a\.csv: the column life_stage is missing"):
        _own(_sheet("find_id,visit_id,taxon,count,microhabitat\nF,V,X,1,seep\n"))


def test_an_unknown_sheet() -> None:
    with pytest.raises(RillbookError, match=r"a\.csv: no table has these columns: a, b, c.*--map"):
        _own(_sheet("a,b,c\n1,2,3\n"))


def test_a_workbook_with_a_sheet_of_codes() -> None:
    made, skipped = _own(_sheet("code,definition\nx,y\n", "w.xlsx", "codes"), _sheet(OWN_SITES, "w.xlsx", "sites"))
    assert [(source.file, source.sheet) for source in made.sources] == [("w.xlsx", "sites")]
    assert skipped == ["w.xlsx, sheet codes"]
    assert len(apply_map(made, [_sheet("code,definition\nx,y\n", "w.xlsx", "codes"), _sheet(OWN_SITES, "w.xlsx", "sites")])) == 1


def test_a_derived_column_of_an_own_sheet_is_left_aside() -> None:
    text = OWN_VISITS.replace("protocol", "protocol,start_utc").replace("timed_search", "timed_search,2024-05-31T21:30")
    (source,) = apply_map(_own(_sheet(text))[0], [_sheet(text)])
    assert source.unmapped == ("start_utc",)


ALL_WORDS = """
[reading]
date_order = "mdy"
pivot_year = 30
clock = "night"
[[source]]
[source.sites]
site_id = { columns = ["s", "x"], join = "-" }
habitat = { column = "x", recode = { a = "stream", "" = "seep" }, others = "other" }
[source.visits]
site_id = { same_as = "sites.site_id" }
visit_id = { fields = ["site_id", "visit_date", "start_time"] }
visit_date = "d"
start_time = "t"
search_minutes = { column = "m", sum_over = ["p"], unit = "h" }
water_temp_c = { mean_of = ["w1", "w2"], unit = "degF" }
[source.finds]
visit_id = { same_as = "visits.visit_id" }
find_id = { fields = ["visit_id", "taxon"] }
taxon = { column = "n", case = "lower", part = "(^.)" }
life_stage = "l"
microhabitat = { by_stage = { larva = "pool_bed" } }
[source.availability]
visit_id = { same_as = "visits.visit_id" }
point_id = { fields = ["visit_id", "microhabitat"] }
microhabitat = { column = "x", constant = "pool_bed" }
"""


@pytest.mark.parametrize("body", ["", ",,,,,,,,,\n", "?,?,?,?,?,?,?,?,?,?\n"])
def test_every_word_stands_an_empty_sheet_a_blank_row_and_rubbish(body: str) -> None:
    source = _source(ALL_WORDS, "s,x,d,t,m,p,w1,w2,n,l\n" + body)
    for table in ("sites", "visits", "finds", "availability"):
        one = gather(table, [source])
        assert len(rows(one, merge(one), one.typed)) == (1 if body else 0)


def test_every_word_together() -> None:
    text = "s,x,d,t,m,p,w1,w2,n,l\nA,a,5/6/12,9:52,1,1,50,52,Xx,Larva\nA,a,5/6/12,9:52,2,2,50,52,Yy,\n"
    source = _source(ALL_WORDS, text)
    visits, finds = gather("visits", [source]), gather("finds", [source])
    assert merge(visits).row_of.tolist() == [0, 0]
    assert visits.typed.loc[0, ["visit_id", "search_minutes"]].tolist() == ["A-a_2012-05-06_21:52", 180.0]
    assert visits.typed.loc[0, "water_temp_c"] == pytest.approx((51 - 32) / 1.8)
    assert finds.typed["find_id"].tolist() == ["A-a_2012-05-06_21:52_x", "A-a_2012-05-06_21:52_y"]
    assert finds.text["medium_assumed"].isna().tolist() == [False, True]
