"""What the rows of a book stand under: that which checks ask for, and nothing else."""

from __future__ import annotations

from small_sheets import CASES

from pipeline.book.standards import standards_of
from pipeline.settings import parse_settings

TOML = (CASES / "base" / "rillbook.toml").read_text()
TAXA = TOML[TOML.index("[[taxon]]") :]
GPOR, ETEN = ("[[taxon]]" + one for one in TAXA.split("[[taxon]]")[1:])


def standards(text: str) -> object:
    return standards_of(parse_settings(text, "here"))


def test_order_names_and_what_is_read_where_it_is_used_are_no_change() -> None:
    known = standards(TOML)
    assert standards(TOML.replace(TAXA, ETEN + "\n" + GPOR)) == known
    for old, new in (
        ("Gyrinophilus porphyriticus", "Gyrinophilus p."),
        ("[book]", '[book]\nseed = 7\npublic_precision_deg = "1"'),
        ("paedomorphic = true", 'paedomorphic = true\nrank = "genus"\nsensitivity = "1"\ndetection = 0.4'),
    ):
        assert old in TOML and standards(TOML.replace(old, new)) == known


def test_what_a_check_asks_for_is_a_change() -> None:
    known = standards(TOML)
    for old, new in (
        ("America/New_York", "UTC"), ("-81.9, 25]", "-81.9, 26]"), ('code = "A"', 'code = "B"'), (', "spring sal"', ""),
        ('code = "ETEN"', 'code = "EBIS"'), ("paedomorphic = true", ""), ("low_mm = 58", "low_mm = 57"),
        ('group = "cool_stream"', 'group = "woodland"'),
    ):  # fmt: skip
        assert old in TOML and standards(TOML.replace(old, new)) != known, old
