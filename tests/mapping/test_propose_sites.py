"""Codes of sites, coordinates and datum: found by what has one place, and no coordinate is written down. All places are invented."""

from __future__ import annotations

from strange_sheets import sheet

from pipeline.mapping.column_content import Content, contents
from pipeline.mapping.match_fields import match_fields
from pipeline.mapping.propose_sites import Line, is_stream_name, place_lines, site_columns


def known(text: str) -> dict[str, Content]:
    return contents(sheet(text), ())


def sites(text: str) -> tuple[str, ...]:
    columns = known(text)
    return site_columns(columns, match_fields(columns))[0]


def places(text: str) -> dict[str, Line]:
    columns = known(text)
    return {line.path: line for line in place_lines(columns, match_fields(columns))}


PLACES = ["40.10011,-80.20022", "40.10533,-80.20644", "40.30755,-80.10866"]


def test_the_coarsest_code_with_one_place_names_the_site() -> None:
    rows = [
        f"{plot},{plot}-{part},{plot}-{part}-{day},{place}"
        for day in (1, 2)
        for (plot, part), place in zip(((1, 1), (1, 2), (2, 1)), PLACES, strict=True)
    ]
    assert sites("Plot,Plot_Transect,Plot_Survey,Lat,Long\n" + "\n".join(rows)) == ("Plot_Transect",)


def test_two_columns_where_neither_has_one_place() -> None:
    rows = [f"{name},{place}" for name, place in zip(("Pebble Run,1", "Pebble Run,2", "Hollow Branch,1"), PLACES, strict=True)]
    assert sites("Name,Transect,Lat,Long\n" + "\n".join(rows)) == ("Name", "Transect")


def test_nothing_names_a_site() -> None:
    assert sites("Date,Species\n5/26/2023,DFUS\n") == ()


def test_names_of_streams() -> None:
    assert is_stream_name(known("N\nPebble Run\nHollow Branch\nTwo Pines Creek UT1\n")["N"])
    assert not is_stream_name(known("N\nPCIN\nDFUS\n")["N"])


def test_a_minus_left_out_is_put_back_with_letters_and_marked() -> None:
    found = places("Site,Lat,Long\nA,40.10011,80.20022\nB,40.10533,-80.20644\nC,40.30755,80.10866\n")
    line = found["sites.verbatim_coordinates"]
    assert line.guess and line.value["columns"][1] == {"column": "Long", "part": "^-?(.+)$", "after": "W"}
    assert "sites.latitude" not in found


def test_longitudes_without_any_minus_are_marked() -> None:
    line = places("Site,Lat,Long\nA,40.10011,80.20022\nB,40.10533,80.20644\n")["sites.longitude"]
    assert line.guess and "east of Greenwich" in line.reason


def test_datum() -> None:
    assert places("Site,Lat,Long\nA,40.10011,-80.20022\n")["sites.datum"].value == {"constant": "unknown"}
    stated = places("Site,Lat83,Long83\nA,40.10011,-80.20022\n")["sites.datum"]
    assert stated.value == {"constant": "NAD83"} and stated.guess


def test_a_second_place_with_letters() -> None:
    found = places("Site,Lat,Long,La2,Lo2\nA,40.10011,-80.20022,40.10011N,080.20022W\nB,40.2,-80.3,40.20000N,080.30000W\n")
    assert found["sites.verbatim_coordinates"].value == {"columns": ["La2", "Lo2"], "join": " "}
