"""Text that goes into XML."""

from __future__ import annotations

from xml.etree import ElementTree

from pipeline.publishing.eml import printable


def test_signs_that_xml_cannot_hold_are_dropped_and_all_others_kept() -> None:
    """XML 1.0, production Char: tab, line feed, carriage return, and U+0020 up without surrogates, U+FFFE and U+FFFF."""
    assert printable("a\x00\x0b\x1f\ufffe\uffffb") == "ab"
    kept = "\t\n é 水 \U0001f98e <&>"
    assert printable(kept) == kept
    element = ElementTree.Element("a")
    element.text = printable("x\x00" + kept)
    assert ElementTree.fromstring(ElementTree.tostring(element)).text == "x" + kept
