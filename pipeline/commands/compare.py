"""Two populations held side by side."""

from __future__ import annotations

import math
from pathlib import Path
from typing import Any

from pipeline.book.connection import open_book
from pipeline.commands.derive import refuse_empty
from pipeline.intake.settings_changed import settled


def compare_populations(folder: Path, first: str, second: str, *, taxon: str, life_stage: str, medium: str) -> dict[str, Any]:
    """Compare the temperatures at which two populations were found; see `compare.compare`.

    Returns
    -------
    dict
        The comparison's fields; ``words`` says the same in sentences.
    """
    from dataclasses import asdict

    from pipeline.targets import compare, evidence

    settings = settled(folder)
    with open_book(folder) as connection:
        refuse_empty(connection, folder)
        readings, _ = evidence.readings(connection, settings)
    found = asdict(compare.compare(readings, first, second, settings, taxon=taxon, life_stage=life_stage, medium=medium))
    return {name: None if isinstance(value, float) and math.isnan(value) else value for name, value in found.items()}
