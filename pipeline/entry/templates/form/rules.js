// Rules between the fields of one visit, with the words of the schemas; those that need the whole book are looked at when it is loaded.
function valueOf(table, one, name) {
  const field = fieldOf(table, name), text = (one.values[name] || "").trim();
  if (isNothing(text)) return null;
  if (field.kind === "real" || field.kind === "whole") {
    const value = numberOf(field, text, one.unit[name] || "");
    const outside = Number.isNaN(value) || (field.possible && (value < field.possible[0] || value > field.possible[1]));
    return outside ? null : value;
  }
  if (field.kind === "clock") return clockOf(text);
  if (name === "taxon") return (taxonOf(text) || { code: text }).code;
  return field.kind === "code" ? letters(text) : text;
}

function taxonOf(text) {
  const folded = text.toLowerCase();
  return DATA.taxa.find((taxon) => [taxon.code, ...taxon.aliases].some((word) => word.toLowerCase() === folded));
}

const bothThere = (a, b) => a !== null && b !== null;
const later = (from, to) => (((to - from) % 1440) + 1440) % 1440;

// The words of schemas/rules/comparisons.py.
const OF_ONE = {
  "is true": (value) => value === true,
  "is not true": (value) => value !== true,
  "noted": (value) => value !== null,
  "not noted": (value) => value === null,
};
const OF_TWO = {
  "above": (value, other) => value > other,
  "below": (value, other) => value < other,
  "at least": (value, other) => value >= other,
  "at most": (value, other) => value <= other,
  "one of": (value, other) => other.includes(value),
};

function holds(when, v) {
  const own = v(when.field);
  if (OF_ONE[when.word]) return OF_ONE[when.word](own);
  const less = when.less ? v(when.less) : 0, other = typeof when.to === "string" ? v(when.to) : when.to;
  if (own === null || less === null || other === null) return false;
  return OF_TWO[when.word](when.less ? Math.abs(own - less) : own, other);
}

// Statements on the finds of the visit together, as of `AMONG` in schemas/rules/comparisons.py.
const AMONG = {
  "copied": (said, finds) => finds.filter(([, value]) => finds.filter(([, other]) => other === value).length >= said.least),
  "apart": (said, finds) => {
    const far = finds.filter(([, value]) => Math.abs(value - median(finds)) > said.apart), rest = finds.filter((one) => !far.includes(one));
    return far.length === 1 && rest.length >= said.least && reach(rest) <= said.alike ? far : [];
  },
  "visit apart": (said, finds) => {
    const own = valueOf("visits", draft.visit, said.field);
    const agree = finds.length >= said.least && reach(finds) <= said.alike;
    return agree && own !== null && Math.abs(own - median(finds)) > said.apart ? finds.slice(0, 1) : [];
  },
};
const reach = (finds) => Math.max(...finds.map(([, value]) => value)) - Math.min(...finds.map(([, value]) => value));

function median(finds) {
  const sorted = finds.map(([, value]) => value).sort((a, b) => a - b), half = sorted.length >> 1;
  return sorted.length % 2 ? sorted[half] : (sorted[half - 1] + sorted[half]) / 2;
}

// Looked at once for all finds after each change: a page of two hundred finds must not wait.
let amongSeen = new Map();

function holdsAmong(said, one) {
  if (!amongSeen.has(said)) amongSeen.set(said, new Set(toldAmong(said)));
  return amongSeen.get(said).has(one);
}

function toldAmong(said) {
  const finds = draft.finds.map((each) => [each, valueOf("finds", each, said.field)]).filter(([, value]) => value !== null);
  return AMONG[said.word](said, finds).map(([each]) => each);
}

// What the check knows beside a row, as far as this page can know it.
function joinedTo(table, one) {
  if (table === "visits") return { days_ago: daysAgo(one), season_apart_c: seasonApart(one), year_apart: null };
  if (table === "sites") return { code_alike: nearestCodes("sites", one.values.site_id || "").some((code) => foldCode(code) === foldCode(one.values.site_id || "")) };
  if (table !== "finds") return {};
  const mark = valueOf("finds", one, "animal_id"), others = draft.finds.filter((each) => each !== one);
  const known = mark === null ? [] : others.filter((each) => valueOf("finds", each, "animal_id") === mark);
  return {
    visit_water_temp_c: valueOf("visits", draft.visit, "water_temp_c"),
    water_others: others.filter((each) => valueOf("finds", each, "water_temp_c") !== null).length,
    animal_twice: known.length > 0,
    animal_changed: known.some((each) => isChanged(one, each)),
  };
}

function isChanged(one, other) {
  // finds of one visit are of one day: neither taxon nor sex may differ, nor the size by more than it is measured to
  const pair = (name) => [one, other].map((each) => valueOf("finds", each, name));
  const differ = ([a, b]) => bothThere(a, b) && a !== b, sexes = pair("sex"), [size, before] = pair("svl_mm");
  const told = sexes.every((sex) => DATA.figures.sexes.includes(sex));
  const odd = bothThere(size, before) && Math.min(size, before) < Math.max(size, before) * (1 - DATA.figures.measured_to);
  return differ(pair("taxon")) || (told && differ(sexes)) || odd;
}

function daysAgo(one) {
  const text = (one.values.visit_date || "").trim();
  return /^\d{4}-\d{2}-\d{2}$/.test(text) ? Math.round((Date.parse(today()) - Date.parse(text)) / 864e5) : null;
}

function seasonWaters(one) {
  const text = (one.values.visit_date || "").trim(), day = Math.round((Date.parse(text) - Date.parse(text.slice(0, 4) + "-01-01")) / 864e5) + 1;
  const all = DATA.seasons[(one.values.site_id || "").trim()] || [];
  const { days, visits, alike } = DATA.figures.season;
  const others = all.filter(([other]) => Math.min(Math.abs(day - other), 365.25 - Math.abs(day - other)) <= days).map(([, water]) => water);
  return others.length >= visits && Math.max(...others) - Math.min(...others) <= alike ? others : [];
}

function seasonApart(one) {
  const water = valueOf("visits", one, "water_temp_c"), others = seasonWaters(one);
  return water === null || !others.length ? null : Math.max(Math.min(...others) - water, water - Math.max(...others), 0);
}

// Rules that are more than comparisons stand here and in schemas/rules/rules.py; a test holds the two together.
const BROKEN = {
  visit_too_long: (v) => bothThere(v("start_time"), v("end_time")) && later(v("start_time"), v("end_time")) > DATA.figures.long,
  warm_for_cool_stream: (v, taxon) => {
    const medium = DATA.media[v("microhabitat")];
    const reading = medium === "water" ? v("water_temp_c") : medium === "land" || medium === "edge" ? v("substrate_temp_c") : null;
    return taxon.cool && reading > DATA.figures.warm;
  },
  mass_out_of_line: (v) => {
    const cubed = v("svl_mm") ** 3, [least, most] = DATA.figures.mass;
    return bothThere(v("mass_g"), v("svl_mm")) && (v("mass_g") < least * cubed || v("mass_g") > most * cubed);
  },
  find_outside_visit: (v) => {
    const [start, end] = ["start_time", "end_time"].map((name) => valueOf("visits", draft.visit, name));
    return bothThere(start, end) && v("found_at") !== null && later(start, v("found_at")) > later(start, end);
  },
};

function brokenBy(table, one) {
  const taxon = table === "finds" && valueOf(table, one, "taxon") !== null ? taxonOf(valueOf(table, one, "taxon")) || {} : {};
  const joined = { taxon_paedomorphic: null, taxon_overlap_low: null, taxon_overlap_high: null, ...DATA.joined, ...taxon, ...joinedTo(table, one) };
  const v = (name) => (name in joined ? joined[name] : valueOf(table, one, name));
  return DATA.rule_ids.filter((id) => {
    const { table: of, when, among } = DATA.rules[id];
    if (of === table && among) return holdsAmong(among, one);
    return of === table && (when ? when.every((each) => holds(each, v)) : BROKEN[id] !== undefined && BROKEN[id](v, taxon));
  });
}

// The field at which a rule is told: the first of its fields that is filled in; where it is about one that is empty, the field that asks for it.
function toldAt(id, one) {
  const { fields, when } = DATA.rules[id], filled = (name) => !isNothing(one.values[name] || "");
  return fields.find(filled) || (when || []).map((each) => each.field).find(filled) || fields[0];
}

function crossed(table, field, one) {
  // where the book answers, it tells these itself
  if (SERVED) return null;
  const id = brokenBy(table, one).find((rule) => toldAt(rule, one) === field.name && one.sure[rule] !== signOf(rule, one));
  if (!id) return null;
  const { message, remedy } = DATA.rules[id];
  return { sure: `${message[0].toUpperCase()}${message.slice(1)} ${remedy}`, rule: id, repairs: repairsOf(id, table, one) };
}

function signOf(id, one) {
  return DATA.rules[id].fields.map((name) => one.values[name] || "").join("|");
}
