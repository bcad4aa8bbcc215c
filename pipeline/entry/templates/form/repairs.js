// Repairs that a rule leads to. One is offered where one reading is likely; where two are, both; where none is, none.
function repairsOf(id, table, one) {
  if (/air_water_swapped$/.test(id)) return swapOffers(one);
  if (id === "date_last_year") return yearOffers(one);
  if (id === "water_off_season") return likelyWater(one, seasonWaters(one));
  if (id === "apart_from_visit") return likelyWater(one, [valueOf("visits", draft.visit, "water_temp_c")]);
  if (/_reading_apart$/.test(id) && id !== "visit_reading_apart") {
    const name = DATA.rules[id].fields[0];
    return digitOffers(one, name, draft.finds.filter((other) => other !== one).map((other) => valueOf("finds", other, name)));
  }
  return [];
}

const near = (value, others) => {
  const read = others.filter((other) => other !== null && !Number.isNaN(other));
  return read.length > 0 && !Number.isNaN(value) && value >= Math.min(...read) - DATA.figures.alike && value <= Math.max(...read) + DATA.figures.alike;
};

function swapOffers(one) {
  const { air_temp_c: air, water_temp_c: water } = one.values;
  if (isNothing(air || "") || isNothing(water || "") || one.unit.air_temp_c !== one.unit.water_temp_c) return [];
  const changes = [["air_temp_c", water], ["water_temp_c", air]];
  return [{ words: `They changed places: air ${water}, water ${air}`, changes, why: "air and water were swapped" }];
}

function digitOffers(one, name, others) {
  const text = (one.values[name] || "").trim(), match = /^(\d)(\d)([.,]\d+)?$/.exec(text);
  if (!match || match[1] === match[2]) return [];
  const turned = `${match[2]}${match[1]}${match[3] || ""}`.replace(/^0(?=\d)/, "");
  const table = draft.finds.includes(one) ? "finds" : "visits";
  if (!near(numberOf(fieldOf(table, name), turned, one.unit[name] || ""), others)) return [];
  return [{ words: `Two digits changed places: ${turned}`, changes: [[name, turned]], why: "two digits had changed places" }];
}

function likelyWater(one, others) {
  const table = draft.finds.includes(one) ? "finds" : "visits", air = valueOf(table, one, "air_temp_c");
  return [...digitOffers(one, "water_temp_c", others), ...(air !== null && near(air, others) ? swapOffers(one) : [])];
}

function yearOffers(one) {
  const match = /^(\d{4})(-\d{2}-\d{2})$/.exec((one.values.visit_date || "").trim());
  const moved = match ? `${Number(match[1]) + 1}${match[2]}` : "";
  if (!moved || moved > today()) return [];
  return [{ words: `It was this year: ${moved}`, changes: [["visit_date", moved]], why: "the year before was written" }];
}

// --- codes of sites and enclosures
const foldCode = (code) => code.toLowerCase().replace(/[\W_]+/g, "");

function nearestCodes(list, text) {
  // those that are the same but for case, spaces and signs, else those spelled most alike; as when a file is loaded
  const known = DATA.codes[list].map(([code]) => code).filter((code) => code !== text).sort(), asked = foldCode(text);
  const same = known.filter((code) => foldCode(code) === asked);
  if (same.length) return same.slice(0, 3);
  const rated = known.map((code) => [likeness(asked, foldCode(code)), code]).filter(([share]) => share >= DATA.figures.codes_alike);
  return rated.sort((a, b) => b[0] - a[0]).slice(0, 3).map(([, code]) => code);
}

function likeness(a, b) {
  // signs in common, in order, as a share of both
  let row = new Array(b.length + 1).fill(0);
  for (const sign of a) {
    const next = [0];
    for (let j = 1; j <= b.length; j++) next.push(sign === b[j - 1] ? row[j - 1] + 1 : Math.max(row[j], next[j - 1]));
    row = next;
  }
  return a.length + b.length ? (2 * row[b.length]) / (a.length + b.length) : 1;
}

function codeOffers(field, text) {
  const what = field.codes === "sites" ? "site" : "enclosure", why = `the code of the ${what} was mistyped`;
  return nearestCodes(field.codes, text).map((code) => ({ words: `It is ${code}`, changes: [[field.name, code]], why }));
}
