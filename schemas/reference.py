"""Files of figures that ship with rillbook: measured, published and judged numbers, each with its source."""

from __future__ import annotations

import csv
from functools import cache
from importlib import resources
from importlib.resources.abc import Traversable
from pathlib import Path


def data_file(name: str) -> Traversable:
    """Find a file that ships with rillbook.

    Parameters
    ----------
    name : str
        Path below `data/`, such as ``"reference/limits.csv"``.

    Returns
    -------
    importlib.resources Traversable
        In the installed package, or in the `data/` folder beside `schemas/` in a bare checkout.
    """
    try:
        return resources.files("rillbook_data").joinpath(name)
    except ModuleNotFoundError:
        return Path(__file__).resolve().parents[1].joinpath("data", name)


@cache
def figures(name: str) -> dict[str, str]:
    """Values of a file of figures, as written.

    Parameters
    ----------
    name : str
        File below `data/reference/` without its ending, with columns ``name`` and ``value``.

    Returns
    -------
    dict of str to str
        Name to value, in the unit of the file.
    """
    text = data_file(f"reference/{name}.csv").read_text(encoding="utf-8")
    return {row["name"]: row["value"] for row in csv.DictReader(text.splitlines())}


def rule_figure(name: str) -> float:
    """A threshold of the rules, in the unit of `data/reference/rules.csv`."""
    return float(figures("rules")[name])
