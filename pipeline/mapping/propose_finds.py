"""Lines of a first map for the finds of a strange sheet: taxon, stage, count, and what says that nothing was found."""

from __future__ import annotations

import re
from typing import Any

from pipeline.mapping.column_content import Content
from pipeline.mapping.known_words import MISSING, NO_FIND, SENTINELS
from pipeline.mapping.match_fields import Match, code_of, declared
from pipeline.mapping.propose_sites import Line
from pipeline.mapping.propose_style import ASK, unit_of
from pipeline.mapping.propose_wide import Wide
from pipeline.reading.rows import SourceTable

SURE_OF_GENUS = re.compile(r"\b(sp|spp)\.?$", re.I)
UNSURE = re.compile(r"^(unid\w*|unk\w*|\?)\.?$|\?$", re.I)
SAID_TWICE = ("water_temp_c", "substrate_temp_c", "air_temp_c", "rh_pct", "wet_bulb_c")


def field_line(path: str, content: Content, match: Match) -> Line:
    """Line of one field with one column: its unit, its codes, or the column as it is."""
    field = declared(path)
    if field.vocabulary:
        return coded(path, content, match)
    value: dict[str, Any] = {"column": content.name}
    reason, guess = match.reason, not match.sure
    if unit := unit_of(content, field):
        value["unit"] = unit.value
        reason, guess = f"{reason}; {unit.reason}", guess or not (unit.sure or unit.value == ASK)
    if path == "sites.stream_order" and (odd := sorted(content.text[content.numbers.isna()].dropna().unique())):
        value["missing"] = odd
        reason, guess = f"{reason}; {', '.join(odd)} is no number", True
    return Line(path, value if len(value) > 1 else content.name, reason, guess, (content.name,))


def coded(path: str, content: Content, match: Match) -> Line:
    """Line of a field with a code list: each text with the code that it means, or ``ask``."""
    field = declared(path)
    written = sorted(content.text.dropna().unique())
    recode = {one: code_of(one, field) or ASK for one in written}
    if all(one == code for one, code in recode.items()):
        return Line(path, content.name, match.reason, not match.sure, (content.name,))
    asked = [one for one, code in recode.items() if code == ASK]
    value: dict[str, Any] = {"column": content.name, "recode": recode}
    said = f"; {', '.join(asked)}: not known" if asked else ""
    return Line(path, value, f"{match.reason}; the codes are read as the words of many surveys{said}", True, (content.name,))


def find_lines(sheet: SourceTable, columns: dict[str, Content], matched: dict[str, Match], wide: Wide | None, habitat: str) -> list[Line]:
    """Lines of ``[source.finds]`` without those of its readings, and of what says that nothing was found.

    Parameters
    ----------
    sheet : SourceTable
        The sheet.
    columns : dict of str to Content
        Its columns.
    matched : dict of str to Match
        Fields that have a column.
    wide : Wide or None
        Columns that become rows.
    habitat : str
        Habitat proposed, or ``ask``.

    Returns
    -------
    list of Line
    """
    sets = {name for one in wide.columns.values() for name in one} if wide else set()
    each = "rows of one visit, taxon and stage are different animals and get a number"
    parts = ["visit_id", "taxon", "life_stage", *(["pass_no"] if "pass_no" in sets or "finds.pass_no" in matched else [])]
    lines = [
        Line("finds.visit_id", {"same_as": "visits.visit_id"}),
        Line("finds.find_id", {"fields": parts, "number": True}, each, True),
        *(_taxon(sheet, columns, matched, wide) if "taxon" not in sets else []),
        *([_stage(columns, matched)] if not wide or not all("life_stage" in one for one in wide.columns.values()) else []),
        *([_count(columns, matched)] if not wide else []),
        _microhabitat(columns, matched, habitat),
    ]
    done = ("taxon", "life_stage", "count", "microhabitat", *sets)
    others = {name: match for name, match in matched.items() if name.startswith("finds.") and name.split(".")[1] not in done}
    return [*lines, *(field_line(name, columns[match.column], match) for name, match in others.items())]


def _taxon(sheet: SourceTable, columns: dict[str, Content], matched: dict[str, Match], wide: Wide | None) -> list[Line]:
    match = matched["finds.taxon"]
    content = columns[match.column]
    written = [str(one) for one in content.text.dropna().unique()]
    value: dict[str, Any] = {"column": content.name}
    folded = {one.casefold() for one in written}
    why = match.reason
    if len(folded) < len(written) and sum(one.isupper() for one in written) > len(written) / 2:
        value["case"] = "upper"
        why += "; some codes stand in capitals and in small letters"
    lines = [
        Line("finds.taxon", value if len(value) > 1 else content.name, why, len(value) > 1 or not match.sure, (content.name,)),
        Line("finds.verbatim_taxon", content.name),
    ]
    doubts = {one: "genus_only" for one in written if SURE_OF_GENUS.search(one)} | {one: "unsure" for one in written if UNSURE.search(one)}
    if doubts:
        spec = {"column": content.name, "recode": doubts, "others": ""}
        lines.append(Line("finds.id_certainty", spec, "these texts name no species for sure", True))
    if said := _says_nothing_found(sheet, columns, matched, wide):
        why = "no row with it counts an animal. It makes a visit without a find: take out a text that only means that nobody wrote the name"
        lines.insert(0, Line(f"no_find.{content.name}", said, why, True))
    return lines


def _says_nothing_found(sheet: SourceTable, columns: dict[str, Content], matched: dict[str, Match], wide: Wide | None) -> list[str]:
    """Texts of the taxon's column with which no row counts an animal; an empty cell like any other text."""
    name = matched["finds.taxon"].column
    cells = sheet.cells[name].str.strip()
    counting = list(wide.columns) if wide else [matched["finds.count"].column] if "finds.count" in matched else []
    # what is written and no zero is an animal that somebody saw, readable or not
    counted = [columns[one].text.notna() & (columns[one].numbers != 0) for one in counting]
    texts = [one for one in cells.unique() if one in ("", *MISSING, *SENTINELS) or one.casefold() in NO_FIND]
    return [one for one in sorted(texts) if counting and not any(hits[cells == one].any() for hits in counted)]


def _stage(columns: dict[str, Content], matched: dict[str, Match]) -> Line:
    if "finds.life_stage" not in matched:
        return Line(
            "finds.life_stage", {"constant": "undetermined"}, "no column says it: every find is listed, and none feeds a target", True
        )
    content = columns[matched["finds.life_stage"].column]
    line = coded("finds.life_stage", content, matched["finds.life_stage"])
    if content.filled == len(content.text):
        return line
    value = {"column": content.name} if isinstance(line.value, str) else line.value
    return Line(line.path, {**value, "constant": "undetermined"}, line.reason, line.guess, line.columns)


def _count(columns: dict[str, Content], matched: dict[str, Match]) -> Line:
    if "finds.count" in matched:
        return field_line("finds.count", columns[matched["finds.count"].column], matched["finds.count"])
    return Line("finds.count", {"constant": "1"}, "no column counts: a row is taken for one animal", True)


def _microhabitat(columns: dict[str, Content], matched: dict[str, Match], habitat: str) -> Line:
    if "finds.microhabitat" in matched:
        return coded("finds.microhabitat", columns[matched["finds.microhabitat"].column], matched["finds.microhabitat"])
    if habitat == "stream":
        why = "no column says where animals were: in the channel is assumed. Where some were on land, write unknown"
        return Line("finds.microhabitat", {"constant": "stream_unspecified"}, why, True)
    return Line("finds.microhabitat", {"constant": "unknown"}, "no column says where animals were: none feeds a target", True)
