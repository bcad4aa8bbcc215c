// What both forms stand on: the draft that the browser keeps until it is saved, and texts as they are written down.
// Each form gives, beside these scripts: TABLES, emptyDraft, isWhole, holdsText, rowsOf, codeOf, documentNow, nameOf, isMade, newCodes,
// offersFor, draw, changed, summarise, readBackSoon, bringOut, halts, giveCodes, fileName, rowsSent, problemsShown.
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

function row(n) {
  // values: text as typed; unit: the unit it was typed in; sure: the text that the person said is right
  return { n, values: {}, unit: {}, sure: {} };
}

function restored() {
  // A second copy stands in the history of this window: under load a reload now and then came before the first copy was there.
  const copies = [() => JSON.parse(store.getItem(KEPT_AS)), () => (window.history.state || {})[KEPT_AS]].map((read) => {
    try {
      return read();
    } catch (problem) {
      return null;
    }
  });
  const whole = copies.filter((kept) => kept && isWhole(kept)).sort((a, b) => (b.at || 0) - (a.at || 0));
  return store && whole.length ? { ...emptyDraft(), ...whole[0] } : null;
}

function keep() {
  draft.saved = false;
  amongSeen = new Map();
  keepQuietly();
  readBackSoon();
}

if (store) {
  // Two windows of one draft: what is typed in the one appears in the other, so that neither writes over the other.
  window.addEventListener("storage", (event) => {
    const other = event.key === KEPT_AS && restored();
    if (!other) return;
    draft = other;
    draw();
    say("This draft is open in another window too. Both show the same; better close one.");
  });
} else {
  window.addEventListener("beforeunload", (event) => {
    if (!draft.saved && holdsText()) event.preventDefault();
  });
}

function keepQuietly() {
  if (!store) return;
  draft.at = Date.now();
  try {
    window.history.replaceState({ [KEPT_AS]: draft }, "");
  } catch (problem) {
    // some browsers take only so many of these a minute
  }
  try {
    store.setItem(KEPT_AS, JSON.stringify(draft));
    storeIsFull = false;
  } catch (problem) {
    if (!storeIsFull) say("The browser's storage is full: this draft is not kept. Save it to a file now.");
    storeIsFull = true;
  }
}

function fieldOf(table, name) {
  return DATA.tables[table].find((field) => field.name === name);
}

function isEmpty(one) {
  return Object.values(one.values).every((text) => !text.trim());
}

function textOf(field, one) {
  // A number in the unit that the tables do not keep carries its unit along; everything else is written as it was typed.
  // Every form of number that is read later counts, or 50. in °F would be taken in as 50 °C.
  const text = (one.values[field.name] || "").trim();
  const unit = one.unit[field.name];
  return !Number.isNaN(bareNumber(text)) && unit && unit !== keptUnit(field) ? text + " " + unit : text;
}

function keptUnit(field) {
  return field.unit === "°C" ? "C" : field.unit;
}

function unitFor(field) {
  // Unit that the person chose for the numbers of a field; empty where there is no choice.
  if (field.unit === "°C" && field.name !== "thermometer_accuracy_c") return draft.units.temp;
  if (field.unit === "mm") return draft.units.length;
  return draft.units[field.name] || "";
}

function textsOf(table, one) {
  const found = {};
  for (const field of DATA.tables[table]) {
    const text = textOf(field, one);
    if (text) found[field.name] = text;
  }
  return found;
}

function correctionsNow() {
  const told = [];
  for (const { table, n, field, as_written, corrected, why, who } of draft.corrections) {
    const one = rowsOf(table).find((other) => other.n === n);
    if (one) told.push({ table, row_key: codeOf(table, one), field, as_written, corrected, why, who: who || draft.who });
  }
  return told.length ? { corrections: told } : {};
}
