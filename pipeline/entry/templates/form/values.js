// What a field's text is worth: numbers in the unit that the tables keep, and what stands against them.
// The same forms as when a file is read: what this page lets pass must not be held back later, nor be read in another unit.
const NUMBER = /^([+-]?(\d+(\.\d*)?|\.\d+)([eE][+-]?\d+)?|[+-]?(\d+,(\d{1,2}|\d{4,})|0,\d+))$/;
const NUMBER_AND_UNIT = /^([+\-−]?(?:\d[\d.,]*|\.\d+))\s*([^\s\d.,+\-−].*)$/;

function isNothing(text) {
  return !text.trim() || DATA.nothing.includes(text.trim().toLowerCase());
}

function bareNumber(text) {
  const plain = text.trim().replace(/−/g, "-");
  return NUMBER.test(plain) ? Number(plain.replace(",", ".")) : NaN;
}

function unitNamed(spelt, kept) {
  const fold = (words) => words.replace(/[º˚]/g, "°").replace(/μ/g, "µ").toLowerCase().replace(/\s+/g, " ").replace("° ", "°").trim();
  const asked = fold(spelt);
  const known = Object.keys(DATA.units[kept] || {});
  return known.find((name) => [name, ...DATA.spellings[name]].some((one) => fold(one) === asked)) || "";
}

function numberOf(field, text, unit) {
  // null where nothing is written, NaN where it is no number; in the unit that the tables keep
  if (isNothing(text)) return null;
  if (field.kind === "whole") return bareNumber(field.at_least ? text.trim().replace(/^(\d+)\s*\+$/, "$1") : text);
  const alone = bareNumber(text);
  // a power of ten is read without a unit, and not beside one
  if (/[eE]/.test(text) && unit && unit !== keptUnit(field)) return NaN;
  if (!Number.isNaN(alone)) return unit && unit !== keptUnit(field) ? inKept(field, alone, unitNamed(unit, field.unit)) : alone;
  if (field.unit === "degree") return angleOf(field, text);
  const parts = NUMBER_AND_UNIT.exec(text.trim());
  const named = parts && unitNamed(parts[2], field.unit);
  return named ? inKept(field, bareNumber(parts[1]), named) : NaN;
}

function inKept(field, value, name) {
  const [factor, offset] = DATA.units[field.unit][name];
  return Math.round((value - offset) * factor * 1e10) / 1e10;
}

function angleOf(field, text) {
  // degrees, minutes, seconds, with a sign or a letter; the file keeps the text
  const letters = field.name === "latitude" ? "NS" : "EW";
  const plain = text.trim().toUpperCase().replace(/−/g, "-").replace(/[º˚]/g, "°").replace(/[’′´`]/g, "'").replace(/[”“″]|''/g, '"');
  const found = /^([NSEW]?)\s*([+-]?)\s*(\d{1,3}(?:\.\d*)?)(?:[°:\s]\s*(\d{1,2}(?:\.\d*)?))?(?:[':\s]\s*(\d{1,2}(?:\.\d*)?))?\s*[°'"]?\s*([NSEW]?)$/.exec(plain);
  if (!found || (found[1] && found[6]) || (found[2] && (found[1] || found[6]))) return NaN;
  const letter = found[1] || found[6];
  const [minutes, seconds] = [Number(found[4] || 0), Number(found[5] || 0)];
  if ((letter && !letters.includes(letter)) || minutes >= 60 || seconds >= 60) return NaN;
  const degrees = Number(found[3]) + minutes / 60 + seconds / 3600;
  return found[2] === "-" || (letter && letter === letters[1]) ? -degrees : degrees;
}

function kitOf(field) {
  // units of a number whose unit must be chosen, or nothing
  return (DATA.kit || {})[field.name];
}

function shown(value) {
  return String(Math.round(value * 100) / 100).replace("-", "−");
}

function span(field, bounds, unit) {
  const back = unit === "F" ? (x) => x * 1.8 + 32 : unit === "cm" ? (x) => x / 10 : (x) => x;
  const word = unit === "F" ? "°F" : unit === "C" ? "°C" : kitOf(field) ? field.unit : unit || field.unit;
  return `${shown(back(bounds[0]))} to ${shown(back(bounds[1]))}${word ? " " + word : ""}`;
}

function judged(table, field, one) {
  // {stop} cannot be; {sure} rare, ask; repairs offered beside either
  const text = one.values[field.name] || "";
  if (isNothing(text)) return null;
  const alone = judgedAlone(table, field, one, text);
  // what a rule says of 0.85 % tells more than that it is unusual
  return alone && alone.stop ? alone : crossed(table, field, one) || alone;
}

function judgedAlone(table, field, one, text) {
  if (field.kind === "day") return judgedDay(field, text.trim());
  if (field.kind === "clock") {
    return clockOf(text) === null ? { stop: "A clock time is needed, such as 21:52, 2152 or 9:52 pm." } : null;
  }
  if (field.kind === "code" || field.kind === "yes_no") {
    const known = DATA.codes[field.codes].some(([code]) => letters(code) === letters(text.trim()));
    return known ? null : { stop: "This is none of the codes. Type a few letters and choose." };
  }
  if (field.codes && field.kind === "text") return judgedName(table, field, text.trim());
  if (field.kind !== "real" && field.kind !== "whole") return null;
  return judgedNumber(table, field, one, text);
}

function judgedName(table, field, text) {
  if (field.codes === "visits" || DATA.codes[field.codes] === undefined) return null;
  if (DATA.codes[field.codes].some(([code]) => code === text)) return null;
  const folded = text.toLowerCase();
  if (field.codes === "taxa" && DATA.taxa.some((taxon) => [taxon.code, ...taxon.aliases].some((word) => word.toLowerCase() === folded))) return null;
  if (field.codes === "taxa") return { stop: "This taxon is not in the book. Type a few letters and choose." };
  if (newCodes(field.codes).includes(text)) return null;
  const isSite = field.codes === "sites", repairs = !isSite || table === "visits" ? codeOffers(field, text) : [];
  return { stop: `The book knows no such ${isSite ? "site" : "enclosure"}.`, newSite: isSite, repairs };
}

function judgedDay(field, text) {
  const match = /^(\d{4})-(\d{2})-(\d{2})$/.exec(text);
  const day = match && new Date(Number(match[1]), Number(match[2]) - 1, Number(match[3]));
  if (!match || day.getMonth() !== Number(match[2]) - 1 || day.getDate() !== Number(match[3])) {
    return { stop: "Write year, month and day, such as 2026-05-03." };
  }
  return text > today() ? { stop: "This day lies in the future." } : null;
}

const CLOCK = /^(?!0\.)(?:(\d{1,2})[:.h](\d{2})(?::[0-5]\d)?|(\d{2})(\d{2})|(\d)(\d{2})(?=\s*[aApP]))(?:\s*([aApP])\.?[mM]?\.?)?$/;

function clockOf(text) {
  const match = CLOCK.exec(text.trim());
  if (!match) return null;
  let hour = Number(match[1] || match[3] || match[5]);
  const minute = Number(match[2] || match[4] || match[6]), half = (match[7] || "").toLowerCase();
  if (half && (hour < 1 || hour > 12)) return null;
  if (half) hour = (hour % 12) + (half === "p" ? 12 : 0);
  return hour < 24 && minute < 60 ? hour * 60 + minute : null;
}

function judgedNumber(table, field, one, text) {
  const unit = one.unit[field.name] || "", value = numberOf(field, text, unit);
  if (Number.isNaN(value)) return { stop: "A number is needed." };
  // kits show the ion or its nitrogen: which one is never guessed
  if (kitOf(field) && !unit && !Number.isNaN(bareNumber(text))) return { stop: `Which does your kit show: ${kitOf(field).join(" or ")}? Choose it.` };
  if (field.kind === "whole" && !Number.isInteger(value)) return { stop: "A whole number is needed." };
  const repairs = repairsFor(table, field, one, value, unit);
  const outside = (bounds) => bounds && (value < bounds[0] || value > bounds[1]);
  if (field.unit === "degree" && value === 0 && valueOf(table, one, field.name === "latitude" ? "longitude" : "latitude") === 0) {
    return { stop: "Latitude and longitude are both 0: no place was read." };
  }
  if (outside(field.possible)) return { stop: `Possible is ${span(field, field.possible, unit)}.`, repairs };
  if (repairs.length && one.sure[field.name] !== text) return { sure: "Is this right?", repairs };
  if (outside(field.expected) && one.sure[field.name] !== text) return { sure: `Usual is ${span(field, field.expected, unit)}. Sure?`, repairs };
  return null;
}

function repairsFor(table, field, one, value, unit) {
  if (field.unit === "°C" && unit !== "F" && field.possible && value > field.possible[1]) {
    const celsius = (value - 32) / 1.8;
    if (celsius >= 0 && celsius <= 30) {
      const text = one.values[field.name].trim().replace(/\s*°?\s*C$/i, "");
      const offers = [{ words: `It was °F: ${shown(celsius)} °C`, changes: [[field.name, text + " F"]], why: "read in °F, typed as °C" }];
      const tenth = `${text.slice(0, -1)}.${text.slice(-1)}`;
      if (/^\d{2,3}$/.test(text) && Number(tenth) <= field.possible[1]) {
        offers.push({ words: `The point was lost: ${tenth} °C`, changes: [[field.name, tenth]], why: "the decimal point was lost" });
      }
      return offers;
    }
  }
  if (field.name === "latitude" || field.name === "longitude") return placeRepairs(one);
  return [];
}

function placeRepairs(one) {
  const [lat, lon] = ["latitude", "longitude"].map((name) => numberOf(fieldOf("sites", name), one.values[name] || "", ""));
  if (lat === null || lon === null || Number.isNaN(lat) || Number.isNaN(lon) || !DATA.areas.length || inArea(lat, lon)) return [];
  const texts = [one.values.latitude.trim(), one.values.longitude.trim()];
  if (inArea(lon, lat)) {
    const changes = [["latitude", texts[1]], ["longitude", texts[0]]];
    return [{ words: "Swap latitude and longitude", changes, why: "latitude and longitude were swapped" }];
  }
  if (inArea(lat, -lon)) {
    const text = texts[1].startsWith("-") ? texts[1].slice(1) : "-" + texts[1].replace("+", "");
    return [{ words: "Put the minus before the longitude", changes: [["longitude", text]], why: "the minus of the longitude was lost" }];
  }
  return [];
}

function inArea(lat, lon) {
  return DATA.areas.some(({ kind, numbers }) => {
    if (kind === "box") return lat >= numbers[0] && lat <= numbers[2] && lon >= numbers[1] && lon <= numbers[3];
    const [phi, other] = [(lat * Math.PI) / 180, (numbers[0] * Math.PI) / 180];
    const half = Math.sin((phi - other) / 2) ** 2 + Math.cos(phi) * Math.cos(other) * Math.sin(((lon - numbers[1]) * Math.PI) / 360) ** 2;
    return 2 * 6371 * Math.asin(Math.min(1, Math.sqrt(half))) <= numbers[2];
  });
}

function twins() {
  // pairs of finds that are alike in all that tells animals apart
  const alike = DATA.near_duplicate_in.filter((name) => name !== "visit_id");
  const sign = (one) => JSON.stringify(alike.map((name) => valueOf("finds", one, name)));
  const pairs = [];
  draft.finds.forEach((one, place) => {
    if (!(one.values.svl_mm || "").trim()) return;
    const before = draft.finds.slice(0, place).find((other) => sign(other) === sign(one));
    if (before && one.sure.twin !== before.n) pairs.push([before, one]);
  });
  return pairs;
}
