// The readback: the visit in a few lines above the button that saves it, for the eye that finds what no rule can.
let readingBack = 0;

function readBackSoon() {
  clearTimeout(readingBack);
  readingBack = setTimeout(readBack, 120);
}

function spanRead(name) {
  const read = [];
  for (const table of ["visits", "finds", "availability"]) {
    if (!fieldOf(table, name)) continue;
    for (const one of rowsOf(table)) {
      const value = valueOf(table, one, name);
      if (value !== null) read.push(value);
    }
  }
  if (!read.length) return null;
  const [low, high] = [Math.min(...read), Math.max(...read)];
  const figures = low === high ? shown(low) : `${shown(low)} to ${shown(high)}`;
  return `${fieldOf("visits", name).title} ${figures} °C (${read.length})`;
}

function countsRead() {
  const counts = new Map();
  for (const one of draft.finds.filter((each) => !isEmpty(each))) {
    const key = JSON.stringify([valueOf("finds", one, "taxon") || "no taxon", valueOf("finds", one, "life_stage") || "no stage"]);
    const kept = counts.get(key) || { rows: 0, animals: 0, unsure: false }, count = valueOf("finds", one, "count");
    counts.set(key, { rows: kept.rows + 1, animals: kept.animals + (count || 0), unsure: kept.unsure || count === null || /\+/.test(one.values.count || "") });
  }
  return [...counts].map(([key, told]) => [...JSON.parse(key), told]).sort((a, b) => (a[0] + a[1]).localeCompare(b[0] + b[1]));
}

function absencesRead() {
  const met = draft.finds.filter((one) => !isEmpty(one)).map((one) => valueOf("finds", one, "taxon"));
  const looked = (draft.visit.values.target_taxa || "").split("|").filter(Boolean), not = looked.filter((taxon) => !met.includes(taxon));
  if (!looked.length) return "States no absence: no target taxa are ticked.";
  if (!not.length) return "States no absence: all that were looked for were found.";
  if (letters(draft.visit.values.all_counted || "") !== "yes") return `States no absence of ${not.join(", ")}: “${fieldOf("visits", "all_counted").title}” is not yes.`;
  return `States that these were looked for and not there: ${not.join(", ")}.`;
}

function emptyRead() {
  // [words, table, row, field]
  const found = [], filled = draft.finds.filter((one) => !isEmpty(one));
  const named = [...DATA.first.visits, "start_time"];
  for (const field of DATA.tables.visits) {
    if (named.includes(field.name) && !(draft.visit.values[field.name] || "").trim()) found.push([field.title, "visits", draft.visit, field.name]);
  }
  for (const field of DATA.tables.finds) {
    if (!DATA.first.finds.includes(field.name)) continue;
    const without = filled.filter((one) => !(one.values[field.name] || "").trim());
    const asked = without.filter((one) => DATA.usual.includes(field.name) ? isUsual(field, one) : without.length < filled.length);
    if (asked.length) found.push([`${field.title} at ${asked.length} of ${filled.length} finds`, "finds", asked[0], field.name]);
  }
  return found;
}

function answersFor(name) {
  // what one tap can answer without a guess: the clock, or yes and no
  if (name === "end_time") return [[now(), `Ended now, ${now()}`]];
  if (name === "all_counted") return [["yes", "Every animal met was counted: yes"], ["no", "no"]];
  return offersFor("visits", fieldOf("visits", name), draft.visit);
}

function readBack() {
  const box = document.getElementById("readback"), v = draft.visit.values;
  box.hidden = isEmpty(draft.visit) && draft.finds.every(isEmpty);
  if (box.hidden) return box.replaceChildren();
  const line = (words, attributes) => element("p", attributes || {}, words);
  const when = [v.visit_date, [v.start_time, v.end_time].filter(Boolean).join(" to "), v.search_minutes && `${v.search_minutes} min searched`];
  const parts = [line([v.site_id || "no site", ...when.filter(Boolean), v.protocol].filter(Boolean).join(" · "), { class: "strong" })];
  const counts = countsRead();
  if (counts.length) {
    const rows = counts.map(([taxon, stage, told]) => element("tr", {}, element("td", {}, taxon), element("td", {}, stage), element("td", {}, String(told.rows)), element("td", {}, `${told.animals}${told.unsure ? " or more" : ""}`)));
    const heads = ["Taxon", "Stage", "Finds", "Animals"].map((words) => element("th", { scope: "col" }, words));
    parts.push(element("table", {}, element("tr", {}, ...heads), ...rows));
  } else parts.push(line(draft.nothing ? "Nothing was found." : "No find is entered."));
  const spans = ["water_temp_c", "substrate_temp_c", "air_temp_c"].map(spanRead).filter(Boolean);
  parts.push(line(spans.length ? `Read: ${spans.join(" · ")}` : "No temperature was read."), line(absencesRead()));
  const empty = emptyRead();
  if (empty.length) parts.push(element("p", {}, "Empty: ", ...empty.flatMap(([words, table, one, name], at) => [at ? " · " : "", linkTo(words, table, one, name)])));
  const answers = empty.filter(([, table]) => table === "visits").flatMap(([, , , name]) => answersFor(name).map(([text, words]) => [name, text, words]));
  if (answers.length) parts.push(element("div", { class: "repairs" }, ...answers.map(([name, text, words]) => button(words, () => fill("visits", draft.visit, name, text), { tabindex: "-1" }))));
  const asked = openQuestions();
  for (const [before, one] of twins()) asked.push([`Finds ${before.n} and ${one.n} are alike`, "finds", one, DATA.first.finds[0]]);
  if (asked.length) parts.push(element("p", { class: "told sure" }, "To look at: ", ...asked.flatMap(([words, table, one, name], at) => [at ? " · " : "", linkTo(words, table, one, name)])));
  box.replaceChildren(...parts);
}
