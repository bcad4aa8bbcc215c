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
const wetBulbAbove = (v) => bothThere(v("wet_bulb_c"), v("air_temp_c")) && v("wet_bulb_c") > v("air_temp_c");
const asFraction = (v) => v("rh_pct") !== null && v("rh_pct") > 0 && v("rh_pct") <= 1;
const gap = (v) => bothThere(v("air_temp_c"), v("water_temp_c")) && Math.abs(v("air_temp_c") - v("water_temp_c")) > DATA.figures.gap;
const later = (from, to) => (((to - from) % 1440) + 1440) % 1440;

const BROKEN = {
  visit_wet_bulb_above_air: wetBulbAbove,
  visit_rh_as_fraction: asFraction,
  visit_air_water_gap: gap,
  visit_warm_water: (v) => v("water_temp_c") > DATA.figures.warm && DATA.taxa.some((taxon) => taxon.group === "cool_stream"),
  visit_too_long: (v) => bothThere(v("start_time"), v("end_time")) && later(v("start_time"), v("end_time")) > DATA.figures.long,
  total_length_below_svl: (v) => bothThere(v("total_length_mm"), v("svl_mm")) && v("total_length_mm") < v("svl_mm"),
  find_wet_bulb_above_air: wetBulbAbove,
  find_rh_as_fraction: asFraction,
  find_air_water_gap: gap,
  larva_without_gills: (v) => v("life_stage") === "larva" && v("gills") === "none",
  adult_with_gills: (v, taxon) => v("life_stage") === "adult" && v("gills") === "full" && !taxon.paedomorphic,
  warm_for_cool_stream: (v, taxon) => {
    const medium = DATA.media[v("microhabitat")];
    const reading = medium === "water" ? v("water_temp_c") : medium === "land" || medium === "edge" ? v("substrate_temp_c") : null;
    return taxon.group === "cool_stream" && reading > DATA.figures.warm;
  },
  egg_mass_with_svl: (v) => v("life_stage") === "egg_mass" && v("svl_mm") !== null,
  stage_near_overlap: (v, taxon) =>
    bothThere(taxon.low === undefined ? null : taxon.low, v("svl_mm")) && v("svl_mm") >= taxon.low && v("svl_mm") <= taxon.high &&
    ["larva", "metamorph", "juvenile", "adult"].includes(v("life_stage")) && v("gills") === null && v("photo") === null,
  mass_out_of_line: (v) => {
    const cubed = v("svl_mm") ** 3, [least, most] = DATA.figures.mass;
    return bothThere(v("mass_g"), v("svl_mm")) && (v("mass_g") < least * cubed || v("mass_g") > most * cubed);
  },
  find_outside_visit: (v) => {
    const [start, end] = ["start_time", "end_time"].map((name) => valueOf("visits", draft.visit, name));
    return bothThere(start, end) && v("found_at") !== null && later(start, v("found_at")) > later(start, end);
  },
  point_rh_as_fraction: asFraction,
};

function brokenBy(table, one) {
  const v = (name) => valueOf(table, one, name);
  const taxon = table === "finds" && v("taxon") !== null ? taxonOf(v("taxon")) || {} : {};
  return Object.keys(BROKEN).filter((id) => DATA.rules[id].table === table && BROKEN[id](v, taxon));
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
