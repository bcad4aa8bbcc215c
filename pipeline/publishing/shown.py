"""How a site was shown to everyone, and how it may be shown now."""

from __future__ import annotations

from dataclasses import dataclass, replace

from pipeline.formulas.grid_squares import WITHHELD, Square, grid_square, square_centre


@dataclass(frozen=True)
class Shown:
    """How a site is shown.

    Attributes
    ----------
    step : str
        Side of its square in degrees.
    south, west : float or None
        Corner of its square, degrees; None where a version before this one remembered the step alone.
    codes : int
        How often its rows got new codes because its place moved by more than a square.
    silent_to : str
        Last day, YYYY-MM-DD, whose visits are shown no more: with them the new square could be linked to the old one. Empty for none.
    """

    step: str
    south: float | None = None
    west: float | None = None
    codes: int = 0
    silent_to: str = ""

    @property
    def salt(self) -> str:
        """What makes the codes of one square differ from those of another."""
        return f"{self.step} {self.codes}" if self.codes else self.step


def square_of(shown: Shown) -> Square | None:
    """Its square: south, west, north, east in degrees; None where it is not known, or withheld."""
    if shown.south is None or shown.west is None or shown.step == WITHHELD:
        return None
    half = float(shown.step) / 2
    return grid_square(shown.south + half, shown.west + half, shown.step)


def shown_now(before: Shown | None, step: str, latitude: float, longitude: float, last_day: str) -> Shown:
    """How a site is shown now, from how it was shown before and where it lies now.

    Parameters
    ----------
    before : Shown or None
        How it was shown; None the first time.
    step : str
        Side of the square, no less than before.
    latitude, longitude : float
        Where the site lies now, degrees WGS 84.
    last_day : str
        Day of its last visit, YYYY-MM-DD; empty for none.

    Returns
    -------
    Shown
        The first square stays, or the larger one that holds it, until the place lies more than a square away from it. A place that is
        corrected across a line would else be known to lie at that line. Then the square is a new one, with new codes, and the visits up to
        now are shown no more.
    """
    south, west, *_ = grid_square(latitude, longitude, step)
    first = None if before is None else square_of(before)
    if before is None or first is None:
        return Shown(step, south, west, *((before.codes, before.silent_to) if before else ()))
    if not is_beside(before, latitude, longitude):
        return Shown(step, south, west, before.codes + 1, max(before.silent_to, last_day))
    held = grid_square(*square_centre(first), step)
    return replace(before, step=step, south=held[0], west=held[1])


def is_beside(before: Shown, latitude: float, longitude: float) -> bool:
    """Whether a place lies in a square or in one that touches it; a place that is not known lies nowhere."""
    first = square_of(before)
    return (
        first is not None
        and latitude == latitude
        and longitude == longitude
        and _squares_apart(first, latitude, longitude, before.step) <= 1
    )


def _squares_apart(first: Square, latitude: float, longitude: float, step: str) -> int:
    own, side = grid_square(latitude, longitude, step), float(step)
    return max(abs(round((own[corner] - first[corner]) / side)) for corner in (0, 1))
