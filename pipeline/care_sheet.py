"""Care sheets: one self-contained page a taxon, from targets and readings."""

from __future__ import annotations

import math
import re
from collections.abc import Iterable, Mapping
from itertools import pairwise
from pathlib import Path
from typing import Any

import pandas as pd

from pipeline.errors import RillbookError
from pipeline.limits import judgement, published_guidance
from pipeline.plots import MONTHS, Month, cell_plot, number
from pipeline.settings import DEFAULTS
from schemas.vocabulary import codes

Row = dict[str, Any]
Cell = tuple[str, str, str, str]

STAGES = {
    "egg_mass": "Eggs", "hatchling": "Hatchlings", "larva": "Larvae", "metamorph": "Metamorphs", "juvenile": "Juveniles", "adult": "Adults",
}  # fmt: skip
MEDIA = {"water": "in water", "edge": "at the waterline", "land": "on land, under cover", "surface": "on the surface at night"}
BOTH_WAYS = ("warm_spring", "cave")
OWN_BOUND = "P95"
"""How `ceiling_bound_by` begins where the readings themselves set the ceiling, and not a cap or a heat limit."""

PLOTTED_FROM = 10
"""A stage without a target gets a plot from so many readings on: the table tells fewer as well, and empty plots hide the rest."""

NBSP = "\N{NO-BREAK SPACE}"
GRADES = {letter: f"{letter}{NBSP}{word}" for letter, word in zip("ABCD", ("strong", "fair", "provisional", "none"), strict=True)}
SPANS = (*map(str, range(1, 13)), "warm", "cold")
DRAWN = ("number", "kind", "low", "high", "act", "why")
CELL = ["taxon", "population", "life_stage", "medium"]


def page(taxon: str, targets: pd.DataFrame, readings: pd.DataFrame, taxa: pd.DataFrame, facts: Mapping[str, Any]) -> str:
    """Write the care sheet of one taxon.

    Parameters
    ----------
    taxon : str
        Code of the taxon.
    targets : DataFrame
        Columns of `schemas.frames.TARGET_COLUMNS`, temperatures in °C; `month` is text, ``1`` to ``12``, ``warm`` or ``cold``.
    readings : DataFrame
        Columns of `schemas.frames.Readings`, °C. No site, visit or date of it is printed.
    taxa : DataFrame
        Columns of `schemas.tables.Taxa`; the row of `taxon` is used.
    facts : mapping
        What else the page states. Required: ``title``, ``invented``, ``author``, ``licence``, ``seed``, ``method_version``,
        ``exclusions`` (DataFrame: taxon, life_stage, reason, n_finds), ``allowances`` (tuple of taxon, population, stage and medium to a
        dict of name to °C), ``input_hash``, ``notes`` (list of str). Optional: ``guidance`` (DataFrame as from
        `limits.published_guidance`, which is asked where this is missing), ``cooling_c_per_hour`` (fastest safe cooling),
        ``cold_months`` (numbers), ``time_zone``.

    Returns
    -------
    str
        One HTML page that needs no other file; the same bytes for the same input.

    Raises
    ------
    RillbookError
        `taxa` has no such taxon, or a row of the targets contradicts its own ceiling.
    """
    from jinja2 import Environment, PackageLoader, StrictUndefined
    from markupsafe import Markup

    known = taxa[taxa["code"] == taxon]
    if known.empty:
        raise RillbookError(f"there is no taxon {taxon!r} in the book.", "Add it to rillbook.toml as a [[taxon]].")
    mine, read = _only(targets, taxon), _only(readings, taxon)
    mine = mine[mine["quantity"] == "temperature"]
    name, group = str(known["scientific_name"].iloc[0]), str(known["group"].iloc[0])
    cells = [_cell(key, index, mine, read, facts) for index, key in enumerate(_cells(mine, read), start=1)]
    loader = PackageLoader("pipeline")
    environment = Environment(loader=loader, autoescape=True, undefined=StrictUndefined, trim_blocks=True, lstrip_blocks=True)
    return environment.get_template("care_sheet.html").render(
        facts={"time_zone": "", "cooling_c_per_hour": None, **facts},
        name=name,
        code=taxon,
        both_ways=group in BOTH_WAYS,
        cells=[{**cell, "plot": Markup(cell["plot"])} for cell in cells],
        unknown_origin=_unknown_origin(cells),
        exclusions=_exclusions(taxon, facts["exclusions"]),
        guidance=_guidance(facts["guidance"] if "guidance" in facts else _published(group, name, cells), cells),
        eggs_silent=not any(cell["stage"] == "egg_mass" and cell["has_target"] for cell in cells),
        number=number,
    )


def write(out: Path, taxon: str, targets: pd.DataFrame, readings: pd.DataFrame, taxa: pd.DataFrame, facts: Mapping[str, Any]) -> Path:
    """Write the care sheet of one taxon to `out`/care_sheet_<taxon>.html and return that path; arguments and errors as in :func:`page`."""
    text = page(taxon, targets, readings, taxa, facts)
    out.mkdir(parents=True, exist_ok=True)
    path = out / f"care_sheet_{taxon}.html"
    path.write_text(text, encoding="utf-8", newline="\n")
    return path


def fahrenheit(rounded: float, exact: float | None = None, step: float = 0.0, *, up: bool = False) -> int:
    """Whole °F that are as safe as a rounded temperature in °C.

    Parameters
    ----------
    rounded : float
        The figure in °C as printed.
    exact : float, optional
        The figure before it was rounded [°C]. It is used only if rounding it gives `rounded`: a figure that a ceiling cut, or that an
        earlier run left lower, must not come back through its °F.
    step : float, optional
        Step to which `rounded` was rounded [°C].
    up : bool
        Rounded up (bottoms and floors), not down (tops, set points and ceilings).

    Returns
    -------
    int
        °F, rounded in the same direction: °F = 1.8 °C + 32 (the definition of the degree Fahrenheit).
    """
    rounds_to = math.nan
    if exact is not None and step > 0:
        rounds_to = (math.ceil(exact / step - 1e-9) if up else math.floor(exact / step + 1e-9)) * step
    value = (exact if exact is not None and math.isclose(rounds_to, rounded, abs_tol=1e-9) else rounded) * 1.8 + 32
    return math.ceil(value - 1e-9) if up else math.floor(value + 1e-9)


def _only(frame: pd.DataFrame, taxon: str) -> pd.DataFrame:
    mine = frame[frame["taxon"] == taxon].copy()
    mine["population"] = mine["population"].fillna("").astype(str)
    return mine


def _cells(targets: pd.DataFrame, readings: pd.DataFrame) -> list[Cell]:
    both = pd.concat([targets[CELL].astype(str), readings[CELL].astype(str)]).drop_duplicates()
    order = {code: place for place, code in enumerate(codes("life_stage"))}
    media = list(MEDIA)
    keys = (tuple(row) for row in both.itertuples(index=False))
    return sorted(keys, key=lambda key: (key[1], order.get(key[2], 99), key[2], media.index(key[3]) if key[3] in media else 99, key[3]))


def _known(value: Any) -> float | None:
    return None if value is None or pd.isna(value) else float(value)


def _of_cell(frame: pd.DataFrame, key: Cell) -> pd.DataFrame:
    _, population, stage, medium = key
    return frame[(frame["population"] == population) & (frame["life_stage"] == stage) & (frame["medium"] == medium)]


def _cell(key: Cell, index: int, targets: pd.DataFrame, readings: pd.DataFrame, facts: Mapping[str, Any]) -> Row:
    """Everything that the page says of one population, stage and medium."""
    _, population, stage, medium = key
    rows, read = _of_cell(targets, key), _of_cell(readings, key)
    records = {_month_key(row["month"]): row for row in rows.to_dict("records")}
    ceiling, floor = _known(rows["ceiling"].min()), _known(rows["floor"].max())
    values = {month: tuple(sorted(part)) for month, part in read.groupby("month")["value"]}
    months = [_month_row(month, records.get(str(month)), values.get(month, ()), ceiling, floor) for month in range(1, 13)]
    if stage == "egg_mass" and not read["at_nest"].any():
        months = [{**row, "why": "not read at the nest"} if row["kind"] == "refused" else row for row in months]
    what = f"{_words(STAGES, stage)}, {_words(MEDIA, medium)}"
    drawn = [Month(values=values.get(row["number"], ()), **{name: row[name] for name in DRAWN}) for row in months]
    has_target = any(row["low"] is not None for row in months)
    plotted = has_target or len(read) >= PLOTTED_FROM
    found = [_found(name, records.get(name), values.get(int(name) if name.isdigit() else 0, ())) for name in SPANS]
    return {
        "id": f"cell-{index}",
        "population": population,
        "stage": stage,
        "what": what,
        "months": months,
        "has_target": has_target,
        "ceiling": _ceiling(rows, ceiling),
        "floor_c": floor,
        "floor": _floor(floor, months, facts),
        "plot": cell_plot(what if not population else f"{what}, {population}", drawn, ceiling, floor, f"plot-{index}") if plotted else "",
        "refused": _refused(months),
        "evidence": _evidence(key, rows, read, facts),
        "has_readings": not read.empty,
        "found": [row for row in found if row],
        "silent": _silent(read, facts),
    }


def _month_key(month: Any) -> str:
    """Month as text without the decimal point that a column with gaps gives to whole numbers."""
    return re.sub(r"\.0$", "", str(month))


def _month_name(month: Any) -> str:
    key = _month_key(month)
    return MONTHS[int(key) - 1] if key.isdigit() else key


def _words(names: Mapping[str, str], code: str) -> str:
    return names.get(code, code.replace("_", " ").capitalize() if names is STAGES else code)


def _count(n: Any, one: str, many: str = "") -> str:
    whole = 0 if n is None or pd.isna(n) else int(n)
    return f"{whole} {one if whole == 1 else many or one + 's'}"


def _degrees(value: float, f: float, digits: int | None = None) -> str:
    return f"{number(value, digits)}{NBSP}°C ({number(f)}{NBSP}°F)"


def _month_row(month: int, record: Row | None, values: tuple[float, ...], ceiling: float | None, floor: float | None) -> Row:
    """One row of the keeper's table."""
    name, n = MONTHS[month - 1], len(values)
    row: Row = {"number": month, "name": name, "kind": "empty", "low": None, "high": None, "act": None, "why": "no readings", "notes": []}
    if record is None:
        return row if not n else {**row, "kind": "refused", "why": "no target was derived", "notes": [_count(n, "reading")]}
    if record["status"] == "refused" and not n and not _known(record["n_readings"]):
        return row
    reason = "" if pd.isna(record["reason"]) else str(record["reason"])
    counts = f"{_count(record['n_readings'], 'reading')}, {_count(record['n_dates'], 'date')}, {_count(record['n_sites'], 'site')}"
    if record["status"] == "refused" or _known(record["band_high"]) is None:
        return {**row, "kind": "refused", "why": reason or "refused", "notes": [counts]}
    _refuse_contradiction(name, record, ceiling, floor)
    return {**row, **_kept(record, reason, counts, floor)}


def _kept(record: Row, reason: str, counts: str, floor: float | None) -> Row:
    """What a row with a target says, in °C and °F."""
    low, high, aim, act = (float(record[column]) for column in ("band_low", "band_high", "set_point", "act_line"))
    warm = row_fahrenheit(record, floor)
    borrowed = record["status"] == "borrowed"
    why = f"borrowed from {_month_name(record['borrowed_from'])}" if borrowed else ""
    notes = ["" if why in reason else why, reason, "top cut to stay under the ceiling" if record["cut_by_ceiling"] else "", counts]
    grade = GRADES.get(str(record["grade"])[:1], GRADES["D"])
    return {
        "kind": record["status"],
        "low": low,
        "high": high,
        "act": act,
        "why": why,
        "band": number(high) if low == high else f"{number(low)}–{number(high)}",
        "band_f": str(warm["high"]) if warm["low"] == warm["high"] else f"{warm['low']}–{warm['high']}",
        "low_words": _degrees(low, warm["low"]),
        "aim": _degrees(aim, warm["aim"]),
        "act_words": _degrees(act, warm["act"]),
        "grade": f"borrowed; own: {grade}" if borrowed else grade,
        "notes": [note for note in notes if note],
    }


def row_fahrenheit(record: Mapping[str, Any], floor: float | None) -> dict[str, int]:
    """Band, set point and act line of one row in whole °F, in the same order as in °C.

    Parameters
    ----------
    record : mapping
        ``band_low``, ``set_point``, ``band_high``, ``act_line``, ``p25``, ``p50``, ``p75`` [°C], ``grade``, ``status``, ``cut_by_ceiling``.
    floor : float or None
        Floor of the cell [°C].

    Returns
    -------
    dict of str to int
        ``low`` ≤ ``aim`` ≤ ``high`` ≤ ``act`` [°F], none below the floor's °F.
    """
    step = _step(record["grade"])
    # The quantiles of a borrowing month and of a cut one are warmer than the figures printed, so °F must not come from them.
    aside = record["status"] == "borrowed" or bool(record["cut_by_ceiling"])
    p25, p50, p75 = (None if aside else _known(record[column]) for column in ("p25", "p50", "p75"))
    # Rounding each figure its own way can put two of one whole °C in the wrong order; as in °C, the floor wins and then the lower figure.
    least = -1000 if floor is None else fahrenheit(floor, up=True)
    act = max(fahrenheit(float(record["act_line"])), least)
    high = min(max(fahrenheit(float(record["band_high"]), p75, step), least), act)
    aim = min(max(fahrenheit(float(record["set_point"]), p50, step), least), high)
    low = min(max(fahrenheit(float(record["band_low"]), p25, step, up=True), least), aim)
    return {"low": low, "aim": aim, "high": high, "act": act}


def _step(grade: Any) -> float:
    """Step to which figures of a grade are rounded [°C]; cells without a grade of their own are rounded like the weakest."""
    letter = str(grade)[:1].lower()
    return judgement(f"rounding_{letter if letter in ('a', 'b', 'c') else 'c'}")


def _refuse_contradiction(name: str, record: Row, ceiling: float | None, floor: float | None) -> None:
    """Stop rather than print a page of which one part forbids what another advises."""
    order = [
        ("floor", floor),
        ("bottom of the band", _known(record["band_low"])),
        ("set point", _known(record["set_point"])),
        ("top of the band", _known(record["band_high"])),
        ("act line", _known(record["act_line"])),
        ("ceiling", ceiling),
    ]
    where = f"{record['taxon']}, {record['life_stage']}, {record['medium']}, {name}"
    remedy = "No care sheet was written. Derive the targets again with `rillbook targets`."
    for words, value in order[1:5]:
        if value is None:
            raise RillbookError(f"a target without a {words}.", remedy, where)
    known = [(words, value) for words, value in order if value is not None]
    for (words, value), (above, limit) in pairwise(known):
        if value > limit:
            raise RillbookError(f"the {words}, {number(value)} °C, stands above the {above}, {number(limit)} °C.", remedy, where)
    if ceiling is not None and record["band_high"] >= ceiling:
        raise RillbookError(f"the top of the band, {number(ceiling)} °C, is the ceiling itself.", remedy, where)


def _ceiling(rows: pd.DataFrame, ceiling: float | None) -> Row | None:
    if ceiling is None:
        return None
    row = rows[rows["ceiling"] == ceiling].iloc[0]
    exact = float(row["p95_bound"] - row["allowance"]) if str(row["ceiling_bound_by"]).startswith(OWN_BOUND) else None
    warm = rows.loc[rows["month"] == "warm", "grade"]
    return {"c": ceiling, "words": _degrees(ceiling, fahrenheit(ceiling, exact, _step(warm.iloc[0] if len(warm) else "")))}


def _floor(floor: float | None, months: list[Row], facts: Mapping[str, Any]) -> str:
    if floor is not None:
        return f"Floor {_degrees(floor, fahrenheit(floor, up=True))}: do not go below."
    measured = [row for row in months if row["low"] is not None]
    if not measured:
        return "No floor: too little was read."
    lowest = min(measured, key=lambda row: (row["low"], row["high"]))
    cold = {int(month) for month in facts.get("cold_months", DEFAULTS["cold_months"])}
    some = any(row["number"] in cold and row["kind"] != "empty" for row in months)
    winter = "too little was read in winter for a floor" if some else "winter unknown"
    return f"No floor: {winter}. Do not go below the lowest month measured ({lowest['name']}, band from {lowest['low_words']})."


def _refused(months: Iterable[Row]) -> list[tuple[str, str]]:
    """Months that have readings or nothing at all, gathered by the reason why they have no target."""
    by_why: dict[str, list[int]] = {}
    for row in months:
        if row["low"] is None:
            by_why.setdefault(row["why"], []).append(row["number"])
    return [(_runs(numbers), why) for why, numbers in by_why.items()]


def _runs(numbers: Iterable[int]) -> str:
    """Names of months, three or more in a row as "March to June"."""
    runs: list[list[int]] = []
    for month in sorted(numbers):
        if runs and month == runs[-1][-1] + 1:
            runs[-1].append(month)
        else:
            runs.append([month])
    names = [[MONTHS[month - 1] for month in run] for run in runs]
    return ", ".join(f"{run[0]} to {run[-1]}" if len(run) > 2 else ", ".join(run) for run in names)


def _share(flags: pd.Series) -> str:
    return f"{round(100 * float(flags.mean()))} %"


def _evidence(key: Cell, rows: pd.DataFrame, read: pd.DataFrame, facts: Mapping[str, Any]) -> list[tuple[str, str]]:
    """Label and text of every line of the evidence block."""
    if read.empty:
        return [("Readings", "none")]
    years = sorted(int(year) for year in read["year"].dropna().unique())
    timed = read["night"].dropna().astype(bool)
    untimed = len(read) - len(timed)
    night = f"{_share(timed)} of the {len(timed)} with a clock time" if len(timed) else "not known: no clock times"
    visits, dates, sites = (_count(read[f"{word}{end}"].nunique(), word) for word, end in (("visit", "_id"), ("date", ""), ("site", "")))
    lines = [
        ("Readings", f"{_count(len(read), 'reading')} at {_count(read['n_animals'].sum(), 'animal')} (one animal counts once a day)"),
        ("From", f"{visits} on {dates} at {sites} in {_count(len(years), 'year')} ({', '.join(map(str, years)) or 'not noted'})"),
        ("Months read", _runs(int(month) for month in read["month"].unique())),
        ("At night", night + (f"; {untimed} without" if untimed and len(timed) else "")),
        ("Read for the whole visit, not at the animal", _share(read["from_visit"])),
        ("Medium assumed, not noted in the field", _share(read["medium_assumed"])),
        ("Thermometers", _instruments(read["accuracy_c"])),
        ("Observed or selected", _basis(rows)),
    ]
    return lines + _ceiling_evidence(key, rows, facts)


def _instruments(accuracy: pd.Series) -> str:
    parts = [f"±{number(value)} °C for {_count(n, 'reading')}" for value, n in accuracy.dropna().value_counts().sort_index().items()]
    missing = int(accuracy.isna().sum())
    return "; ".join(parts + [f"accuracy not noted for {_count(missing, 'reading')}"] * bool(missing))


def _basis(rows: pd.DataFrame) -> str:
    if (rows["basis"] == "selected").any():
        return "selected: places where no animal was were read too, and the animals' places differ from them"
    return "observed only: this tells where they were found, not what they would choose"


def _ceiling_evidence(key: Cell, rows: pd.DataFrame, facts: Mapping[str, Any]) -> list[tuple[str, str]]:
    bound = rows["p95_bound"].dropna()
    if rows["ceiling"].isna().all():
        return [("Ceiling", "none: no month and no season has enough readings")]
    if bound.empty:
        lines = [("Lower bound of the warm-season P95", "none: too few readings")]
    else:
        lines = [("Lower bound of the warm-season P95", f"{number(float(bound.iloc[0]), 1)} °C, before the allowances")]
    parts = facts["allowances"].get(key) or {}
    total = _known(rows["allowance"].max())
    if parts and bound.size:
        lines.append(("Allowances, taken off", "; ".join(f"{name} {number(float(value), 1)} °C" for name, value in parts.items() if value)))
    elif total is not None and bound.size:
        lines.append(("Allowances, taken off", f"{number(total, 1)} °C together"))
    named = rows.loc[rows["ceiling"].notna(), "ceiling_bound_by"].dropna()
    return lines + [("Ceiling set by", str(words)) for words in named[:1]]


def _found(name: str, record: Row | None, values: tuple[float, ...]) -> Row | None:
    """One line of what was read: never what to keep."""
    if record is None or not _known(record["n_readings"]):
        return None
    label = {"warm": "Warm season", "cold": "Cold season"}.get(name) or _month_name(name)
    ends, middle, span = (record["p05"], record["p95"]), record["p50"], ""
    if pd.isna(ends[0]) or pd.isna(ends[1]):
        ends, span = ((values[0], values[-1]), " (lowest to highest)") if values else ((None, None), "")
    low, high = _known(record["p50_low"]), _known(record["p50_high"])
    interval = "none: too few sites or dates" if low is None or high is None else _between(low, high)
    return {
        "label": label,
        "counts": [int(_known(record[column]) or 0) for column in ("n_readings", "n_dates", "n_sites", "n_years")],
        "span": "–" if ends[0] is None else _between(ends[0], ends[1]) + span,
        "median": "–" if pd.isna(middle) else _plain(middle),
        "interval": interval,
        "grade": GRADES.get(str(record["grade"])[:1], "D none"),
    }


def _plain(value: float) -> str:
    """An observed value in °C and °F, to the nearest: it is what was read, so no direction is safer."""
    return _degrees(value, round(value * 1.8 + 32), 1)


def _between(low: float, high: float) -> str:
    if low == high:
        return _plain(low)
    ends = f"{number(low, 1)} to {number(high, 1)} °C", f"({number(round(low * 1.8 + 32))} to {number(round(high * 1.8 + 32))} °F)"
    return " ".join(end.replace(" ", NBSP) for end in ends)


def _silent(read: pd.DataFrame, facts: Mapping[str, Any]) -> list[str]:
    """What the readings of a cell cannot tell, in words."""
    seen = {int(month) for month in read["month"].dropna().unique()}
    cold = [int(month) for month in facts.get("cold_months", DEFAULTS["cold_months"])]
    unread = [month for month in range(1, 13) if month not in seen]
    lines = []
    if seen and unread:
        lines.append(f"Nothing was read in {_runs(unread)}.")
    if not seen & set(cold):
        lines.append("Winter is unknown.")
    timed = read["night"].dropna().astype(bool)
    if seen and not timed.any():
        lines.append("Night is unknown: no reading is known to have been taken between sunset and sunrise.")
    elif seen and timed.all() and len(timed) == len(read):
        lines.append("Day is unknown: every reading was taken between sunset and sunrise.")
    years = read["year"].dropna().unique()
    if len(years) == 1:
        lines.append(f"All readings are from {int(years[0])}: this speaks of that year only.")
    if len(read) and read["from_visit"].all():
        lines.append("No reading was taken at an animal; all are the visit's.")
    return lines


def _unknown_origin(cells: list[Row]) -> list[tuple[str, str, str]]:
    """Coolest ceiling by stage and medium, where a taxon has several populations."""
    if len({cell["population"] for cell in cells}) < 2:
        return []
    coolest: dict[str, Row] = {}
    for cell in cells:
        if cell["ceiling"] and (cell["what"] not in coolest or cell["ceiling"]["c"] < coolest[cell["what"]]["ceiling"]["c"]):
            coolest[cell["what"]] = cell
    return [(what, cell["ceiling"]["words"], cell["population"] or "no population named") for what, cell in coolest.items()]


def _exclusions(taxon: str, exclusions: pd.DataFrame) -> list[tuple[str, str, int]]:
    mine = exclusions[exclusions["taxon"] == taxon]
    return [(_words(STAGES, str(row.life_stage)), str(row.reason), int(row.n_finds)) for row in mine.itertuples(index=False)]


def _published(group: str, name: str, cells: list[Row]) -> pd.DataFrame:
    stages = [stage for stage in STAGES if any(cell["stage"] == stage for cell in cells)] or list(STAGES)
    return pd.concat([published_guidance(group, stage, name) for stage in stages]).drop_duplicates(ignore_index=True)


def _guidance(guidance: pd.DataFrame, cells: list[Row]) -> list[Row]:
    """Guidance from elsewhere, figures of one source together; a figure that this page's own ceiling or floor forbids is not repeated."""
    together: dict[tuple[str, ...], list[str]] = {}
    for record in guidance.astype(object).where(guidance.notna(), None).to_dict("records"):
        stages = [stage for stage in str(record.get("life_stage") or "").split("|") if stage]
        who = str(record.get("taxon_or_group") or "").replace("_", " ")
        words = ", ".join(_words(STAGES, stage).lower() for stage in stages)
        key = (who, words, *(str(record.get(column) or "") for column in ("kind", "source", "note")))
        its = [cell for cell in cells if not stages or cell["stage"] in stages]
        together.setdefault(key, []).extend(_guidance_figure(record, its))
    return [
        {"who": who, "stages": stages, "kind": kind, "source": source or "no source", "note": note.rstrip("."), "figures": figures}
        for (who, stages, kind, source, note), figures in together.items()
    ]


def _guidance_figure(record: Row, cells: list[Row]) -> list[str]:
    value, unit = _known(record["value"]), record.get("unit") or ""
    if value is None:
        return []
    what = str(record["quantity"]).removeprefix("guide_").replace("_", " ")
    if unit != "°C":
        return [f"{what} {number(value)} {unit}"]
    if any(cell["ceiling"] and value > cell["ceiling"]["c"] for cell in cells):
        return [f"{what}: above a ceiling of this page, so not repeated"]
    if any(cell["floor_c"] is not None and value < cell["floor_c"] for cell in cells):
        return [f"{what}: below a floor of this page, so not repeated"]
    return [f"{what} {_degrees(value, fahrenheit(value))}"]
