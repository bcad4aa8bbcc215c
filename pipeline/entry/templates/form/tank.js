// The draft of a log: what happened in enclosures, the tests of their water, and enclosures and loggers that are new.
const TABLES = ["enclosures", "loggers", "water_tests", "husbandry_events"];
const CODE_MADE = { water_tests: "test_id", husbandry_events: "event_id" };
const MARKS = { water_tests: "test", husbandry_events: "log" };

function emptyDraft() {
  const rows = Object.fromEntries(TABLES.map((table) => [table, []]));
  return { ...rows, next: 1, corrections: [], gone: [], saved: false, who: "", enclosure: "", open: "", units: { temp: "C", length: "mm" } };
}

function isWhole(kept) {
  return TABLES.every((table) => Array.isArray(kept[table])) && kept.units;
}

function holdsText() {
  return TABLES.some((table) => draft[table].length);
}

function rowsOf(table) {
  return draft[table];
}

function entries() {
  return TABLES.flatMap((table) => draft[table].map((one) => [table, one])).sort((a, b) => a[1].n - b[1].n);
}

function newCodes(list) {
  return list === "enclosures" ? draft.enclosures.map((one) => (one.values.enclosure_id || "").trim()) : [];
}

function nameOf(table, one) {
  return `${one.n}: ${wordsOf(table, one)[0]}`;
}

function isMade() {
  return false;
}

function giveCodes() {
  // rows have theirs from the moment they are made, so that what is saved twice is the same log twice
}

function fileName() {
  const at = bookClock();
  return `tank_log_${at.year}-${at.month}-${at.day}_${at.hour}${at.minute}.json`;
}

function codeOf(table, one) {
  return CODE_MADE[table] ? one.code : (one.values[table === "loggers" ? "logger_id" : "enclosure_id"] || "").trim();
}

function codeMade(table, n) {
  const at = bookClock();
  return `${MARKS[table]}-${at.year}${at.month}${at.day}-${at.hour}${at.minute}${String(new Date().getSeconds()).padStart(2, "0")}-${n}`;
}

function documentNow() {
  const made = { format: "rillbook survey", version: 1 };
  for (const table of TABLES) {
    const rows = rowsSent()[table];
    if (rows.length) made[table] = rows.map((one) => ({ ...textsOf(table, one), ...(CODE_MADE[table] ? { [CODE_MADE[table]]: one.code } : {}) }));
  }
  return { ...made, ...correctionsNow() };
}

function rowsSent() {
  return Object.fromEntries(TABLES.map((table) => [table, draft[table].filter((one) => !isEmpty(one))]));
}

function halts() {
  if (TABLES.some((table) => rowsSent()[table].length)) return false;
  say("There is nothing to save yet. Choose the enclosure, then what happened.");
  return true;
}

// --- what was chosen before, one tap away

function mealsOf(code) {
  const own = draft.husbandry_events.filter((one) => one.values.enclosure_id === code && one.values.event === "fed" && (one.values.what || "").trim());
  const all = [...own.reverse().map((one) => [one.values.what.trim(), (one.values.amount || "").trim()]), ...(DATA.meals[code] || [])];
  return all.filter((meal, at) => all.findIndex((other) => other.join("|") === meal.join("|")) === at).slice(0, 3);
}

function offersFor(table, field, one) {
  const offered = (texts) => [...new Set(texts.filter(Boolean))].map((text) => [text, text]);
  if (table === "husbandry_events" && one.values.event === "fed" && ["what", "amount"].includes(field.name)) {
    return offered(mealsOf(one.values.enclosure_id).map(([what, amount]) => (field.name === "what" ? what : amount)));
  }
  if (field.codes === "enclosures" && field.name === "enclosure_id") return offered(draft.enclosure ? [draft.enclosure] : []);
  return [];
}

// --- the unit of a kit

function kitUnits(table, field, one) {
  const row = element("div", { class: "kit", role: "group", "aria-label": `${field.title}: what your kit shows` });
  for (const unit of DATA.kit[field.name]) {
    const choose = () => {
      draft.units[field.name] = unit;
      one.unit[field.name] = unit;
      keep();
      for (const other of row.children) other.setAttribute("aria-pressed", String(other.textContent === unit));
      refresh(table, one, field.name);
      askServer();
    };
    row.append(button(unit, choose, { "aria-pressed": String((one.unit[field.name] || draft.units[field.name]) === unit) }));
  }
  return row;
}
