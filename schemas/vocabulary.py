"""The code lists that fields draw on, read from `vocabularies/*.csv`."""

from __future__ import annotations

import csv
from functools import cache
from importlib import resources


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
        Code to its row: ``definition``, ``source`` and, for ``microhabitat``, ``medium`` and ``in_channel``.

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


def medium_of(microhabitat: str) -> str:
    """Medium that a microhabitat belongs to: water, edge, land, surface, or empty for unknown."""
    return vocabulary("microhabitat").get(microhabitat, {}).get("medium", "")
