// Offers: what was chosen last, the clock's own answer, or the usual codes, each one tap away. Nothing is filled in until it is tapped.
const OFFERED_AT_MOST = 3;

function offersFor(table, field, one) {
  // [text to fill in, words of the button]
  if (table === "finds" && DATA.usual.includes(field.name)) return offersOfFind(field, one).map((text) => [text, text]);
  if (table !== "visits") return [];
  if (field.name === "search_minutes") return minutesBetween().map((text) => [text, `${text} min, start to end`]);
  if (field.name === "all_counted") return [["yes", "Yes"], ["no", "No"]];
  const before = draft.past && !one.values[field.name] ? draft.past.values[field.name] : "";
  return before && DATA.evening.first.includes(field.name) && field.kind !== "codes" ? [[before, `As last time: ${before}`]] : [];
}

function offersOfFind(field, one) {
  if (field.name === "count") return ["1", "2", "3"];
  if (field.kind === "real") return [];
  const used = draft.finds.filter((other) => other !== one).map((other) => (other.values[field.name] || "").trim()).reverse();
  const looked = field.name === "taxon" ? (draft.visit.values.target_taxa || "").split("|") : [];
  const usual = field.name === "taxon" ? DATA.codes.taxa.map(([code]) => code) : DATA.offered[field.name];
  const known = (code) => DATA.codes[field.codes].some(([other]) => other === code);
  const order = [...new Set([...used, ...looked, ...usual])].filter(known).slice(0, OFFERED_AT_MOST);
  // the same place for the same word while a find is typed, or a thumb hits what has just moved there
  return order.sort((a, b) => usual.indexOf(a) - usual.indexOf(b));
}

function minutesBetween() {
  const [start, end] = ["start_time", "end_time"].map((name) => clockOf(draft.visit.values[name] || ""));
  return bothThere(start, end) && start !== end ? [String(later(start, end))] : [];
}
