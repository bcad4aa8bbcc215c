// The draft: what was typed so far, kept in the browser until it is saved.
const DATA = JSON.parse(document.getElementById("form-data").textContent);
const SERVED = window.RILLBOOK && window.RILLBOOK.mode === "served" ? window.RILLBOOK : null;
const KEPT_AS = "rillbook-draft-" + DATA.book;
const store = (() => {
  try {
    window.localStorage.setItem(KEPT_AS + "-try", "1");
    window.localStorage.removeItem(KEPT_AS + "-try");
    return window.localStorage;
  } catch (problem) {
    return null;
  }
})();
let storeIsFull = false;
let draft = restored() || emptyDraft();

function emptyDraft(units) {
  return {
    visit: row(0), site: null, finds: [], availability: [], next: 1, corrections: [], nothing: false, saved: false, code: "",
    units: units || { temp: "C", length: "mm" },
  };
}

function row(n) {
  // values: text as typed; unit: the unit it was typed in; sure: the text that the person said is right
  return { n, values: {}, unit: {}, sure: {} };
}

function restored() {
  if (!store) return null;
  try {
    const kept = JSON.parse(store.getItem(KEPT_AS));
    return kept && Array.isArray(kept.finds) && kept.visit ? kept : null;
  } catch (problem) {
    return null;
  }
}

function keep() {
  draft.saved = false;
  keepQuietly();
}

function keepQuietly() {
  if (!store) return;
  try {
    store.setItem(KEPT_AS, JSON.stringify(draft));
    storeIsFull = false;
  } catch (problem) {
    if (!storeIsFull) say("The browser's storage is full: this draft is not kept. Save it to a file now.");
    storeIsFull = true;
  }
}

function rowsOf(table) {
  if (table === "visits") return [draft.visit];
  if (table === "sites") return draft.site ? [draft.site] : [];
  return draft[table];
}

function fieldOf(table, name) {
  return DATA.tables[table].find((field) => field.name === name);
}

function isEmpty(one) {
  return Object.values(one.values).every((text) => !text.trim());
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
  return visitCode() + (table === "finds" ? "-" : "-p") + String(one.n).padStart(2, "0");
}

function textOf(field, one) {
  // A number in the unit that the tables do not keep carries its unit along; everything else is written as it was typed.
  const text = (one.values[field.name] || "").trim();
  const unit = one.unit[field.name];
  const plain = /^[+-]?[0-9]+(?:[.,][0-9]+)?$/.test(text);
  return plain && unit && unit !== keptUnit(field) ? text + " " + unit : text;
}

function keptUnit(field) {
  return field.unit === "°C" ? "C" : field.unit;
}

function unitFor(field) {
  // Unit that the person chose for the numbers of a field; empty where there is no choice.
  if (field.unit === "°C" && field.name !== "thermometer_accuracy_c") return draft.units.temp;
  if (field.unit === "mm") return draft.units.length;
  return "";
}

function documentNow() {
  const texts = (table, one) => {
    const found = {};
    for (const field of DATA.tables[table]) {
      const text = textOf(field, one);
      if (text) found[field.name] = text;
    }
    return found;
  };
  const made = { format: "rillbook survey", version: 1 };
  if (draft.site && !isEmpty(draft.site)) made.sites = [texts("sites", draft.site)];
  made.visits = [{ ...texts("visits", draft.visit), visit_id: visitCode() }];
  for (const [table, key] of [["finds", "find_id"], ["availability", "point_id"]]) {
    const rows = draft[table].filter((one) => !isEmpty(one));
    if (rows.length) made[table] = rows.map((one) => ({ ...texts(table, one), [key]: codeOf(table, one), visit_id: visitCode() }));
  }
  const told = [];
  for (const { table, n, field, as_written, corrected, why } of draft.corrections) {
    const one = rowsOf(table).find((other) => other.n === n);
    if (one) told.push({ table, row_key: codeOf(table, one), field, as_written, corrected, why });
  }
  if (told.length) made.corrections = told;
  return made;
}
