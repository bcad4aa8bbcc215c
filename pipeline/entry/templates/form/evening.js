// What stays as it is for an evening is set once and then stands as one line; a visit begins with one tap on its site.
const EVENING_FIELDS = [...DATA.evening.first, ...DATA.evening.more];

const isEvening = (table, field) => table === "visits" && DATA.evening.first.includes(field.name);

function eveningBlock() {
  const block = document.getElementById("evening-block").content.cloneNode(true);
  chooseUnits(block);
  block.getElementById("evening-set").addEventListener("click", setEvening);
  block.getElementById("as-before").addEventListener("click", takeBefore);
  return block;
}

function eveningValues(visit) {
  return Object.fromEntries(EVENING_FIELDS.filter((name) => (visit.values[name] || "").trim()).map((name) => [name, visit.values[name]]));
}

function eveningWords(values) {
  const words = [];
  if (values.protocol) words.push(values.protocol);
  if (values.observer_count) words.push(values.observer_count === "1" ? "1 observer" : `${values.observer_count} observers`);
  if (values.observers) words.push(values.observers);
  if (values.thermometer) words.push(values.thermometer);
  if (values.thermometer_accuracy_c) words.push(`read to ±${values.thermometer_accuracy_c} °C`);
  if (values.target_taxa) words.push(`looking for ${values.target_taxa.split("|").join(", ")}`);
  return words;
}

function showEvening() {
  const line = document.getElementById("evening-line"), box = document.getElementById("evening");
  const words = [...eveningWords(draft.visit.values), `${SAYS_UNIT[draft.units.temp]}, ${draft.units.length}`];
  if (draft.who) words.push(`typed by ${draft.who}`);
  box.hidden = Boolean(draft.folded);
  line.hidden = !draft.folded;
  line.replaceChildren(element("span", {}, words.join(" · ")), button("Change", () => foldEvening(false), { "aria-label": "Change what stays for this evening" }));
  const again = document.getElementById("as-before"), past = draft.past;
  again.hidden = Boolean(draft.folded) || !past || EVENING_FIELDS.some((name) => (draft.visit.values[name] || "").trim());
  if (!again.hidden) again.textContent = `As on ${past.day}: ${eveningWords(past.values).join(" · ")}`;
  showSites();
}

function summarise() {
  showEvening();
}

function foldEvening(isFolded) {
  draft.folded = isFolded;
  keep();
  showEvening();
  if (!isFolded) focusOn("visits", draft.visit, DATA.evening.first[0]);
}

function setEvening() {
  const missing = DATA.tables.visits.find((field) => EVENING_FIELDS.includes(field.name) && field.required && !(draft.visit.values[field.name] || "").trim());
  if (missing) return focusOn("visits", draft.visit, missing.name);
  foldEvening(true);
  document.getElementById("site-list").scrollIntoView({ block: "nearest" });
}

function takeBefore() {
  for (const name of EVENING_FIELDS) {
    if (!draft.past.values[name]) continue;
    draft.visit.values[name] = draft.past.values[name];
    if (draft.past.unit[name]) draft.visit.unit[name] = draft.past.unit[name];
  }
  draft.folded = Boolean((draft.visit.values.protocol || "").trim());
  keep();
  draw();
}

// The evening of the visit before: carried on only on its own day, else offered.
function carryEvening(before) {
  const values = eveningValues(before.visit), day = (before.visit.values.visit_date || "").trim() || (before.past || {}).day || today();
  draft.who = before.who || "";
  draft.past = Object.keys(values).length ? { day, values, unit: { ...before.visit.unit } } : before.past || null;
  if (draft.past && draft.past.day === today()) takeBefore();
}

function lapse() {
  // A form that was left open overnight: what was carried on for another day is offered again.
  const { visit, past } = draft;
  if (!past || past.day === today() || Object.keys(visit.values).some((name) => visit.values[name].trim() && !EVENING_FIELDS.includes(name))) return;
  for (const name of EVENING_FIELDS.filter((each) => visit.values[each] === past.values[each])) {
    delete visit.values[name];
    delete visit.unit[name];
  }
  draft.folded = Object.keys(eveningValues(visit)).length > 0 && draft.folded;
}

function showSites() {
  const list = document.getElementById("site-list"), chosen = (draft.visit.values.site_id || "").trim();
  list.hidden = Boolean(chosen) || Boolean(draft.site) || !DATA.codes.sites.length;
  if (list.hidden || list.childElementCount > 1) return;
  list.append(
    ...DATA.codes.sites.map(([code, meaning]) => {
      const start = button(code, () => startAt(code), { tabindex: "-1" });
      if (meaning) start.append(element("small", {}, meaning));
      return start;
    }),
  );
}

function startAt(code) {
  // The tap is made on arrival: day and clock are read, not remembered.
  fill("visits", draft.visit, "site_id", code);
  const undo = ["visit_date", "start_time"].filter((name) => !(draft.visit.values[name] || "").trim());
  if (undo.includes("visit_date")) fill("visits", draft.visit, "visit_date", today());
  if (undo.includes("start_time")) fill("visits", draft.visit, "start_time", now());
  if ((draft.visit.values.protocol || "").trim()) draft.folded = true;
  keep();
  showEvening();
  const { visit_date, start_time } = draft.visit.values;
  say(`${code}, ${visit_date}, from ${start_time}.`, "Not now: clear", () => {
    for (const name of ["site_id", ...undo]) fill("visits", draft.visit, name, "");
    showEvening();
  });
  document.getElementById("visit-head").scrollIntoView({ block: "start" });
}
