"""The code lists that fields draw on, read from `vocabularies/*.csv`, and the traits of their codes.

The order of the lines is the order of the codes everywhere. A column beside code, definition and source is a trait: what a step does with
a code stands there and nowhere else.
"""

from __future__ import annotations

import csv
from functools import cache
from importlib import resources

# What holds where a cell is empty or a code is not listed: what gives no place away, and asks for no value that nobody has thought about.
TRAITS: dict[str, dict[str, tuple[str, str]]] = {
    "life_stage": {
        "plural": ("", "heading on pages; empty stands for the code in words"),
        "at_nest": ("no", "eggs: read at the nest alone, unsafe on both sides, never published, never asked for"),
        "told": ("yes", "a stage, not the word for not knowing it"),
        "lends": ("no", "a month may take the values of its cooler neighbour"),
        "sizes_overlap": ("no", "size alone does not tell it from the next stage"),
        "letter": ("", "on maps; empty stands for the first letter of the code"),
        "letter_y": ("17", "base line of the letter in the symbol, 0 to 26 from the top"),
        "colour": ("#bbbbbb", "of the symbol; palette of Okabe & Ito 2008 (values from memory)"),
        "card_order": ("5", "place on a card: adults and larvae first, hatchlings and eggs last"),
        "outline": ("M8 3H20L26 13L20 23H8L2 13Z", "of the symbol, an SVG path 28 wide and 26 high"),
    },
    "taxon_group": {
        "constant_temperature": ("no", "lives at one temperature: both directions are unsafe"),
        "secret": ("yes", "its places are shown at 1 degree at most"),
        "cool_water": ("no", "a warm reading at it is doubtful"),
    },
    "habitat": {"secret": ("yes", "shown at 1 degree at most")},
    "microhabitat": {
        "medium": ("", "water, edge, land or surface; empty: never used for a target"),
        "in_channel": ("no", "the visit's water reading stands for it"),
        "nest": ("yes", "never published"),
        "secret": ("yes", "shown at 1 degree at most"),
    },
    "id_certainty": {"doubtful": ("yes", "the species is not sure: never used for a target")},
    "taxon_rank": {"species": ("no", "names one species: may have a target")},
    "reading_place": {
        "with_animal": ("no", "the animal itself lay in what was read"),
        "of_reach": ("no", "counts as the visit's reading"),
    },
    "condition": {"well": ("no", "may be used for a target")},
    "husbandry_event": {"becomes": ("", "life stage that the animals of the enclosure have from then on")},
    "disposition": {"dead": ("no", "the animal was dead: never used for a target")},
}


@cache
def vocabulary(name: str) -> dict[str, dict[str, str]]:
    """Read one code list.

    Parameters
    ----------
    name : str
        Name of the list, such as ``"life_stage"``.

    Returns
    -------
    dict of str to dict
        Code to its row: ``definition``, ``source``, and the traits of the list as in ``TRAITS``.

    Raises
    ------
    FileNotFoundError
        No list has that name.
    """
    text = resources.files("schemas").joinpath("vocabularies", f"{name}.csv").read_text(encoding="utf-8")
    return {row.pop("code"): row for row in csv.DictReader(text.splitlines())}


def codes(name: str) -> tuple[str, ...]:
    """Codes of one list, in the order of its file."""
    return tuple(vocabulary(name))


def vocabulary_names() -> tuple[str, ...]:
    """Names of all code lists, sorted."""
    folder = resources.files("schemas").joinpath("vocabularies")
    return tuple(sorted(path.name[:-4] for path in folder.iterdir() if path.name.endswith(".csv")))


def trait(name: str, code: str, which: str) -> str:
    """What a list says of a code.

    Parameters
    ----------
    name, code, which : str
        List, code and trait, such as ``"life_stage"``, ``"larva"``, ``"colour"``.

    Returns
    -------
    str
        The cell as written; where it is empty, or the code is not listed, the default in ``TRAITS``.

    Raises
    ------
    KeyError
        The list has no such trait.
    """
    default, _ = TRAITS[name][which]
    return vocabulary(name).get(code, {}).get(which) or default


def has_trait(name: str, code: str, which: str) -> bool:
    """Whether a trait of a code is ``yes``; arguments as in :func:`trait`."""
    return trait(name, code, which) == "yes"


def codes_with(name: str, which: str) -> tuple[str, ...]:
    """Codes of a list whose trait is ``yes``, in order."""
    return tuple(code for code in codes(name) if has_trait(name, code, which))


def codes_without(name: str, which: str) -> tuple[str, ...]:
    """Codes of a list whose trait is not ``yes``, in order."""
    return tuple(code for code in codes(name) if not has_trait(name, code, which))


def in_words(code: str) -> str:
    """A code as words: ``egg_mass`` is "Egg mass"."""
    return code.replace("_", " ").capitalize()


def medium_of(microhabitat: str) -> str:
    """Medium that a microhabitat belongs to: water, edge, land, surface, or empty for unknown."""
    return trait("microhabitat", microhabitat, "medium")


EGGS = codes_with("life_stage", "at_nest")
"""Stages that are read at the nest alone."""

CONSTANT = codes_with("taxon_group", "constant_temperature")
"""Groups that live at one temperature."""
