"""Someone who keeps every release, knows the program and reads all that is public never narrows a site below its class.

The histories run on the publishing functions and small frames: `publish` adds to them nothing but the writing. Many histories lie side by
side in one book, each with sites of its own; no site's publication looks at another site, but for the second book of the same places.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from itertools import combinations
from pathlib import Path
from typing import Any

import duckdb
import numpy as np
import pandas as pd
import pytest
from examples import FULL, examples
from public_cases import KEY, book_settings, book_text, find, rows, site, visit
from public_sheets import book_of, figures, said_to_others, without

from pipeline.formulas.grid_squares import grid_square
from pipeline.publishing.joint import beside
from pipeline.publishing.memory import Memory, narrowed
from pipeline.publishing.protect import public_rows
from pipeline.publishing.shown import Shown, is_beside, square_of
from pipeline.publishing.site_squares import BookRows, known_again, site_squares
from pipeline.targets.site_spans import site_spans

N_HISTORIES, TOGETHER, RELEASES, SITES = examples(200, 8), 25, examples(5, 3), 3
# in other batches cards, care sheets and tables are read in the last release alone: they take longer than all else
PAGES_IN_EVERY_RELEASE = examples(1, 0)
OTHER_KEY = b"other key of another book 000000"
CLASSES = ("0.01", "0.1", "1")
# in UTC, about noon and midnight: by which minute it is night depends on the place, and no minute is published
CLOCKS = ("17:00", "05:00")
Place = tuple[float, float]
Places = dict[str, dict[str, float]]


@dataclass
class Sheet:
    """Sheets of one study at one time: what the keeper has on the desk."""

    sites: dict[str, dict[str, Any]]
    visits: dict[str, dict[str, Any]]
    finds: dict[str, dict[str, Any]]
    classes: dict[str, str]
    split: frozenset[str] = frozenset()

    def of_taxon(self, code: str) -> Sheet:
        """The same study of one taxon alone: its pages are written in a fraction of the time."""
        visits = {name: {**one, "target_taxa": code} for name, one in self.visits.items()}
        return replace(
            self, visits=visits, finds={name: one for name, one in self.finds.items() if one["taxon"] == code},
            classes={code: self.classes[code]},
        )  # fmt: skip

    def book(self, second: bool, places: Places | None = None) -> BookRows:
        """Rows of the first book, or of the second, which holds the same sites and some of the same visits."""
        sites = [{**one, **(places or {}).get(code, {})} for code, one in self.sites.items() if not second or code in self.split]
        codes = {one["site_id"] for one in sites}
        visits = [one for one in self.visits.values() if one["site_id"] in codes]
        known = {one["visit_id"] for one in visits}
        return rows(sites, visits, [one for one in self.finds.values() if one["visit_id"] in known])


def corrected(at: Place, draw: np.random.Generator) -> Place:
    """10 m to 2 km away, every order of magnitude alike; a degree of latitude is 111 km."""
    metres, way = 10 ** draw.uniform(1, math.log10(2000)), draw.uniform(0, 2 * math.pi)
    return at[0] + metres * math.sin(way) / 111_000, at[1] + metres * math.cos(way) / 111_000 / math.cos(math.radians(at[0]))


def start(draw: np.random.Generator, n: int) -> Sheet:
    """A third of the sites lies within 300 m of a line of the grid, where a correction is worth most to the attacker."""
    sites = {}
    for number in range(n * SITES):
        latitude, longitude = draw.uniform(35, 38), draw.uniform(-84, -80)
        if draw.random() < 0.4:
            latitude = round(latitude, int(draw.integers(0, 3))) + draw.uniform(-0.003, 0.003)
        own = None if draw.random() < 0.6 else str(draw.choice([*CLASSES, "withheld"]))
        code = f"{number // SITES}_{number % SITES}"
        sites[code] = site(code, latitude, longitude, public_precision_deg=own, elevation_m=float(draw.integers(200, 1500)),
                           habitat=str(draw.choice(["stream"] * 4 + ["spring"])))  # fmt: skip
    sheet = Sheet(sites, {}, {}, {"AA": "0.01", "BB": "0.1", "CC": "1", "DD": "withheld"})
    for code in list(sites):
        add_visits(sheet, code, draw, 2, 0)
    return sheet


def add_visits(sheet: Sheet, at: str, draw: np.random.Generator, n: int, release: int) -> None:
    for _ in range(n):
        code = f"V{len(sheet.visits)}"
        day = f"{2020 + release}-{draw.integers(1, 13):02d}-{draw.integers(1, 29):02d}"
        sheet.visits[code] = visit(code, at, visit_date=day, water_temp_c=draw.uniform(4, 18), search_minutes=float(draw.integers(20, 200)),
                                   ph=draw.uniform(5, 8), conductivity_us_cm=draw.uniform(10, 400),
                                   start_time=str(draw.choice(CLOCKS)))  # fmt: skip
        for _ in range(draw.integers(0, 3)):
            add_find(sheet, code, draw)


def add_find(sheet: Sheet, at: str, draw: np.random.Generator) -> None:
    code = f"F{len(sheet.finds)}_{at}"
    taxon, stage = str(draw.choice(["AA"] * 6 + ["BB", "CC", "DD"])), str(draw.choice(["adult", "adult", "larva", "egg_mass"]))
    where = str(draw.choice(["rock_in_flow"] * 6 + ["seep_water", "nest_edge"] + ["on_surface"] * 4 * (stage == "adult")))
    air, water = {"air_temp_c": draw.uniform(5, 18), "rh_pct": draw.uniform(80, 99)}, {"water_temp_c": draw.uniform(4, 18)}
    read = {**(air if where == "on_surface" else water), **({} if stage == "egg_mass" else {"svl_mm": draw.uniform(20, 80)})}
    sheet.finds[code] = find(code, at, taxon, stage, microhabitat=where, **read)


def go_on(sheet: Sheet, draw: np.random.Generator, release: int) -> Sheet:
    """What may happen to each site between two releases."""
    now = Sheet({code: dict(one) for code, one in sheet.sites.items()}, dict(sheet.visits), dict(sheet.finds), dict(sheet.classes),
                sheet.split)  # fmt: skip
    for code, one in list(now.sites.items()):
        if draw.random() < 0.45:
            one["latitude"], one["longitude"] = corrected((one["latitude"], one["longitude"]), draw)
        if draw.random() < 0.15:
            one["public_precision_deg"] = str(draw.choice([*CLASSES, "withheld"]))
        if draw.random() < 0.1:
            one["coordinate_uncertainty_m"] = float(draw.choice([12, 300, 5000]))
        if draw.random() < 0.5:
            add_visits(now, code, draw, 1, release)
        own = [key for key, each in now.visits.items() if each["site_id"] == code]
        if own and draw.random() < 0.3:
            add_find(now, str(draw.choice(own)), draw)
        if draw.random() < 0.1:
            rename(now, code, f"{code}.{release}")
    for key in [key for key in now.finds if draw.random() < 0.1]:
        del now.finds[key]
    if draw.random() < 0.4:
        now.classes[str(draw.choice(["AA", "BB"]))] = str(draw.choice(CLASSES))
    # from the second release on half of the places stand in a second book too
    if release == 1:
        now.split = frozenset(code for code in now.sites if draw.random() < 0.5)
    return now


def rename(sheet: Sheet, old: str, new: str) -> None:
    """A typing slip in the code of a site is mended; in the second book it is not, where that holds it already."""
    if old in sheet.split:
        return
    sheet.sites[new] = {**sheet.sites.pop(old), "site_id": new}
    for key, each in sheet.visits.items():
        if each["site_id"] == old:
            sheet.visits[key] = {**each, "site_id": new}


class Keeper:
    """Two books of one study, published again and again, as `public_book` does it."""

    def __init__(self) -> None:
        self.memories = (Memory(KEY), Memory(OTHER_KEY))

    def publish(self, sheet: Sheet, places: Places | None = None) -> list[dict[str, pd.DataFrame]]:
        """Public tables of both books, and what care sheets say of the sites."""
        settings = book_settings("0.01", **sheet.classes)
        books = [sheet.book(second, places) for second in (False, True)]
        released = []
        for number, own in enumerate(books):
            if own.sites.empty:
                continue
            memory, other = self.memories[number], books[1 - number]
            joint = beside(own, other, settings, self.memories[1 - number].sites) if sheet.split else None
            before = {**(joint.shown if joint else {}), **known_again(own, memory.sites, memory.visits), **memory.sites}
            tables, withheld = public_rows(own, settings, memory.key, before, joint.steps if joint else None)
            assert narrowed(memory, withheld.shown) == [], "the program itself would stop here"
            memory.history.update({site: [*memory.history.get(site, []), one] for site, one in withheld.shown.items()})
            codes = withheld.codes[withheld.codes["kind"] == "visit"]
            at = dict(zip(own.visits["visit_id"], own.visits["site_id"], strict=True))
            memory.visits.update({code: at[code] for code in codes["code"]})
            self.memories = tuple(replace(memory, sites=withheld.shown) if place == number else one
                                  for place, one in enumerate(self.memories))  # fmt: skip
            tables["said"] = pd.DataFrame(sorted(spans(own, settings, withheld.shown).items()))
            tables["truth"] = codes.assign(site=codes["code"].map(at))
            released.append(tables)
        return released


def spans(own: BookRows, settings: Any, shown: dict[str, Shown]) -> dict[str, str]:
    """What a card says of where each taxon was found."""
    squares = site_squares(own, settings, shown)
    latitudes = squares[squares["left_out"] == ""].set_index("site_id")[["south", "north"]].mean(axis=1).to_dict()
    with duckdb.connect() as connection:
        for name in ("sites", "visits", "finds"):
            connection.register(name, getattr(own, name).astype("object").where(getattr(own, name).notna(), None))
        return site_spans(connection, squares.loc[squares["left_out"] == "withheld", "site_id"], latitudes)


# --- the attacker ------------------------------------------------------------------------------------------------------------------------


def seen(tables: dict[str, pd.DataFrame]) -> pd.DataFrame:
    """Every visit of a release: its code, all that is said of it but its place, and its square."""
    visits = tables["visits"]
    columns = ["month", "protocol", "search_minutes", "water_temp_c", "ph", "conductivity_us_cm"]
    said = pd.Series([str(one) for one in visits[columns].itertuples(index=False, name=None)], index=visits.index, dtype="str")
    square = [grid_square(*one) for one in visits[["latitude", "longitude", "grid_step_deg"]].itertuples(index=False, name=None)]
    return pd.DataFrame({"event": visits["event_id"], "said": said.mask(said.duplicated(keep=False)), "square": square})


def touch(one: Any, other: Any) -> bool:
    """Two squares apart that have a side or a corner in common: the place would be known to lie there."""
    gap = max(one[0] - other[2], other[0] - one[2], one[1] - other[3], other[1] - one[3])
    return -1e-9 < gap < 1e-6


def holds(large: Any, small: Any) -> bool:
    return all(large[side] <= small[side] + 1e-9 for side in (0, 1)) and all(large[side] >= small[side] - 1e-9 for side in (2, 3))


def attack(releases: list[pd.DataFrame]) -> list[tuple[str, str]]:
    """Pairs of codes of one visit, tied by code or by what is said of them, whose squares together tell more than either does."""
    every = pd.concat([each.assign(release=number) for number, each in enumerate(releases)], ignore_index=True)
    told = []
    for key in ("event", "said"):
        known = every.dropna(subset=[key])
        known = known[known.groupby(key)["square"].transform("nunique") > 1]
        for _, same in known.groupby(key):
            pairs = list(same.drop_duplicates("square")[["event", "square"]].itertuples(index=False, name=None))
            for (event, one), (other_event, other) in combinations(pairs, 2):
                nested = holds(one, other) or holds(other, one)
                if touch(one, other) or (not nested and not separate(one, other)):
                    told.append((event, other_event))
    return told


def separate(one: Any, other: Any) -> bool:
    return one[0] >= other[2] or other[0] >= one[2] or one[1] >= other[3] or other[1] >= one[3]


def test_the_attacker_sees_a_site_that_jumps_a_line():
    """The attack itself works: two squares that touch, of one visit, are told."""
    one = pd.DataFrame({"event": ["a"], "said": ["x"], "square": [(36.1, -82.0, 36.2, -81.9)]})
    jumped, far = one.assign(square=[(36.2, -82.0, 36.3, -81.9)]), one.assign(square=[(36.3, -82.0, 36.4, -81.9)])
    larger = one.assign(square=[(36.0, -82.0, 37.0, -81.0)])
    assert attack([one, jumped]) and attack([one, jumped.assign(event="b")]), "by its code, and by what is said of it"
    assert not attack([one, one]) and not attack([one, larger]) and not attack([one, far])


def coarser(one: str | None, other: str) -> bool:
    return one is not None and (one == "withheld" or float(one) > float(other))


def near(one: Place, other: Place) -> bool:
    return math.hypot((one[0] - other[0]) * 111, (one[1] - other[1]) * 111 * math.cos(math.radians(one[0]))) < 1.1


def somewhere_else(states: dict[str, Shown], finest: dict[str, list[Shown]], sheet: Sheet, draw: np.random.Generator) -> Places:
    """Other places for every site, each anywhere in the finest square that was told of it: to the public they are all the same.

    None comes near another: a coarser class would hold for both, in two books of the same places. So what others may learn of a site that
    stays fine is that no coarser one of the other book lies within 1 km. One of which nothing was ever told lies far away, at any height.
    """
    places: Places = {}
    for code in sheet.sites:
        shown = states.get(code)
        square = square_of(shown) if shown else None
        if square is None:
            if code.split(".")[0] not in finest:
                anywhere = {"latitude": (35, 38), "longitude": (-79, -75), "elevation_m": (200, 1500)}
                places[code] = {name: draw.uniform(*span) for name, span in anywhere.items()}
            continue
        # a code that was corrected is followed by its first form, as the program follows it by its visits
        every = finest.setdefault(code.split(".")[0], [])
        # new codes in a larger square that holds the first one: it moved, and was made coarser at once
        if not any(holds(square, square_of(one)) and shown.codes == one.codes for one in every[-1:]):
            every.append(shown)
        south, west, north, east = square_of(every[-1])
        at = (draw.uniform(south, north), draw.uniform(west, east))
        # a site that moved lies more than a square from where it was shown
        while (len(every) > 1 and is_beside(every[-2], *at)) or any(
            near(at, (one["latitude"], one["longitude"])) for one in places.values()
        ):
            at = (draw.uniform(south, north), draw.uniform(west, east))
        places[code] = dict(zip(("latitude", "longitude"), at, strict=True))
    return places


@pytest.mark.parametrize("batch", range(-(-N_HISTORIES // TOGETHER)))
def test_no_history_of_releases_narrows_a_site_down(batch: int, tmp_path: Path):
    draw = np.random.default_rng(batch)
    sheet, keeper, twin = start(draw, min(TOGETHER, N_HISTORIES)), Keeper(), Keeper()
    seen_so_far, finest, other = [], {}, np.random.default_rng(10_000 + batch)
    for release in range(RELEASES):
        sheet = go_on(sheet, draw, release) if release else sheet
        released = keeper.publish(sheet)
        for tables in released:
            not_finer_than_its_class(tables, sheet)
            seen_so_far.append(seen(tables))
        assert attack(seen_so_far) == []
        # the same story with every site elsewhere in the square that was told: if not one letter differs, nobody can tell which is true
        states = {**keeper.memories[1].sites, **keeper.memories[0].sites}
        elsewhere = somewhere_else(states, finest, sheet, other)
        assert release or sum("elevation_m" not in one for one in elsewhere.values()) > len(sheet.sites) / 2
        for tables, again in zip(released, twin.publish(sheet, elsewhere), strict=True):
            for name, table in tables.items():
                pd.testing.assert_frame_equal(table, again[name], obj=f"{name} of release {release}")
        if release == RELEASES - 1 or batch < PAGES_IN_EVERY_RELEASE:
            nor_do_the_pages(tmp_path / str(release), sheet, (keeper.memories[0], twin.memories[0]), elsewhere)


def nor_do_the_pages(folder: Path, sheet: Sheet, memories: tuple[Memory, Memory], elsewhere: Places) -> None:
    """Cards, care sheets, tables and the gap list of the first book are the same to the letter with every site elsewhere.

    With the withheld sites struck out of the book all that describes what was found is the same, and so is each number of sites. Limits
    alone rest on them too, since an animal's limits are not to rest on less evidence than there is.
    """
    folder.mkdir()
    one = sheet if FULL else sheet.of_taxon("AA")
    settings, rows_now = book_text("0.01", **one.classes), one.book(False)
    told = said_to_others(book_of(folder / "true", rows_now, settings, memories[0]), gap_list=FULL)
    again = said_to_others(book_of(folder / "elsewhere", one.book(False, elsewhere), settings, memories[1]), gap_list=FULL)
    assert told.keys() == again.keys() and {"targets.json", "humidity.csv", "care_sheet_AA.html", "card_AA.html"} <= told.keys()
    assert [name for name in told if told[name] != again[name]] == []
    squares = site_squares(rows_now, book_settings("0.01", **one.classes), memories[0].sites)
    hidden = set(squares.loc[squares["left_out"] == "withheld", "site_id"])
    assert hidden
    struck = said_to_others(book_of(folder / "struck", without(rows_now, hidden), settings, memories[0]), pages=False, gap_list=False)
    assert [name for name in ("humidity_found.csv", "water.csv", "selection.csv", "detection.csv") if told[name] != struck[name]] == []
    # few taxa have a humidity, and one whose reason changed cannot be compared
    for name, least in {"targets.csv": 5, "humidity.csv": -1}.items():
        assert (sites_counted_alike(figures(told[name]), figures(struck[name])) > 0).sum() > least


def sites_counted_alike(told: pd.DataFrame, struck: pd.DataFrame) -> pd.Series:
    """Sites of each line that says the same but for its figures: the same number in both. No line is lost."""
    assert struck.index.isin(told.index).all()
    both = told.loc[struck.index]
    alike = (both["grade"] == struck["grade"]) & (both["reason"] == struck["reason"])
    pd.testing.assert_series_equal(both.loc[alike, "n_sites"], struck.loc[alike, "n_sites"])
    return struck.loc[alike, "n_sites"].astype("int64")


def not_finer_than_its_class(tables: dict[str, pd.DataFrame], sheet: Sheet) -> None:
    """No visit stands in a finer square than its site's class, no find in a finer one than its taxon's, and nothing withheld is there."""
    site_of = dict(zip(tables["truth"]["public_code"], tables["truth"]["site"], strict=True))
    for event, step in tables["visits"][["event_id", "grid_step_deg"]].itertuples(index=False):
        own = sheet.sites[site_of[event]]
        assert not coarser(own["public_precision_deg"], step), site_of[event]
        assert not coarser("1" if own["habitat"] == "spring" else None, step), site_of[event]
    steps = tables["visits"].set_index("event_id")["grid_step_deg"]
    for event, taxon, stage in tables["finds"][["event_id", "taxon", "life_stage"]].itertuples(index=False):
        assert not coarser(sheet.classes[taxon], steps[event]) and stage != "egg_mass"


# --- the four ways that were tried with success ------------------------------------------------------------------------------------------


def test_way_1_a_correction_across_a_line_does_not_point():
    """180 m across the line at 36.2: the square jumped, and the line within 27 m was known."""
    first, then = (site("S", latitude, -81.95, public_precision_deg="0.1") for latitude in (36.2010, 36.1994))
    keeper = Keeper()
    sheet = Sheet({"S": first}, {"V": visit("V", "S", water_temp_c=11.0)}, {}, {"AA": "0.01"})
    (before,) = keeper.publish(sheet)
    (after,) = keeper.publish(replace(sheet, sites={"S": then}))
    assert attack([seen(before), seen(after)]) == []
    pd.testing.assert_frame_equal(before["visits"], after["visits"])


def test_way_1_under_another_code_does_not_point_either():
    sheet = Sheet(
        {"S": site("S", 36.2010, -81.95, public_precision_deg="0.1")}, {"V": visit("V", "S", water_temp_c=11.0)}, {}, {"AA": "0.01"}
    )
    keeper = Keeper()
    (before,) = keeper.publish(sheet)
    renamed = Sheet(
        {"T": site("T", 36.1994, -81.95, public_precision_deg="0.1")}, {"V": visit("V", "T", water_temp_c=11.0)}, {}, sheet.classes
    )
    (after,) = keeper.publish(renamed)
    assert attack([seen(before), seen(after)]) == []


@pytest.mark.parametrize("code", ["S", "T"])
def test_way_2_a_second_book_shows_the_square_of_the_first(code: str):
    """Published in one book, corrected across a line, then published in the other: both stand in the first square, under any code."""
    settings = book_settings("0.1", AA="0.01")
    visits = [visit("V", "S", water_temp_c=11.0)]
    first = rows([site("S", 36.2010, -81.95)], visits)
    tables, withheld = public_rows(first, settings, KEY, {})
    second = rows([site(code, 36.1994, -81.95)], [{**visits[0], "site_id": code}])
    asked = beside(second, first, settings, withheld.shown)
    others, _ = public_rows(second, settings, OTHER_KEY, asked.shown, asked.steps)
    assert attack([seen(tables), seen(others)]) == []
    assert attack([seen(tables), seen(public_rows(second, settings, OTHER_KEY, {}, asked.steps)[0])]), "the class alone is not enough"


def test_way_3_what_a_card_says_of_the_sites_does_not_change_with_a_withheld_one():
    places = [site(f"S{number}", 36.2 + number / 100, -81.95, elevation_m=500.0 + 10 * number) for number in range(5)]
    secret = site("X", 37.9, -81.95, elevation_m=1490.0, public_precision_deg="withheld")
    said = []
    for sites in (places, [*places, secret]):
        visits = [visit(f"V{one['site_id']}", one["site_id"]) for one in sites]
        own = rows(sites, visits, [find(f"F{one['visit_id']}", one["visit_id"]) for one in visits])
        said.append(spans(own, book_settings(), {}))
    assert said[0] == said[1] and "500 to 600 m" in said[0]["AA"]


def test_way_3_the_latitude_of_a_card_is_that_of_squares():
    """A mean of true latitudes that passes a half tells on which side of the middle of its square the new site lies."""
    places = [site(f"S{number}", 36.45, -81.95, public_precision_deg="1") for number in range(4)]
    said = []
    for latitude in (36.01, 36.99):
        sites = [*places, site("X", latitude, -81.95, public_precision_deg="1")]
        visits = [visit(f"V{one['site_id']}", one["site_id"]) for one in sites]
        own = rows(sites, visits, [find(f"F{one['visit_id']}", one["visit_id"]) for one in visits])
        said.append(spans(own, book_settings(), {}))
    assert said[0] == said[1]
