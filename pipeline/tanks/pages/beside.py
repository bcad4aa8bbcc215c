"""The page beside the tank, read across a room: today's band, the state by word and shape, the last reading and its age, what is due."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pandas as pd

from pipeline.tanks.audit import Audit, moment
from pipeline.tanks.due import OVERDUE, TODAY
from pipeline.tanks.pages.page import SHAPES, band_today, save
from pipeline.writing.page import render
from pipeline.writing.words import counted, plain


def write_beside_page(path: Path, audit: Audit, taxon_name: str, about: dict[str, Any], due: list[dict[str, Any]]) -> Path:
    """Write the page; arguments as `page.write_audit_page`.

    Returns
    -------
    Path
    """
    now = [row for row in due if row["state"] in (OVERDUE, TODAY)]
    later = [row for row in due if row["due"] is not None]
    text = render(
        "tanks",
        "beside.html",
        title=f"{audit.enclosure['enclosure_id']}: {audit.state}",
        settings={"invented": about["invented"]},
        audit=audit,
        taxon=taxon_name,
        shape=SHAPES[audit.state],
        band=band_today(audit),
        since="" if audit.since is None else moment(audit.stretch, audit.since),
        last=last_words(audit),
        due=now or later[:1],
        written=moment(audit.stretch, audit.stretch.end),
    )
    return save(path, text)


def last_words(audit: Audit) -> str:
    """Last reading of a judged sensor and its age at the end of the stretch."""
    lasts = [sensor.last for sensor in audit.sensors if sensor.verdict is not None and sensor.last is not None]
    if not lasts:
        return "No reading."
    at, value = max(lasts)
    minutes = int((audit.stretch.end - at) / pd.Timedelta(minutes=1))
    hours = round(minutes / 60)
    age = counted(minutes, "minute") if hours < 2 else counted(hours, "hour") if hours < 48 else counted(hours // 24, "day")
    return f"Last reading {plain(value)}, {age} old."
