"""The tables and views of the book, in SQL; the tables that files bring are written from the schemas (`schemas.ddl`)."""

from pipeline.book.absences import VIEWS as ABSENCES

EXTRA = "load_id INTEGER NOT NULL, row_no INTEGER NOT NULL, patch BOOLEAN NOT NULL, source INTEGER, source_row INTEGER, line INTEGER"
READINGS_EXTRA = "load_id INTEGER NOT NULL, source INTEGER NOT NULL, line BIGINT NOT NULL"

TABLES = """
CREATE TABLE IF NOT EXISTS loads (load_id INTEGER PRIMARY KEY, loaded_at TIMESTAMP NOT NULL, kind VARCHAR NOT NULL, files VARCHAR NOT
    NULL,
  content_hash VARCHAR NOT NULL, map_title VARCHAR, corrects INTEGER, undone_at TIMESTAMP, account VARCHAR);
CREATE TABLE IF NOT EXISTS source_files (load_id INTEGER, source INTEGER, file VARCHAR, sheet VARCHAR, sha256 VARCHAR, header VARCHAR);
CREATE TABLE IF NOT EXISTS source_rows (load_id INTEGER, source INTEGER, source_row INTEGER, line INTEGER, fate VARCHAR, cells VARCHAR);
CREATE TABLE IF NOT EXISTS held_all (held_id INTEGER, load_id INTEGER, table_name VARCHAR, row_key VARCHAR, parent_key VARCHAR, field
    VARCHAR,
  column_name VARCHAR, file VARCHAR, sheet VARCHAR, line INTEGER, text VARCHAR, rule VARCHAR, message VARCHAR, remedy VARCHAR, row_no
      INTEGER, whole_row BOOLEAN);
CREATE TABLE IF NOT EXISTS held_rows (load_id INTEGER, row_no INTEGER, table_name VARCHAR, row_text VARCHAR);
CREATE TABLE IF NOT EXISTS flags_all (flag_id INTEGER, load_id INTEGER, table_name VARCHAR, row_key VARCHAR, field VARCHAR, rule VARCHAR,
  effect VARCHAR, message VARCHAR, remedy VARCHAR, value VARCHAR, file VARCHAR, sheet VARCHAR, line INTEGER);
CREATE TABLE IF NOT EXISTS conversions_all (load_id INTEGER, table_name VARCHAR, row_key VARCHAR, field VARCHAR, text VARCHAR,
  value VARCHAR, how VARCHAR, file VARCHAR, sheet VARCHAR, line INTEGER);
CREATE TABLE IF NOT EXISTS corrections (load_id INTEGER, item VARCHAR, table_name VARCHAR, row_key VARCHAR, field VARCHAR, old_text
    VARCHAR,
  corrected VARCHAR, dismiss_reason VARCHAR, who VARCHAR);
CREATE TABLE IF NOT EXISTS uncounted_all (load_id INTEGER, visit_id VARCHAR, taxon VARCHAR, life_stage VARCHAR, why VARCHAR, text VARCHAR,
  row_no INTEGER, file VARCHAR, sheet VARCHAR, line INTEGER);
CREATE TABLE IF NOT EXISTS rests (load_id INTEGER, on_load INTEGER);
CREATE TABLE IF NOT EXISTS logger_files_all (load_id INTEGER, source INTEGER, logger_id VARCHAR, file VARCHAR, sha256 VARCHAR,
  serial VARCHAR, step_s DOUBLE, found VARCHAR, account VARCHAR);
CREATE TABLE IF NOT EXISTS logger_flags_all (load_id INTEGER, source INTEGER, logger_id VARCHAR, file VARCHAR, rule VARCHAR, field VARCHAR,
  from_at TIMESTAMP, to_at TIMESTAMP, n BIGINT, value DOUBLE, message VARCHAR, remedy VARCHAR, line BIGINT);
CREATE TABLE IF NOT EXISTS logger_held_all (load_id INTEGER, source INTEGER, logger_id VARCHAR, file VARCHAR, rule VARCHAR, field VARCHAR,
  text VARCHAR, n BIGINT, message VARCHAR, remedy VARCHAR, line BIGINT);
CREATE TABLE IF NOT EXISTS published (published_at TIMESTAMP, taxon VARCHAR, population VARCHAR, life_stage VARCHAR, medium VARCHAR,
    month VARCHAR,
  quantity VARCHAR, value DOUBLE, visits VARCHAR[], method VARCHAR);
CREATE TABLE IF NOT EXISTS accepted_warmer (accepted_at TIMESTAMP, taxon VARCHAR, population VARCHAR, life_stage VARCHAR, medium VARCHAR,
  month VARCHAR, quantity VARCHAR, value DOUBLE, who VARCHAR, reason VARCHAR);
"""

VIEWS = (
    """
CREATE OR REPLACE VIEW active AS SELECT load_id FROM loads l WHERE undone_at IS NULL
  AND NOT EXISTS (SELECT 1 FROM loads c WHERE c.corrects = l.load_id AND c.undone_at IS NULL);
CREATE OR REPLACE VIEW settled AS SELECT c.* FROM corrections c SEMI JOIN active USING (load_id);
CREATE OR REPLACE VIEW current_sites AS SELECT a.* FROM sites_all a SEMI JOIN active USING (load_id)
  QUALIFY row_number() OVER (PARTITION BY site_id ORDER BY load_id DESC) = 1;
CREATE OR REPLACE VIEW current_visits AS SELECT a.* FROM visits_all a SEMI JOIN active USING (load_id)
  QUALIFY row_number() OVER (PARTITION BY visit_id ORDER BY load_id DESC) = 1;
CREATE OR REPLACE VIEW visit_since AS SELECT visit_id, max(load_id) AS since FROM visits_all SEMI JOIN active USING (load_id)
  WHERE NOT patch GROUP BY visit_id;
CREATE OR REPLACE VIEW current_finds AS SELECT a.* FROM finds_all a SEMI JOIN active USING (load_id)
  LEFT JOIN visit_since s ON s.visit_id = a.visit_id WHERE a.load_id >= coalesce(s.since, 0)
  QUALIFY row_number() OVER (PARTITION BY find_id ORDER BY a.load_id DESC) = 1;
CREATE OR REPLACE VIEW current_availability AS SELECT a.* FROM availability_all a SEMI JOIN active USING (load_id)
  LEFT JOIN visit_since s ON s.visit_id = a.visit_id WHERE a.load_id >= coalesce(s.since, 0)
  QUALIFY row_number() OVER (PARTITION BY point_id ORDER BY a.load_id DESC) = 1;
CREATE OR REPLACE VIEW current_enclosures AS SELECT a.* FROM enclosures_all a SEMI JOIN active USING (load_id)
  QUALIFY row_number() OVER (PARTITION BY enclosure_id ORDER BY load_id DESC) = 1;
CREATE OR REPLACE VIEW current_loggers AS SELECT a.* FROM loggers_all a SEMI JOIN active USING (load_id)
  QUALIFY row_number() OVER (PARTITION BY logger_id ORDER BY load_id DESC) = 1;
CREATE OR REPLACE VIEW current_water_tests AS SELECT a.* FROM water_tests_all a SEMI JOIN active USING (load_id)
  LEFT JOIN visit_since s ON s.visit_id = a.visit_id WHERE a.load_id >= coalesce(s.since, 0)
  QUALIFY row_number() OVER (PARTITION BY test_id ORDER BY a.load_id DESC) = 1;
CREATE OR REPLACE VIEW current_husbandry_events AS SELECT a.* FROM husbandry_events_all a SEMI JOIN active USING (load_id)
  QUALIFY row_number() OVER (PARTITION BY event_id ORDER BY load_id DESC) = 1;
CREATE OR REPLACE VIEW current_logger_readings AS SELECT a.* FROM logger_readings_all a SEMI JOIN active USING (load_id);
CREATE OR REPLACE VIEW row_since AS
  SELECT 'sites' AS table_name, site_id AS row_key, max(load_id) AS since FROM sites_all SEMI JOIN active USING (load_id) WHERE NOT patch
      GROUP BY ALL
  UNION ALL SELECT 'visits', visit_id, since FROM visit_since
  UNION ALL SELECT 'finds', find_id, max(load_id) FROM finds_all SEMI JOIN active USING (load_id) WHERE NOT patch GROUP BY ALL
  UNION ALL SELECT 'availability', point_id, max(load_id) FROM availability_all SEMI JOIN active USING (load_id) WHERE NOT patch GROUP BY
      ALL
  UNION ALL SELECT 'enclosures', enclosure_id, max(load_id) FROM enclosures_all SEMI JOIN active USING (load_id) WHERE NOT patch
      GROUP BY ALL
  UNION ALL SELECT 'loggers', logger_id, max(load_id) FROM loggers_all SEMI JOIN active USING (load_id) WHERE NOT patch GROUP BY ALL
  UNION ALL SELECT 'water_tests', test_id, max(load_id) FROM water_tests_all SEMI JOIN active USING (load_id) WHERE NOT patch
      GROUP BY ALL
  UNION ALL SELECT 'husbandry_events', event_id, max(load_id) FROM husbandry_events_all SEMI JOIN active USING (load_id) WHERE NOT patch
      GROUP BY ALL;
CREATE OR REPLACE VIEW settled_reason AS SELECT o.table_name, o.row_key, o.parent_key, o.field, o.rule, o.text, max(s.load_id) AS
    settled_in
  FROM settled s JOIN held_all o ON s.item = 'held-' || o.held_id GROUP BY ALL;
CREATE OR REPLACE VIEW visit_first AS SELECT visit_id, min(load_id) AS first FROM visits_all SEMI JOIN active USING (load_id) GROUP BY
    visit_id;
CREATE OR REPLACE VIEW held_since AS SELECT h.held_id, greatest(coalesce(r.since, 0), coalesce(v.since, 0)) AS since FROM held_all h
  LEFT JOIN row_since r ON r.table_name = h.table_name AND r.row_key = h.row_key
  LEFT JOIN visit_first f ON f.visit_id = h.parent_key AND h.table_name IN ('finds', 'availability', 'water_tests')
    AND f.first <= h.load_id
  LEFT JOIN visit_since v ON v.visit_id = f.visit_id;
CREATE OR REPLACE VIEW reason AS SELECT h.*, coalesce(s.settled_in >= g.since, false) AS is_settled
  FROM held_all h SEMI JOIN active USING (load_id) JOIN held_since g USING (held_id)
  LEFT JOIN settled_reason s ON s.table_name = h.table_name AND s.row_key = h.row_key AND s.parent_key = h.parent_key
    AND s.field = h.field AND s.rule = h.rule AND s.text = h.text
  WHERE h.load_id >= g.since
  QUALIFY h.load_id = max(h.load_id) OVER (PARTITION BY h.table_name, h.row_key, h.parent_key, h.field, h.rule, h.text);
CREATE OR REPLACE VIEW held AS SELECT 'held-' || held_id AS item, * EXCLUDE (is_settled) FROM reason WHERE NOT is_settled;
CREATE OR REPLACE VIEW settled_flag AS SELECT o.table_name, o.row_key, o.field, o.rule, o.value, s.who, s.dismiss_reason, s.load_id AS
    settled_in
  FROM settled s JOIN flags_all o ON s.item = 'flag-' || o.flag_id WHERE s.dismiss_reason <> ''
  QUALIFY row_number() OVER (PARTITION BY o.table_name, o.row_key, o.field, o.rule, o.value ORDER BY s.load_id DESC) = 1;
CREATE OR REPLACE VIEW sites AS SELECT * EXCLUDE (patch, source, source_row, line) FROM current_sites;
CREATE OR REPLACE VIEW finds AS SELECT * EXCLUDE (patch, source, source_row, line) FROM current_finds;
CREATE OR REPLACE VIEW availability AS SELECT * EXCLUDE (patch, source, source_row, line) FROM current_availability;
CREATE OR REPLACE VIEW enclosures AS SELECT * EXCLUDE (patch, source, source_row, line) FROM current_enclosures;
CREATE OR REPLACE VIEW loggers AS SELECT * EXCLUDE (patch, source, source_row, line) FROM current_loggers;
CREATE OR REPLACE VIEW water_tests AS SELECT * EXCLUDE (patch, source, source_row, line) FROM current_water_tests;
CREATE OR REPLACE VIEW husbandry_events AS SELECT * EXCLUDE (patch, source, source_row, line) FROM current_husbandry_events;
CREATE OR REPLACE VIEW logger_readings AS SELECT * EXCLUDE (source, line) FROM current_logger_readings;
CREATE OR REPLACE VIEW logger_files AS SELECT * FROM logger_files_all SEMI JOIN active USING (load_id);
CREATE OR REPLACE VIEW logger_flags AS SELECT * FROM logger_flags_all SEMI JOIN active USING (load_id);
CREATE OR REPLACE VIEW logger_held AS SELECT * FROM logger_held_all SEMI JOIN active USING (load_id);
CREATE OR REPLACE VIEW conversions AS SELECT c.* FROM conversions_all c
  JOIN (SELECT 'sites' AS table_name, site_id AS row_key, load_id FROM current_sites
    UNION ALL SELECT 'visits', visit_id, load_id FROM current_visits
    UNION ALL SELECT 'finds', find_id, load_id FROM current_finds
    UNION ALL SELECT 'availability', point_id, load_id FROM current_availability
    UNION ALL SELECT 'enclosures', enclosure_id, load_id FROM current_enclosures
    UNION ALL SELECT 'loggers', logger_id, load_id FROM current_loggers
    UNION ALL SELECT 'water_tests', test_id, load_id FROM current_water_tests
    UNION ALL SELECT 'husbandry_events', event_id, load_id FROM current_husbandry_events) now USING (table_name, row_key, load_id);
"""
    + ABSENCES
    + """
CREATE OR REPLACE VIEW flags AS SELECT f.*, 'flag-' || f.flag_id AS item, s.who AS settled_by, s.dismiss_reason AS settled_reason FROM
    flags_all f
  JOIN (SELECT 'sites' AS table_name, site_id AS row_key, load_id FROM current_sites
    UNION ALL SELECT 'visits', visit_id, load_id FROM current_visits
    UNION ALL SELECT 'finds', find_id, load_id FROM current_finds
    UNION ALL SELECT 'availability', point_id, load_id FROM current_availability
    UNION ALL SELECT 'enclosures', enclosure_id, load_id FROM current_enclosures
    UNION ALL SELECT 'loggers', logger_id, load_id FROM current_loggers
    UNION ALL SELECT 'water_tests', test_id, load_id FROM current_water_tests
    UNION ALL SELECT 'husbandry_events', event_id, load_id FROM current_husbandry_events) now USING (table_name, row_key, load_id)
  LEFT JOIN row_since r USING (table_name, row_key)
  LEFT JOIN settled_flag s ON s.table_name = f.table_name AND s.row_key = f.row_key AND s.field = f.field AND s.rule = f.rule
    AND s.value = f.value AND s.settled_in >= coalesce(r.since, 0);
"""
)
