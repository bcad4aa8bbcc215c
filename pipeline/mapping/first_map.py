"""A first column map for strange sheets: what each column seems to be, with the reason, and what is a guess marked as one.

Nothing here decides: a guess stands in the list ``confirm``, and a question as ``ask``; with either of them a map is refused.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import pandas as pd

from pipeline.mapping.column_content import Content, contents, missing_tokens
from pipeline.mapping.match_fields import Match, match_fields
from pipeline.mapping.propose_finds import SAID_TWICE, field_line, find_lines
from pipeline.mapping.propose_sites import Line, habitat_line, is_stream_name, place_lines, site_columns
from pipeline.mapping.propose_style import ASK, PIVOT, Proposed, clock, date_is_evening, date_order, two_digit_years
from pipeline.mapping.propose_wide import Wide, total_column, wide_columns
from pipeline.reading.rows import SourceTable

# share of the visits of several rows in which a value may vary by slips alone: judgement
VARIES = 0.2
SUMS = ("total", "totals", "sum", "subtotal", "mean", "average", "grand total")
PIVOT_REASON = f"years of two digits up to {PIVOT} are taken for 20xx, the others for 19xx"
STYLES = ("date_order", "date_is", "clock")


@dataclass(frozen=True)
class FirstSource:
    """What is proposed for one sheet: its lines in the order of the map, and its columns."""

    sheet: SourceTable
    lines: tuple[Line, ...]
    columns: dict[str, Content]


@dataclass(frozen=True)
class FirstMap:
    """What is proposed: lines of ``[reading]``, and a source for each sheet."""

    reading: tuple[Line, ...]
    sources: tuple[FirstSource, ...]


def first_map(sheets: list[SourceTable], taxa: dict[str, str]) -> FirstMap:
    """Propose a column map.

    Parameters
    ----------
    sheets : list of SourceTable
        Strange sheets of one survey.
    taxa : dict of str to str
        Code of each name, code or alias of the book, in lower case; empty where there is no book.

    Returns
    -------
    FirstMap
    """
    missing = missing_tokens(sheets)
    proposed = [_source(sheet, contents(sheet, missing), taxa) for sheet in sheets]
    styles = [own for _, own in proposed]
    shared = {word: values.pop() for word in STYLES if len(values := {own[word] for own in styles if word in own}) == 1}
    sources = _one_habitat(tuple(_with_styles(source, own, shared) for source, own in proposed))
    reading = [Line(f"reading.{word}", one.value, one.reason, not one.sure and one.value != ASK) for word, one in shared.items()]
    if any(two_digit_years(one.columns[name]) for one in sources for name in _columns_of(one, "visits.visit_date")):
        reading.append(Line("reading.pivot_year", PIVOT, PIVOT_REASON, guess=True))
    if said := _missing_in_use(sources, missing):
        reading.append(Line("reading.missing", said, "these texts are taken for 'nothing was written'", guess=True))
    return FirstMap(tuple(reading), sources)


def _one_habitat(sources: tuple[FirstSource, ...]) -> tuple[FirstSource, ...]:
    """What one sheet says of the kind of place holds for the others of the survey, which name the same sites."""
    said = [line for source in sources for line in source.lines if line.path == "sites.habitat"]
    best = next((line for line in said if line.value != {"constant": ASK}), said[0])
    return tuple(replace(one, lines=tuple(best if line.path == "sites.habitat" else line for line in one.lines)) for one in sources)


def _source(sheet: SourceTable, columns: dict[str, Content], taxa: dict[str, str]) -> tuple[FirstSource, dict[str, Proposed]]:
    matched = match_fields(columns)
    wide = wide_columns(columns, {match.column for match in matched.values()} - _loose_counts(matched), taxa)
    if wide:
        # a count beside columns of counts is their sum or something else, never the count of a find
        matched = {name: one for name, one in matched.items() if name != "finds.count" and one.column not in wide.columns}
        if wide.by_taxon:
            matched.pop("finds.taxon", None)
    names, why, sure = site_columns({name: one for name, one in columns.items() if not wide or name not in wide.columns}, matched)
    lines = _site_lines(columns, matched, names, why, sure)
    habitat = next(line.value["constant"] for line in lines if line.path == "sites.habitat")
    styles: dict[str, Proposed] = {}
    if "visits.visit_date" in matched:
        matched = _readings_of_finds(columns, matched, names, wide)
        lines += _visit_lines(columns, matched, names, wide)
        styles = _styles(columns, matched)
        if "finds.taxon" in matched or (wide and wide.by_taxon):
            lines += _wide_lines(columns, wide, matched) if wide else []
            lines += find_lines(sheet, columns, matched, wide, habitat)
    if sums := _sums(columns, names):
        lines.append(sums)
    used = {column for line in lines for column in _named(line, columns)}
    unused = [name for name in columns if name not in used]
    if unused:
        lines.append(Line("unused", unused, "no field is known for them; look whether one of them is", guess=True))
    return FirstSource(sheet, tuple(lines), columns), styles


def _loose_counts(matched: dict[str, Match]) -> set[str]:
    """Columns that a general word has made a count, and that may be one of several."""
    return {matched[name].column for name in ("finds.count", "finds.pass_no") if name in matched}


def _site_lines(columns: dict[str, Content], matched: dict[str, Match], names: tuple[str, ...], why: str, sure: bool) -> list[Line]:
    value = {"constant": ASK} if not names else names[0] if len(names) == 1 else {"columns": list(names), "join": "-"}
    lines = [Line("sites.site_id", value, why, guess=bool(names) and not sure)]
    water = next((name for name in (*names, *columns) if is_stream_name(columns[name])), "")
    if "sites.waterbody" in matched:
        match = matched["sites.waterbody"]
        water = match.column
        lines.append(Line("sites.waterbody", water, match.reason, guess=not match.sure))
    elif water and water in names:
        lines.append(Line("sites.waterbody", water, "its texts end as names of streams do", guess=True))
    else:
        water = ""
    lines.append(habitat_line(columns, water, any(f"visits.{name}" in matched for name in ("water_temp_c", "ph", "conductivity_us_cm"))))
    lines += place_lines(columns, matched)
    others = ("sites.county", "sites.elevation_m", "sites.stream_order", "sites.canopy_pct")
    return lines + [field_line(name, columns[matched[name].column], matched[name]) for name in others if name in matched]


def _visit_key(columns: dict[str, Content], matched: dict[str, Match], names: tuple[str, ...]) -> pd.Series:
    key = columns[matched["visits.visit_date"].column].text
    for name in names:
        key = key + "\x1f" + columns[name].text.fillna("")
    return key


def _varying(key: pd.Series, text: pd.Series) -> tuple[int, int]:
    """Visits of several rows, and those of them in which a text varies."""
    known = pd.DataFrame({"key": key, "text": text}).dropna().groupby("key")["text"].agg(["size", "nunique"])
    several = known[known["size"] > 1]
    return len(several), int((several["nunique"] > 1).sum())


def _readings_of_finds(
    columns: dict[str, Content], matched: dict[str, Match], names: tuple[str, ...], wide: Wide | None
) -> dict[str, Match]:
    """Readings that vary from row to row of a visit are those of its finds."""
    if (wide and wide.by_taxon) or "finds.taxon" not in matched or not names:
        return matched
    key, moved = _visit_key(columns, matched, names), dict(matched)
    for own in SAID_TWICE:
        if (match := matched.get(f"visits.{own}")) is None:
            continue
        several, varying = _varying(key, columns[match.column].text)
        if several and varying > VARIES * several:
            reason = f"{match.reason}; it varies within {varying} of {several} visits, so it is read at each find"
            del moved[f"visits.{own}"]
            moved[f"finds.{own}"] = replace(match, field=f"finds.{own}", sure=False, reason=reason)
    return moved


def _visit_lines(columns: dict[str, Content], matched: dict[str, Match], names: tuple[str, ...], wide: Wide | None) -> list[Line]:
    day = matched["visits.visit_date"]
    key = _visit_key(columns, matched, names)
    fields = [name for name in matched if name.startswith("visits.") and name != "visits.visit_date"]
    # effort may be told once a pass
    varying = {name: _varying(key, columns[matched[name].column].text) for name in fields if name != "visits.cover_objects_turned"}
    unlike = [f"{matched[name].column} in {many}" for name, (several, many) in varying.items() if many > VARIES * several]
    # nothing of a visit is told twice, so nothing speaks for the key or against it
    untried = not any(several for several, _ in varying.values())
    said = f"; yet within a site and date these vary: {', '.join(unlike)}" if unlike else ""
    lines = [
        Line("visits.site_id", {"same_as": "sites.site_id"}),
        Line(
            "visits.visit_id",
            {"fields": ["site_id", "visit_date"]},
            f"rows of one site and date are one visit{said}",
            bool(unlike) or untried,
        ),
        Line("visits.visit_date", day.column, day.reason, not day.sure, (day.column,)),
        _protocol(columns, matched, wide),
    ]
    for name in fields:
        line = field_line(name, columns[matched[name].column], matched[name])
        lines.append(_added_up(line, columns, matched, key) if name == "visits.cover_objects_turned" else line)
    return lines


def _added_up(line: Line, columns: dict[str, Content], matched: dict[str, Match], key: pd.Series) -> Line:
    """Effort that is told once a pass is added up over the passes."""
    if "finds.pass_no" not in matched:
        return line
    name, column = matched["finds.pass_no"].column, matched["visits.cover_objects_turned"].column
    text = columns[column].text
    of_pass = key + "\x1f" + columns[name].text
    if not _varying(key, text)[1] or _varying(of_pass, text)[1] > VARIES * _varying(of_pass, text)[0]:
        return line
    return replace(line, value={"column": column, "sum_over": [name]}, reason=f"{line.reason}; it is told once a pass", guess=True)


def _protocol(columns: dict[str, Content], matched: dict[str, Match], wide: Wide | None) -> Line:
    words = {word for content in columns.values() for word in content.words}
    if "finds.pass_no" in matched or (wide and any("pass_no" in sets for sets in wide.columns.values())):
        return Line("visits.protocol", {"constant": "removal_passes"}, "the sheet counts by passes", True)
    if "visits.start_time" in matched and clock(columns[matched["visits.start_time"].column]).value == "night":
        return Line("visits.protocol", {"constant": "night_search"}, "the hours are those of work at night", True)
    if words & {"board", "boards"}:
        return Line("visits.protocol", {"constant": "cover_boards"}, "the sheet speaks of boards", True)
    return Line("visits.protocol", {"constant": ASK}, "the sheet does not say how was searched; the codes stand in docs/data_dictionary.md")


def _styles(columns: dict[str, Content], matched: dict[str, Match]) -> dict[str, Proposed]:
    day = columns[matched["visits.visit_date"].column]
    found = {"date_order": date_order(day)}
    if "visits.start_time" in matched:
        start = columns[matched["visits.start_time"].column]
        found["clock"] = clock(start)
        if found["clock"] and found["clock"].value == "night":
            found["date_is"] = date_is_evening(day, start)
    return {word: one for word, one in found.items() if one is not None and one.value != "24h"}


def _with_styles(source: FirstSource, own: dict[str, Proposed], shared: dict[str, Proposed]) -> FirstSource:
    """Words that the sheets do not share stand at their field."""
    lines = list(source.lines)
    for word, one in own.items():
        if shared.get(word) == one:
            continue
        for at, line in enumerate(lines):
            if line.path in (("visits.start_time", "visits.end_time") if word == "clock" else ("visits.visit_date",)):
                value = {"column": line.value} if isinstance(line.value, str) else line.value
                guess = line.guess or (not one.sure and one.value != ASK)
                lines[at] = replace(line, value={**value, word: one.value}, reason=f"{line.reason}; {one.reason}", guess=guess)
    return replace(source, lines=tuple(lines))


def _wide_lines(columns: dict[str, Content], wide: Wide, matched: dict[str, Match]) -> list[Line]:
    lines = [Line("wide.field", "count")]
    lines += [Line(f"wide.columns.{name}", sets, wide.reason, True, (name,)) for name, sets in wide.columns.items()]
    if total := total_column(columns, wide, {match.column for match in matched.values()}):
        lines.append(Line("total.column", total, "it is the sum of the counts in nearly all rows", True))
    return lines


def _sums(columns: dict[str, Content], names: tuple[str, ...]) -> Line | None:
    for name in (*names, next(iter(columns))):
        if said := sorted({one for one in columns[name].text.dropna().unique() if one.casefold().rstrip(":") in SUMS}):
            return Line(f"skip.{name}", said, "these rows add up others and are no records", True)
    return None


def _named(line: Line, columns: dict[str, Content]) -> list[str]:
    """Columns that a line names."""
    head, _, rest = line.path.partition(".")
    if head in ("no_find", "skip"):
        return [rest]
    if head == "wide":
        return [rest.removeprefix("columns.")] if rest != "field" else []
    value = line.value if isinstance(line.value, dict) else {"column": line.value}
    listed = [value.get("column"), *value.get("columns", []), *value.get("sum_over", [])]
    flat = [one["column"] if isinstance(one, dict) else one for one in listed]
    return [one for one in flat if one in columns]


def _columns_of(source: FirstSource, path: str) -> list[str]:
    return [name for line in source.lines if line.path == path for name in _named(line, source.columns)]


def _missing_in_use(sources: tuple[FirstSource, ...], missing: tuple[str, ...]) -> list[str]:
    """Tokens that stand in a column that some line uses; for the others it is all the same what they mean."""
    held = {
        text
        for source in sources
        for line in source.lines
        if line.path != "unused"
        for name in _named(line, source.columns)
        for text in source.sheet.cells[name].str.strip().unique()
    }
    return [one for one in missing if one in held]
