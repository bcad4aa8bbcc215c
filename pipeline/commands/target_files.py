"""The tables of targets, to share and for the keeper alone."""

from __future__ import annotations

import json
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import pandas as pd

from pipeline.checking import held_list
from pipeline.settings import Settings
from pipeline.writing.files import PRIVATE, write_files


@dataclass(frozen=True)
class Derived:
    """Targets with what they rest on."""

    targets: pd.DataFrame
    readings: pd.DataFrame
    facts: dict[str, Any]
    kept: pd.DataFrame


def hidden_names(sites: pd.DataFrame, hidden: frozenset[str]) -> frozenset[str]:
    """Names under which readings are counted of which every site is withheld."""
    body = sites["waterbody"].fillna("").str.strip()
    names = body.where(body != "", sites["site_id"])
    return frozenset(names[sites["site_id"].isin(hidden)]) - frozenset(names[~sites["site_id"].isin(hidden)])


def told_targets(derived: Derived, settings: Settings) -> pd.DataFrame:
    """Targets as pages and tables for others have them."""
    from pipeline.writing.site_counts import without_hidden

    seasons = {"warm": settings.warm_months, "cold": settings.cold_months}
    return without_hidden(derived.targets, derived.readings, derived.facts["hidden_sites"], seasons)


def write_targets(out: Path, derived: Derived, more: dict[str, pd.DataFrame], settings: Settings) -> None:
    """Write the tables to share, and those with every number of sites for the keeper alone."""
    from pipeline.writing.site_counts import coarse_sites

    facts, targets = derived.facts, coarse_sites(told_targets(derived, settings))
    rows = json.loads(targets.to_json(orient="records", force_ascii=False, double_precision=6))
    document = {
        "study": facts["title"], "invented": facts["invented"], "licence": facts["licence"],
        "method_version": facts["method_version"], "seed": facts["seed"],
        "exclusions": facts["exclusions"].to_dict("records"),
        "allowances": [
            {**dict(zip(("taxon", "population", "life_stage", "medium"), cell, strict=True)), "parts_c": parts}
            for cell, parts in facts["allowances"].items()
        ],
        "notes": [*([facts["method_note"]] if facts["method_note"] else []), *facts["notes"]], "targets": rows,
    }  # fmt: skip
    traced = {name: facts[name] for name in ("method_version", "seed", "input_hash", "inputs")}
    files: dict[Path, str | bytes | None] = {
        out / f"{name}.csv": held_list.csv_text(coarse_sites(frame)) for name, frame in {"targets": targets, **more}.items()
    }
    files[out / PRIVATE / "targets.csv"] = held_list.csv_text(derived.targets)
    files[out / "targets.json"] = json.dumps(document, indent=1, ensure_ascii=False) + "\n"
    # a plain hash of a sheet gives its places away to whoever can guess the rest of it
    files[out / PRIVATE / "targets_inputs.json"] = json.dumps(traced, indent=1) + "\n"
    write_files(files, "the targets")
