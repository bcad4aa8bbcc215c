"""Absences: which visit may say that a taxon was not there, and which says nothing, with the reason.

A row that was held back silences its taxon until it is repaired; dismissing it, or undoing the load that brought it, says nothing of
absence. The visit speaks again when it is told anew: loaded in another version, or by a load that corrects the earlier one.
"""

from __future__ import annotations

from typing import Any

from schemas.rules.rules import EFFORT

# A visit that a correction of these brings to the site and date of another may be that other, under the code of the slip.
KEY_PARTS = "'site_id', 'visit_date'"
# A find whose visit nobody knows silences its taxon at every visit that it may be of: one row a taxon and visit, not one a find and visit,
# which would grow with the square of the book.
OF_ANY_VISIT = "'a find of no known visit'"
MAY_BELONG = """(s.since = u.load_id
    OR s.since < u.load_id AND u.load_id NOT IN (SELECT load_id FROM visits_all WHERE NOT patch))"""
VIEWS = f"""
CREATE OR REPLACE VIEW corrected_reason AS SELECT DISTINCT o.table_name, o.row_key, o.parent_key, o.field, o.rule, o.text
  FROM settled s JOIN held_all o ON s.item = 'held-' || o.held_id WHERE s.corrected <> '';
CREATE OR REPLACE VIEW repaired_row AS SELECT DISTINCT h.load_id, h.row_no FROM held_all h
  SEMI JOIN corrected_reason c USING (table_name, row_key, parent_key, field, rule, text)
  WHERE h.table_name = 'finds' AND h.whole_row
  UNION SELECT h.load_id, h.row_no FROM held_all h SEMI JOIN current_finds f ON f.find_id = h.row_key
  WHERE h.table_name = 'finds' AND h.whole_row AND h.row_key <> ''
    AND NOT EXISTS (SELECT 1 FROM held_all o WHERE o.load_id = h.load_id AND o.row_no = h.row_no AND o.table_name = 'finds'
      AND o.rule IN ('described_twice', 'row_too_long', 'row_cut'));
CREATE OR REPLACE VIEW uncounted AS SELECT u.* FROM uncounted_all u
  ANTI JOIN repaired_row r ON r.load_id = u.load_id AND r.row_no = u.row_no
  WHERE u.load_id NOT IN (SELECT corrects FROM loads SEMI JOIN active USING (load_id) WHERE corrects IS NOT NULL);
CREATE OR REPLACE VIEW one_visit_perhaps AS SELECT DISTINCT a.visit_id, b.visit_id AS other FROM current_visits a JOIN current_visits b
  ON a.site_id = b.site_id AND a.visit_date = b.visit_date AND a.visit_id <> b.visit_id
  JOIN corrected_reason c ON c.table_name = 'visits' AND c.row_key IN (a.visit_id, b.visit_id) AND c.field IN ({KEY_PARTS});
CREATE OR REPLACE VIEW own_silence AS SELECT u.visit_id, u.taxon, u.life_stage, u.why, u.text, u.load_id, u.file, u.sheet, u.line
  FROM uncounted u JOIN visit_since s ON s.visit_id = u.visit_id AND u.load_id >= s.since
  UNION ALL SELECT a.visit_id, a.taxon, a.life_stage, 'a find of a load that was undone', '', a.load_id, NULL, NULL, a.line
  FROM finds_all a JOIN visit_since s ON s.visit_id = a.visit_id AND a.load_id >= s.since
  JOIN loads l ON l.load_id = a.load_id WHERE l.undone_at IS NOT NULL
  UNION ALL SELECT p.visit_id, f.taxon, f.life_stage, 'a find of a visit that was corrected to the same site and date', f.find_id,
    f.load_id, NULL, NULL, f.line FROM one_visit_perhaps p JOIN current_finds f ON f.visit_id = p.other;
CREATE OR REPLACE VIEW silence AS FROM own_silence UNION ALL SELECT s.visit_id, u.taxon, u.life_stage, {OF_ANY_VISIT}, u.text, u.load_id,
    u.file, u.sheet, u.line FROM uncounted u JOIN visit_since s ON u.visit_id = '' AND {MAY_BELONG};
CREATE OR REPLACE VIEW silent_taxa AS SELECT visit_id, taxon, why FROM own_silence
  UNION ALL SELECT s.visit_id, u.taxon, {OF_ANY_VISIT} FROM (SELECT DISTINCT taxon, load_id FROM uncounted WHERE visit_id = '') u
  JOIN visit_since s ON {MAY_BELONG};
CREATE OR REPLACE VIEW visits AS
  WITH met AS (SELECT visit_id, list(DISTINCT taxon) AS taxa FROM current_finds GROUP BY visit_id),
    mute AS (SELECT visit_id, list(DISTINCT taxon) AS taxa, bool_or(why <> {OF_ANY_VISIT}) AS own FROM silent_taxa GROUP BY visit_id),
    heard AS (SELECT v.*, coalesce(met.taxa, []) AS met, coalesce(mute.taxa, []) AS mute, coalesce(mute.own, false) AS own,
      list_contains(coalesce(mute.taxa, []), '') OR (all_counted IS NULL AND coalesce({", ".join(EFFORT)}) IS NULL) AS says_nothing
      FROM current_visits v LEFT JOIN met USING (visit_id) LEFT JOIN mute USING (visit_id))
  SELECT h.* EXCLUDE (patch, source, source_row, line, met, mute, own, says_nothing) REPLACE (nullif(array_to_string(list_filter(
      string_split(target_taxa, '|'), lambda t: list_contains(met, t) OR NOT (says_nothing OR list_contains(mute, t))), '|'), '')
      AS target_taxa),
    target_taxa AS said_target_taxa, own AND len(met) = 0 AND (says_nothing OR len(list_filter(
      string_split(coalesce(target_taxa, ''), '|'), lambda t: t <> '' AND NOT list_contains(mute, t))) = 0) AS incomplete FROM heard h;
CREATE OR REPLACE VIEW asked AS SELECT v.visit_id, t.taxon, list_contains(string_split(coalesce(v.target_taxa, ''), '|'), t.taxon) AS kept
  FROM visits v, unnest(string_split(v.said_target_taxa, '|')) AS t(taxon)
  WHERE v.all_counted AND NOT EXISTS (SELECT 1 FROM current_finds f WHERE f.visit_id = v.visit_id AND f.taxon = t.taxon);
CREATE OR REPLACE VIEW absences AS SELECT a.visit_id, a.taxon, c.load_id, o.file, o.sheet, c.line,
    coalesce(t.how, 'the row') AS target_taxa_from, coalesce(w.how, 'the row') AS all_counted_from
  FROM asked a JOIN current_visits c USING (visit_id) LEFT JOIN source_files o ON o.load_id = c.load_id AND o.source = c.source
  LEFT JOIN conversions t ON t.table_name = 'visits' AND t.row_key = a.visit_id AND t.field = 'target_taxa'
  LEFT JOIN conversions w ON w.table_name = 'visits' AND w.row_key = a.visit_id AND w.field = 'all_counted'
  WHERE a.kept;
CREATE OR REPLACE VIEW no_absence AS SELECT a.visit_id, a.taxon, s.life_stage, s.why, s.text, s.load_id, s.file, s.sheet, s.line
  FROM asked a JOIN silence s ON s.visit_id = a.visit_id AND s.taxon IN (a.taxon, '') WHERE NOT a.kept;
"""


def silent_visits(connection: Any) -> frozenset[str]:
    """Visits of which no complete list can be given: a find whose taxon nobody knows was held back, or may belong to them."""
    return frozenset(row[0] for row in connection.execute("SELECT DISTINCT visit_id FROM silent_taxa WHERE taxon = ''").fetchall())


def absence_counts(connection: Any) -> tuple[int, dict[str, int]]:
    """How many absences the book states, and how many it does not state, by reason.

    Parameters
    ----------
    connection : duckdb connection
        An open book.

    Returns
    -------
    int, dict of str to int
        Pairs of a visit that counted everything and a taxon that it looked for and did not find; and those pairs of which a row that was
        held back, dismissed, undone or left empty says nothing. A pair with several reasons counts at the first of them.
    """
    # without a visit that counted everything nothing is asked, and to plan the views below costs more than a small load
    asked = "SELECT 1 FROM visits_all WHERE all_counted AND target_taxa <> '' LIMIT 1"
    if not connection.execute(asked).fetchall():
        return 0, {}
    # the views of both kinds rest on the same pairs, which are worked out once here
    rows = connection.execute(
        """WITH pairs AS MATERIALIZED (SELECT visit_id, taxon, kept FROM asked)
        SELECT NULL AS why, count(*) FROM pairs WHERE kept
        UNION ALL SELECT why, count(*) FROM (SELECT p.visit_id, p.taxon, min(s.why) AS why FROM pairs p
            JOIN silent_taxa s ON s.visit_id = p.visit_id AND s.taxon IN (p.taxon, '') WHERE NOT p.kept GROUP BY ALL) GROUP BY why
        ORDER BY why NULLS FIRST"""
    ).fetchall()
    return int(rows[0][1]), dict(rows[1:])
