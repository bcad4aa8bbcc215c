"""Shapes of the frames of reports: gaps, revisits, permits, and what an owner of land is told."""

from __future__ import annotations

from schemas.fields import Day, Real, Text, Whole
from schemas.frames.frame import Count, Flag, Frame, MediumOfStage, columns_of, maybe, said


class PublicGaps(MediumOfStage):
    """Cells that lack evidence for a better grade, and what they lack, without the sites that are withheld."""

    month: Text = said("month", "1 to 12, or warm or cold for the two seasons")
    grade: Text = said("grade", "grade that the cell has")
    next_grade: Text = said("next_grade", "next better grade, for which the columns more_… hold")
    n_sites: Count = said("n_sites", "sites with a reading")
    n_dates: Count = said("n_dates")
    n_visits: Count = said("n_visits")
    n_years: Count = said("n_years", "years with a reading, of all months of this stage and medium")
    visits_to_c: Whole = maybe(
        "visits_to_c",
        "independent visits missing for grade C, at least; 0 where it is reached, missing where only the interval is too wide",
    )
    visits_to_b: Whole = maybe("visits_to_b", "the same for grade B")
    visits_to_a: Whole = maybe("visits_to_a", "the same for grade A")
    more_visits: Count = said(
        "more_visits", "independent visits missing for the next grade, each with a reading of this cell and on a day of its own"
    )
    more_sites: Count = said("more_sites", "of these, at least so many at sites that are new to the cell")
    more_dates: Count = said("more_dates", "dates that are missing")
    more_years: Count = said("more_years", "years that are missing: the visits must fall into so many new years")
    more_at_night: Count = said("more_at_night", "of these, at least so many after sunset, never alone")
    at_animal: Flag = said("at_animal", "no reading was taken at an animal: without one the grade stays C")
    interval: Text = said(
        "interval", "why the width of the interval of the median stands in the way as well; no number of visits can promise it"
    )
    trips: Whole = maybe(
        "trips", "site-days of search to expect for more_visits; missing where nobody knows; in the list to share the class that holds it"
    )
    trips_basis: Text = said(
        "trips_basis",
        "share so far; months beside it: never read in this one; not known: nor in the months beside it, so nothing is promised",
    )
    company: Text = said("company", "two people or more, where it is work at night")


class Gaps(PublicGaps):
    """Cells that lack evidence, with how often they were searched for: for the keeper alone."""

    n_searches: Count = said("n_searches", "site-days in this month, or these months, on which this population was searched for the taxon")
    n_with_reading: Count = said("n_with_reading", "of these, site-days that gave a reading of this cell")


class GapMonths(Frame):
    """The coming months of each population, by the cells that a day of search in them raises."""

    rank: Count = said("rank", "1 is the best")
    population: Text = said("population", "population of the sites to visit")
    month: Count = said("month")
    next: Text = said("next", "when that month comes next")
    trips: Count = said("trips", "site-days of search to make in it")
    new_sites: Count = said("new_sites", "of these, at most so many must be at sites new to a cell")
    cells_raised: Count = said("cells_raised", "cells whose grade may then be expected to rise by one")
    new_targets: Count = said("new_targets", "of these, cells that get their first target")
    per_trip: Real = said(
        "per_trip",
        "what a day is worth: new_targets / trips, twice that in the warm season, and a quarter of the other cells raised / trips",
    )
    cells: Text = said("cells", "which cells")
    company: Text = said("company", "two people or more, where it is work at night")


class Absence(Frame):
    """How often a search finds a taxon where it lives, and the visits that state its absence."""

    taxon: Text = said("taxon")
    detection: Real = maybe("detection", "chance that one visit finds it where it lives; missing where not known")
    basis: Text = said("basis", "stated in rillbook.toml, computed from repeat visits, or not known")
    n_later: Count = said("n_later", "visits after the first find at their site, on which the computed share rests")
    n_found_again: Count = said("n_found_again", "of these, visits that found it again")
    n_sites: Count = said("n_sites", "sites of these visits")
    visits_to_absence: Real = maybe(
        "visits_to_absence", "independent visits without a find after which absence is stated with 95 % confidence"
    )
    why: Text = said("why", "why not known")


class Unseen(Frame):
    """Stages without a single reading that counts."""

    taxon: Text = said("taxon")
    life_stage: Text = said("life_stage")
    n_finds: Count = said("n_finds", "finds in the book")
    why: Text = said("why", "what is missing")


class Revisits(Frame):
    """Where to go next: one row a site and coming month."""

    month: Text = said("month", "year and month of the visit")
    rank: Count = said("rank", "1 is the best site of that month")
    site_id: Text = said("site_id", "site")
    waterbody: Text = said("waterbody", "its waterbody")
    population: Text = said("population", "its population")
    from_: Text = said(
        "from",
        "first day on which to go: never sooner than the rest days after the last visit or the last day of the visit planned before",
        alias="from",
    )
    until: Text = said("until", "last day on which to go")
    score: Real = said("score", "sum over the cells that it serves of 1 / days of search that the cell still takes (gaps.csv, trips)")
    look_for: Text = said("look_for", "cells that a reading here brings nearer to their next grade")
    absence: Text = said("absence", "taxa looked for here and not found so far")
    company: Text = said("company", "two people or more: always at night")
    go_only_if: Text = said("go_only_if", "state of water and weather")
    last_visit: Text = maybe("last_visit", "date of the last visit")
    n_visits: Count = said("n_visits", "visits so far")


class RevisitHistory(Frame):
    """What visits found so far of what they looked for: one row a site and taxon."""

    site_id: Text = said("site_id", "site")
    taxon: Text = said("taxon")
    n_looked: Count = said("n_looked", "visits that looked for it")
    n_found: Count = said("n_found", "of these, visits that found it")
    last_found: Day = maybe("last_found", "date of the last of these")
    detection: Real = maybe("detection", "chance that one visit finds it where it lives; missing where not known")
    visits_to_absence: Real = maybe(
        "visits_to_absence", "further visits without a find that state absence; 0: enough were made; missing where found or not known"
    )


class PermitRows(Frame):
    """Captures under a permit, and visits and years without any."""

    permit: Text = said("permit", "permit number")
    what: Text = said("what", "capture, seen only, visit without a find, or no activity")
    year: Count = said("year", "calendar year")
    date: Text = said("date", "date of the visit")
    names: Text = said("names", "who searched")
    scientific_name: Text = said("scientific_name", "accepted name")
    taxon: Text = said("taxon")
    life_stage: Text = said("life_stage")
    number: Count = said("number", "animals, or clutches of eggs")
    at_least: Text = said("at_least", "yes where the sheet said more than this number, such as 3+")
    mark: Text = said("mark", "mark, band or tag of a known animal")
    captured: Count = said("captured", "animals captured, counted against the limit")
    removed: Count = said("removed", "of these, kept under the permit")
    released: Count = said("released", "of these, released where they were found")
    died: Count = said("died", "of these, died or found dead and left")
    salvaged: Count = said("salvaged", "found dead and kept; not counted as captured")
    not_caught: Count = said("not_caught", "seen and named, not held")
    voucher: Text = said("voucher", "yes where an animal was kept")
    tissue: Text = said("tissue", "rillbook has no field for tissue: fill in by hand")
    photo: Text = said("photo", "yes where a photo is named")
    method: Text = said("method", "how the site was searched")
    county: Text = said("county", "county of the site")
    state: Text = said("state", "state of the site")
    site_id: Text = said("site_id", "site")
    latitude: Real = maybe("latitude", "degrees")
    longitude: Real = maybe("longitude", "degrees")
    coordinate_type: Text = said("coordinate_type", "decimal degrees")
    coordinate_source: Text = said("coordinate_source", "taken at the find, or the site's")
    datum: Text = said("datum", "datum of the site's coordinates; one of a find is not noted apart")
    zone: Text = said("zone", "empty: decimal degrees have none")
    coordinate_uncertainty_m: Real = maybe("coordinate_uncertainty_m", "radius that surely holds the site, m")
    find_id: Text = said("find_id", "find")
    visit_id: Text = said("visit_id", "visit")


class PermitFinds(PermitRows):
    """The same with what became of each animal."""

    disposition: Text = said("disposition", "what became of it, as a code of the vocabulary disposition, or not noted")


class PermitSummary(Frame):
    """Animals by species, stage, county, date and disposition."""

    scientific_name: Text = said("scientific_name", "accepted name")
    life_stage: Text = said("life_stage")
    county: Text = said("county", "county of the site")
    date: Text = said("date", "date of the visit")
    disposition: Text = said("disposition", "what became of it, as a code of the vocabulary disposition, or not noted")
    number: Count = said("number", "animals, or clutches of eggs")


class PermitLimits(Frame):
    """Each year's animals against each limit of a permit."""

    permit: Text = said("permit", "permit number")
    year: Count = said("year", "calendar year; each is held against the limit alone")
    taxon: Text = said("taxon", "taxon code, or any")
    county: Text = said("county", "county, or any")
    kind: Text = said("kind", "captured or retained")
    allowed: Count = said("allowed", "the permit's figure, as the book states it")
    counted: Count = said("counted", "animals counted")
    left: Count = said("left", "allowed less counted")
    words: Text = said("words", "what that means")


class LandownerVisits(Frame):
    """Visits to a parcel."""

    site_id: Text = said("site_id", "site on the parcel")
    visit_date: Text = said("visit_date", "date")
    found: Text = said("found", "what was found: name, stage and number")
    looked_for: Text = said("looked_for", "taxa looked for")
    water_temp_c: Real = maybe("water_temp_c", "water, °C")
    water_temp_f: Real = maybe("water_temp_f", "water, °F")
    ph: Real = maybe("ph", "pH")
    conductivity_25_us_cm: Real = maybe("conductivity_25_us_cm", "conductivity at 25 °C, µS/cm")
    dissolved_oxygen_mg_l: Real = maybe("dissolved_oxygen_mg_l", "dissolved oxygen, mg/L")
    oxygen_pct: Real = maybe("oxygen_pct", "dissolved oxygen, % of saturation")


GAP_COLUMNS = columns_of(Gaps)
GAP_MONTH_COLUMNS = columns_of(GapMonths)
ABSENCE_COLUMNS = columns_of(Absence)
REVISIT_COLUMNS = columns_of(Revisits)
PERMIT_COLUMNS = columns_of(PermitRows)
