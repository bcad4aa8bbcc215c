"""What a book remembers of its publications: the secret behind public codes, and the square in which each site was shown."""

from __future__ import annotations

import json
import secrets
from collections.abc import Mapping
from dataclasses import asdict, dataclass, field
from pathlib import Path

from pipeline.errors import RillbookError
from pipeline.formulas.grid_squares import Square
from pipeline.publishing.shown import Shown, square_of
from pipeline.writing.files import write_files

PUBLISHED = Path("out", "publish")
MEMORY = "published.json"
ABOUT = (
    "Never share this file. It holds the secret behind the public codes, and in how large a grid square each site was published, so that "
    "no later publication shows a site more exactly. Keep it with the book."
)


@dataclass(frozen=True)
class Memory:
    """What was shown before.

    Attributes
    ----------
    key : bytes
        The book's secret.
    sites : dict of str to Shown
        How each site is shown.
    history : dict of str to list of Shown
        Every way in which each site was ever shown, oldest first.
    allowed : list of dict
        Who let a site be narrowed down, when, which and why.
    visits : dict of str to str
        Site of each visit that was ever shown: a site that gets another code is known again by them.
    """

    key: bytes
    sites: dict[str, Shown] = field(default_factory=dict)
    history: dict[str, list[Shown]] = field(default_factory=dict)
    allowed: list[dict[str, str]] = field(default_factory=list)
    visits: dict[str, str] = field(default_factory=dict)


def read_memory(folder: Path) -> Memory:
    """What was shown before; with a new secret where the book was never published.

    Raises
    ------
    RillbookError
        The file is damaged or lost. It is never made anew in silence: that could show a site more exactly than before.
    """
    path = folder / MEMORY
    if not path.exists():
        if (folder / PUBLISHED).exists():
            what = "this book was published before, and the file that remembers in which squares is gone."
            remedy = f"Restore it from a copy. If nobody has seen that publication, remove {folder / PUBLISHED} and publish anew."
            raise RillbookError(what, remedy, str(path))
        return Memory(secrets.token_bytes(32))
    try:
        kept = json.loads(path.read_text(encoding="utf-8"))
        sites = {str(site): _shown(one) for site, one in kept["sites"].items()}
        history = {str(site): [_shown(one) for one in every] for site, every in kept.get("history", {}).items()}
        visits = {str(visit): str(site) for site, every in kept.get("visits", {}).items() for visit in every}
        return Memory(bytes.fromhex(kept["key"]), sites, history, list(kept.get("allowed", [])), visits)
    except (OSError, ValueError, KeyError, TypeError, AttributeError):
        raise RillbookError("what was published before cannot be read.", "Restore this file from a copy.", str(path)) from None


def _shown(kept: object) -> Shown:
    """An entry of the file; a version before this one kept the step alone."""
    if isinstance(kept, str):
        return Shown(kept)
    if not isinstance(kept, dict):
        raise TypeError
    known = Shown(**kept)
    if not isinstance(known.step, str) or not isinstance(known.codes, int):
        raise TypeError
    return known


def narrowed(memory: Memory, now: Mapping[str, Shown]) -> list[str]:
    """Sites that an observer of all publications would know more exactly than before: their squares of one code overlap in less.

    Parameters
    ----------
    memory : Memory
    now : mapping of str to Shown
        How each site is about to be shown.

    Returns
    -------
    list of str
        Codes of sites, sorted.
    """
    return sorted(site for site, one in now.items() if any(_narrows(before, one) for before in memory.history.get(site, [])))


def _narrows(before: Shown, now: Shown) -> bool:
    old, new = square_of(before), square_of(now)
    # what has other codes, and nothing in common that could link it, tells nothing of what was shown before
    if old is None or new is None or before.codes != now.codes:
        return False
    return not _holds(new, old)


def _holds(large: Square, small: Square) -> bool:
    return large[0] <= small[0] and large[1] <= small[1] and large[2] >= small[2] and large[3] >= small[3]


def remember(folder: Path, memory: Memory, now: Mapping[str, Shown], visits: Mapping[str, str] | None = None) -> None:
    """Keep the secret and the squares, before anything is shown: no crash can make the book forget what others have seen.

    Parameters
    ----------
    folder : Path
        The book.
    memory : Memory
        What was shown before.
    now : mapping of str to Shown
        How each site is about to be shown.
    visits : mapping of str to str, optional
        Site of each visit that is about to be shown.

    Raises
    ------
    RillbookError
        The file cannot be written.
    """
    history = {site: list(every) for site, every in memory.history.items()}
    for site, one in now.items():
        every = history.setdefault(site, [])
        if one not in every:
            every.append(one)
    of_sites: dict[str, list[str]] = {}
    for visit, site in sorted({**memory.visits, **(visits or {})}.items()):
        of_sites.setdefault(site, []).append(visit)
    document = {
        "about": ABOUT,
        "key": memory.key.hex(),
        "sites": {site: asdict(one) for site, one in sorted(now.items())},
        "history": {site: [asdict(one) for one in every] for site, every in sorted(history.items())},
        "allowed": memory.allowed,
        "visits": dict(sorted(of_sites.items())),
    }
    text = json.dumps(document, indent=1, ensure_ascii=False) + "\n"
    write_files({folder / MEMORY: text}, "the file", "Check the folder's rights.", private=True)
