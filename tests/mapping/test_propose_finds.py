"""Lines of the finds: above all, that nothing is said to be absent that was only not written. All sheets are invented."""

from __future__ import annotations

from strange_sheets import sheet

from pipeline.mapping.column_content import contents, missing_tokens
from pipeline.mapping.match_fields import match_fields
from pipeline.mapping.propose_finds import find_lines
from pipeline.mapping.propose_sites import Line


def lines(text: str, habitat: str = "stream") -> dict[str, Line]:
    one = sheet(text)
    columns = contents(one, missing_tokens([one]))
    return {line.path: line for line in find_lines(one, columns, match_fields(columns), None, habitat)}


def test_a_text_for_nothing_found_is_marked_and_needs_a_count_without_animals() -> None:
    found = lines("Species,Count\nDFUS,2\nnone,0\nNA,0\n,\n")["no_find.Species"]
    assert found.value == ["", "NA", "none"] and found.guess


def test_an_unnamed_animal_is_no_absence() -> None:
    assert lines("Species,Count\nDFUS,2\n,1\nNA,0\n")["no_find.Species"].value == ["NA"]
    # without a count nothing tells an unnamed animal from none
    assert "no_find.Species" not in lines("Species,Stage\nDFUS,A\n,A\n")
    # a count that cannot be read is an animal that somebody saw
    assert "no_find.Species" not in lines(
        "Species,Count\nDFUS,2\nDFUS,1\nDFUS,1\nDFUS,1\nDFUS,1\nDFUS,1\nDFUS,1\nDFUS,1\nDFUS,1\nnone,3+\n"
    )


def test_unknown_codes_are_asked() -> None:
    found = lines("Species,Stage,Count\nDFUS,L,1\nDFUS,A,1\nDFUS,eft,2\n")["finds.life_stage"]
    assert found.value["recode"] == {"L": "larva", "A": "adult", "eft": "ask"} and "eft: not known" in found.reason


def test_what_is_missing_is_what_feeds_no_target() -> None:
    found = lines("Species,Sex\nDFUS,F\n", habitat="forest")
    assert found["finds.life_stage"].value == {"constant": "undetermined"}
    assert found["finds.microhabitat"].value == {"constant": "unknown"}
    assert found["finds.count"].guess


def test_names_that_are_no_species() -> None:
    found = lines("Species,Count\nDFUS,1\nEurycea sp.,1\nunid,1\n")["finds.id_certainty"]
    assert found.value["recode"] == {"Eurycea sp.": "genus_only", "unid": "unsure"} and found.guess


def test_codes_in_both_cases() -> None:
    assert lines("Species,Count\nDFUS,1\nEBIS,1\nebis,1\n")["finds.taxon"].value == {"column": "Species", "case": "upper"}
