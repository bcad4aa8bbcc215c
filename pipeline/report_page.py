"""The door to the templates of the reports: one page, one file, every text escaped."""

from __future__ import annotations

from typing import Any

PRIVATE = "Private. It shows exact places."


def render(template: str, **facts: Any) -> str:
    """Fill a template.

    Parameters
    ----------
    template : str
        Name of a file in ``templates/``.
    **facts
        What it shows; text is escaped, and a name that is missing is an error.

    Returns
    -------
    str
        HTML that needs no other file.
    """
    from jinja2 import Environment, PackageLoader, StrictUndefined

    loader = PackageLoader("pipeline")
    environment = Environment(loader=loader, autoescape=True, undefined=StrictUndefined, trim_blocks=True, lstrip_blocks=True)
    return environment.get_template(template).render(**facts)
