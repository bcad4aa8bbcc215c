"""Drawings as text and as a picture: a drawing says in words what it shows, and holds what was drawn where it was drawn."""

from __future__ import annotations

from io import BytesIO

import numpy as np
from lxml import etree
from PIL import Image

from pipeline.writing.pictures import Drawing, for_inlining, png_bytes, svg_text


def drawn() -> Drawing:
    drawing = Drawing(100, 60)
    drawing.box(10, 10, 80, 40, fill="#7a8a7022", stroke="#333333")
    drawing.circle((30, 30), 8, "#b8a96b")
    drawing.cross((70, 30), 6, "#444444")
    drawing.line([(10, 55), (90, 55)], "#5b3a8c", width=2, dash=(8.0, 8.0))
    drawing.text((50, 20), "<12> & 3 °C\x07", 9, "middle")
    return drawing


def test_an_inlined_drawing_is_described_and_two_of_them_share_no_id() -> None:
    tree = etree.fromstring(for_inlining(drawn(), "a", "Water <& air", 'It says "12 °C"'))
    assert tree.attrib["viewBox"] == "0 0 100 60" and tree.attrib["role"] == "img" and tree.attrib["aria-labelledby"] == "a-title a-desc"
    assert [tree.findtext("title"), tree.findtext("desc")] == ["Water <& air", 'It says "12 °C"']
    ids = [{one.get("id") for one in etree.fromstring(for_inlining(drawn(), ident, "x", "y")).iter() if one.get("id")} for ident in "ab"]
    assert len(ids[0]) == 2 and not ids[0] & ids[1]


def test_a_file_of_its_own_is_sound_and_its_text_is_text() -> None:
    tree = etree.fromstring(svg_text(drawn(), "A <title>").encode())
    name = "{http://www.w3.org/2000/svg}"
    assert tree.findtext(f"{name}title") == "A <title>"
    assert [node.text for node in tree.iter(f"{name}text")] == ["<12> & 3 °C "]
    assert svg_text(drawn(), "x") == svg_text(drawn(), "x")


def test_letters_and_neighbours_of_one_look_share_an_element_and_keep_their_places() -> None:
    """SVG 1.1, chapter 10, from memory: a list in x and y gives each character its own place, and the anchor holds for each."""
    drawing = Drawing(60, 40)
    for at, letter, colour in (((5, 9), "J", "black"), ((15, 9), "F", "white"), ((25.5, 19), "M", "black"), ((40, 30), "×", "black")):
        drawing.text(at, letter, 4.6, "middle", colour)
    drawing.circle((10, 20), 2, "red")
    drawing.circle((30, 20), 3, "red")
    drawing.circle((50, 20), 3, "blue")
    drawing.circle((10, 30), 2, "red")
    tree = etree.fromstring(for_inlining(drawing, "a", "x", "y"))
    said = {(node.text, node.get("x"), node.get("y"), node.get("fill")) for node in tree.iter("text")}
    assert said == {("JM", "5 25.5", "9 19", None), ("F", "15", "9", "white"), ("×", "40", "30", None)}
    # the order of shapes is what lies on what, so only neighbours are put together
    assert [(node.get("fill"), node.get("d").count("M")) for node in tree.iter("path")] == [("red", 2), ("blue", 1), ("red", 1)]


def test_the_png_shows_each_shape_where_it_was_drawn() -> None:
    pixels = np.asarray(Image.open(BytesIO(png_bytes(drawn(), 144))))
    assert pixels.shape == (120, 200, 3)
    assert pixels[60, 60].tolist() == [0xB8, 0xA9, 0x6B], "middle of the circle"
    assert pixels[60, 140].max() < 0x80, "middle of the cross"
    assert pixels[5, 5].tolist() == [255, 255, 255] and pixels[90, 100].tolist() != [255, 255, 255], "outside of the box, and inside of it"
    dashed = pixels[110, 20:180].max(axis=1) < 0xA0
    assert 0.3 < dashed.mean() < 0.7, "half of a dashed line is drawn"
    assert (pixels[30:40, 60:140].min(axis=(1, 2)) < 0x60).any(), "the text is there"


def test_many_of_one_look_are_one_path_and_each_is_drawn_in_the_png() -> None:
    drawing = Drawing(60, 20)
    drawing.areas([[(2, 2), (8, 2), (8, 8)], [(52, 2), (58, 2), (58, 8)]], fill="#0000ff")
    drawing.circles([(20, 10), (40, 10)], 3, fill="#ff0000")
    drawing.lines([], "black")
    drawing.circles([], 3, fill="black")
    assert len(etree.fromstring(for_inlining(drawing, "a", "x", "y")).findall("path")) == 2
    pixels = np.asarray(Image.open(BytesIO(png_bytes(drawing, 144))))
    for x, y, colour in ((14, 6, [0, 0, 255]), (114, 6, [0, 0, 255]), (40, 20, [255, 0, 0]), (80, 20, [255, 0, 0]), (60, 6, [255] * 3)):
        assert pixels[y, x].tolist() == colour


def test_dashes_go_on_round_the_corners_of_a_line() -> None:
    """A line of short pieces has the gaps of a straight one, as in SVG."""
    straight, bent = Drawing(100, 10), Drawing(100, 10)
    straight.line([(0, 5), (100, 5)], "black", width=2, dash=(8.0, 8.0))
    bent.line([(x, 5) for x in range(0, 101, 4)], "black", width=2, dash=(8.0, 8.0))
    dark = [np.asarray(Image.open(BytesIO(png_bytes(one, 72))))[5, :, 0] < 0x80 for one in (straight, bent)]
    assert (dark[0] == dark[1]).mean() > 0.9 and 0.4 < dark[1].mean() < 0.65


def test_signs_of_many_languages_have_each_their_own_shape() -> None:
    drawn = {png_bytes(_said(sign), 144) for sign in "é×őжε°\uffff"}
    assert len(drawn) == 7
    assert png_bytes(_said("7", bold=True), 144) != png_bytes(_said("7"), 144)


def _said(text: str, bold: bool = False) -> Drawing:
    drawing = Drawing(20, 20)
    drawing.text((5, 15), text, 10, bold=bold)
    return drawing
