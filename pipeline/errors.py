"""The errors that a person sees: where, what, and what to do next."""

from __future__ import annotations


class RillbookError(Exception):
    """Something that stops a command; nothing was changed.

    Parameters
    ----------
    what : str
        What is wrong.
    remedy : str
        What to do next.
    where : str, optional
        File, line and field.
    """

    def __init__(self, what: str, remedy: str, where: str = "") -> None:
        self.what, self.remedy, self.where = what, remedy, where
        super().__init__(f"{where + ': ' if where else ''}{what} {remedy}".strip())
