// The draft of a visit: its rows, their codes, and the document that is made of them.
const TABLES = ["sites", "visits", "finds", "availability"];

function emptyDraft(units) {
  return {
    visit: row(0), site: null, finds: [], availability: [], next: 1, corrections: [], gone: [], nothing: false, saved: false, code: "",
    who: "", past: null, folded: false, open: 0, typed: false, units: units || { temp: "C", length: "mm" },
  };
}

function isWhole(kept) {
  return Array.isArray(kept.finds) && kept.visit;
}

function holdsText() {
  return !isEmpty(draft.visit) || draft.finds.length > 0;
}

function newCodes(list) {
  return list === "sites" && draft.site ? [(draft.site.values.site_id || "").trim()] : [];
}

function nameOf(table, one) {
  return table === "finds" || table === "availability" ? `${WORDS[table]} ${one.n}` : WORDS[table];
}

function isMade(table, field) {
  return field.name === "visit_id" && Boolean(visitCode());
}

function giveCodes() {
  draft.code = visitCode();
}

function fileName() {
  return `visit_${draft.code || "without_code"}.json`;
}

function rowsOf(table) {
  if (table === "visits") return [draft.visit];
  if (table === "sites") return draft.site ? [draft.site] : [];
  return draft[table];
}

function visitCode() {
  const given = (draft.visit.values.visit_id || "").trim();
  if (given) return given;
  if (draft.code) return draft.code;
  const { site_id, visit_date, start_time } = draft.visit.values;
  const stem = [site_id, visit_date, start_time].map((text) => (text || "").trim().replace(/[^A-Za-z0-9-]+/g, "")).filter(Boolean).join("-");
  if (!stem) return "";
  let code = stem, number = 1;
  while (DATA.visits.includes(code)) code = stem + "-" + ++number;
  return code;
}

function codeOf(table, one) {
  if (table === "visits") return visitCode();
  if (table === "sites") return (one.values.site_id || "").trim();
  // a row of an opened file keeps its code
  if (one.code) return one.code;
  return visitCode() + (table === "finds" ? "-" : "-p") + String(one.n).padStart(2, "0");
}

function documentNow() {
  const made = { format: "rillbook survey", version: 1 };
  if (draft.site && !isEmpty(draft.site)) made.sites = [textsOf("sites", draft.site)];
  made.visits = [{ ...textsOf("visits", draft.visit), visit_id: visitCode() }];
  for (const [table, key] of [["finds", "find_id"], ["availability", "point_id"]]) {
    const rows = draft[table].filter((one) => !isEmpty(one));
    if (rows.length) made[table] = rows.map((one) => ({ ...textsOf(table, one), [key]: codeOf(table, one), visit_id: visitCode() }));
  }
  return { ...made, ...correctionsNow() };
}
