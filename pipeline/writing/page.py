"""The door to the templates: each room keeps its own, a page is one file, and every text is escaped."""

from __future__ import annotations

from functools import cache
from typing import Any

KNOWS_SITES = "Private: for those who record. It knows the sites of the book, and filled in it tells exact places. Do not share it."
"""Banner of what one records on."""


@cache
def environment(room: str) -> Any:
    """Templates of a room, and those that all rooms share.

    Parameters
    ----------
    room : str
        Name of a folder of ``pipeline`` that has a folder ``templates``.

    Returns
    -------
    jinja2.Environment
        Text is escaped, and a name that is missing is an error.
    """
    from jinja2 import ChoiceLoader, Environment, PackageLoader, StrictUndefined

    loader = ChoiceLoader([PackageLoader(f"pipeline.{room}"), PackageLoader("pipeline.writing")])
    made = Environment(loader=loader, autoescape=True, undefined=StrictUndefined, trim_blocks=True, lstrip_blocks=True)
    made.globals["knows_sites"] = KNOWS_SITES
    return made


def render(room: str, template: str, **facts: Any) -> str:
    """Fill a template.

    Parameters
    ----------
    room : str
        As :func:`environment`.
    template : str
        Name of a file in its ``templates``.
    **facts
        What it shows; text is escaped, and a name that is missing is an error.

    Returns
    -------
    str
        HTML that needs no other file.
    """
    return str(environment(room).get_template(template).render(**facts))
