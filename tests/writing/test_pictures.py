"""Pictures as text: an inlined drawing says in words what it shows, and two on one page share no id."""

from __future__ import annotations

from lxml import etree

from pipeline.writing.pictures import for_inlining

SVG = (
    '<?xml version="1.0"?>\n<svg xmlns="http://www.w3.org/2000/svg" xmlns:xlink="http://www.w3.org/1999/xlink" width="9pt" height="9pt"'
    ' viewBox="0 0 9 9" version="1.1"><metadata>\n<x/></metadata><style type="text/css">*{}</style><defs><clipPath id="p1"/></defs>'
    '<g id="axes_1" clip-path="url(#p1)"><use href="#m"/></g></svg>'
)


def test_a_drawing_is_cut_and_described() -> None:
    made = for_inlining(SVG, "a", "Water <& air", 'It says "12 °C"')
    tree = etree.fromstring(made)
    assert tree.attrib == {"viewBox": "0 0 9 9", "role": "img", "aria-labelledby": "a-title a-desc"}
    assert [tree.findtext("title"), tree.findtext("desc")] == ["Water <& air", 'It says "12 °C"']
    assert "metadata" not in made and "<style" not in made and "xmlns" not in made


def test_ids_and_what_points_to_them_are_the_pages_own() -> None:
    made = for_inlining(SVG, "a", "x", "y")
    assert 'id="a-axes_1"' in made and "url(#a-p1)" in made and 'href="#a-m"' in made
    ids = [{one.get("id") for one in etree.fromstring(for_inlining(SVG, ident, "x", "y")).iter() if one.get("id")} for ident in "ab"]
    assert len(ids[0]) == 4 and not ids[0] & ids[1]
