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

// The words of schemas/comparisons.py.
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

// Rules that are more than comparisons stand here and in schemas/rules.py; a test holds the two together.
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
  const joined = { taxon_paedomorphic: null, taxon_overlap_low: null, taxon_overlap_high: null, ...DATA.joined, ...taxon };
  const v = (name) => (name in joined ? joined[name] : valueOf(table, one, name));
  return DATA.rule_ids.filter((id) => {
    const { table: of, when } = DATA.rules[id];
    return of === table && (when ? when.every((each) => holds(each, v)) : BROKEN[id] !== undefined && BROKEN[id](v, taxon));
  });
}

// The field at which a rule is told: the first of its fields, or where that is empty the first that is filled in.
function toldAt(id, one) {
  const { fields } = DATA.rules[id];
  return fields.find((name) => !isNothing(one.values[name] || "")) || fields[0];
}

function crossed(table, field, one) {
  // where the book answers, it tells these itself
  if (SERVED) return null;
  const id = brokenBy(table, one).find((rule) => toldAt(rule, one) === field.name && one.sure[rule] !== signOf(rule, one));
  if (!id) return null;
  const { message, remedy } = DATA.rules[id];
  return { sure: `${message[0].toUpperCase()}${message.slice(1)} ${remedy}`, rule: id };
}

function signOf(id, one) {
  return DATA.rules[id].fields.map((name) => one.values[name] || "").join("|");
}
