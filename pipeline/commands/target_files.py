"""What was derived, once for all pages, and its tables: to share, and for the keeper alone."""

from __future__ import annotations

import json
import math
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from functools import cached_property
from pathlib import Path
from typing import Any

import pandas as pd

from pipeline.care.evidence import ByCell
from pipeline.settings import Settings
from pipeline.statistics.grades import least_allowed
from pipeline.writing.files import PRIVATE, write_files
from pipeline.writing.spreadsheet import csv_text
from schemas.enums import Status
from schemas.vocabulary import EGGS

STAGE = ["taxon", "population", "life_stage"]
IN_WATER = ("water", "edge")


@dataclass(frozen=True)
class Derived:
    """Targets with what they rest on."""

    targets: pd.DataFrame
    readings: pd.DataFrame
    facts: dict[str, Any]
    kept: pd.DataFrame
    settings: Settings
    pages: tuple[Path, ...] = ()

    @cached_property
    def told(self) -> pd.DataFrame:
        """Targets as pages and tables for others have them."""
        from pipeline.writing.site_counts import without_hidden

        seasons = {"warm": self.settings.warm_months, "cold": self.settings.cold_months}
        return without_hidden(self.targets, self.facts["open_readings"], seasons)

    @cached_property
    def statements(self) -> dict[tuple[str, str, str], dict[str, list[dict[str, str]]]]:
        """What pages say of humidity and water, for each taxon, population and stage."""
        return dict(_statements(self))

    @cached_property
    def card_tables(self) -> dict[tuple[str, str], Any]:
        """The table of each taxon and population with a target, which a card and a care sheet both print."""
        from pipeline.care.card import card_rows

        made = self.told[self.told["status"] != Status.REFUSED][["taxon", "population"]].drop_duplicates()
        return {
            (taxon, population): card_rows(taxon, population, self.told, self.readings, self.settings.taxa, self.facts)
            for taxon, population in made.itertuples(index=False, name=None)
        }

    @cached_property
    def by_cell(self) -> dict[str, ByCell]:
        """Those of the facts that pages ask for cell by cell."""
        names = ("schedule", "schedule_weeks", "selection", "corrected")
        return {name: ByCell(self.facts[name]) for name in names if self.facts.get(name) is not None}


def write_targets(out: Path, derived: Derived, more: dict[str, pd.DataFrame], pages: Mapping[Path, str]) -> None:
    """Write the tables to share, those with every number of sites for the keeper alone, and the pages, as one set."""
    facts, targets = derived.facts, derived.told
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
    files: dict[Path, str | bytes | None] = {out / f"{name}.csv": csv_text(frame) for name, frame in {"targets": targets, **more}.items()}
    whole = {"targets": derived.targets, **facts["whole"]}
    files |= {out / PRIVATE / f"{name}.csv": csv_text(frame) for name, frame in whole.items()}
    files[out / "targets.json"] = json.dumps(document, indent=1, ensure_ascii=False) + "\n"
    # a plain hash of a sheet gives its places away to whoever can guess the rest of it
    files[out / PRIVATE / "targets_inputs.json"] = json.dumps(traced, indent=1) + "\n"
    write_files({**files, **pages}, "the targets")


def _statements(derived: Derived) -> Iterator[tuple[tuple[str, str, str], dict[str, list[dict[str, str]]]]]:
    """What a care sheet says of humidity and water, for each taxon, population and stage; never beyond a ceiling or floor of the page."""
    from pipeline.targets import humidity_words
    from pipeline.targets import water as water_targets

    more = derived.facts["further"]
    names = derived.settings.taxa.set_index("code")["scientific_name"]
    frames = [derived.targets, more["humidity"], more["humidity_found"], more["water"]]
    parts = [ByCell(frame, len(STAGE)) for frame in (*frames[:3], more["wetness"], more["water"])]
    keys = pd.concat([frame[STAGE].fillna("").astype("str") for frame in frames]).drop_duplicates()
    for taxon, population, stage in sorted(keys.itertuples(index=False, name=None)):
        limits, open_part, figures, wetness, water = (part.rows((taxon, population, stage)) for part in parts)
        target = open_part.to_dict("records")[0] if len(open_part) else None
        ceiling, floor = float(limits["ceiling"].min()), _least(limits)
        damp = [] if stage in EGGS else humidity_words.humidity_rows(target, figures, wetness=wetness, ceiling=ceiling, floor=floor)
        met = len(water) or limits["medium"].isin(IN_WATER).any()
        yield (taxon, population, stage), {"humidity": damp, "water": water_targets.water_rows(water, names[taxon], stage) if met else []}


def _least(limits: pd.DataFrame) -> float:
    """Highest of the least temperatures that the cells of a stage allow, °C."""
    return max((least for _, rows in limits.groupby("medium") if not math.isnan(least := least_allowed(rows))), default=math.nan)
