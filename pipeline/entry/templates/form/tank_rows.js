// The log on the page: buttons for enclosures and events, a line an entry, and the one entry that is open.
const NOTICES = {
  ill: "Call a licensed veterinarian. This log makes no diagnosis: write down what you see.",
  treated: "Only as a licensed veterinarian said: name who prescribed it under “By”.",
  died: "Cool the body, do not freeze it, and ask a licensed veterinarian what to send.",
  metamorphosed: "It can drown now where it cannot leave the water: give it a way out, wet cover on land and a tight lid.",
  moved: "Never let an animal or its water out into the wild.",
};
const KINDS = { enclosures: "new enclosure", loggers: "new logger", water_tests: "water test" };
const plain = (code) => code.replace(/_/g, " ");

function wordsOf(table, one) {
  const v = one.values, kind = KINDS[table] || plain(v.event || "what?");
  const told = DATA.tables[table]
    .filter((field) => !["enclosure_id", "event", "event_date", "event_time", "tested_on", "tested_at"].includes(field.name) && (v[field.name] || "").trim())
    .map((field) => (field.kind === "text" || field.kind === "code" ? v[field.name].trim() : `${field.title} ${textOf(field, one)}`));
  const when = [v.event_date || v.tested_on, v.event_time || v.tested_at].filter(Boolean).join(" ");
  return [`${v.enclosure_id || "?"} ${kind}`, ...told, when].filter(Boolean);
}

function markOf(table, one) {
  const found = DATA.tables[table].map((field) => judged(table, field, one)).filter(Boolean);
  const missing = DATA.tables[table].some((field) => field.required && isNothing(one.values[field.name] || ""));
  const box = document.getElementById(`${table}-${one.n}`), served = box ? [...box.querySelectorAll(".server.held, .server.flag")] : [];
  if (missing || found.some((each) => each.stop) || served.some((each) => each.classList.contains("held"))) return "✗ ";
  return found.length || served.length ? "? " : draft.saved ? "✓ " : "";
}

function readBackSoon() {
  listEntries();
}

function problemsShown() {
  listEntries();
}

function listEntries() {
  const list = document.getElementById("entry-list"), all = entries();
  // written over and not made anew: the tap that left a field may be on one of the lines
  while (list.children.length > all.length) list.lastChild.remove();
  while (list.children.length < all.length) list.append(element("li", {}, button("", (event) => openEntry(Number(event.currentTarget.dataset.n), true))));
  all.forEach(([table, one], at) => {
    const line = list.children[at].firstChild, words = `${markOf(table, one)}${wordsOf(table, one).join(" · ")}`;
    line.dataset.n = one.n;
    if (line.textContent !== words) line.textContent = words;
    line.setAttribute("aria-pressed", String(draft.open === `${table}-${one.n}`));
  });
  document.getElementById("none").hidden = all.length > 0;
  const gone = draft.gone[draft.gone.length - 1], back = document.getElementById("back");
  back.hidden = !gone;
  if (gone) back.textContent = `Bring “${wordsOf(gone.table, gone.one)[0]}” back`;
  showChoices();
}

function showChoices() {
  const place = document.getElementById("enclosure-list"), known = [...DATA.in_use, ...newCodes("enclosures").filter(Boolean).map((code) => [code, "new"])];
  const sign = JSON.stringify(known);
  if (place.dataset.sign !== sign) {
    place.dataset.sign = sign;
    const made = known.map(([code, words]) => {
      const choice = button(code, () => choose(code), { "data-code": code });
      if (words) choice.append(element("small", {}, words));
      return choice;
    });
    place.replaceChildren(...(made.length ? made : [element("p", {}, "The book knows no enclosure with animals in it: add one below.")]));
  }
  for (const choice of place.querySelectorAll("button")) choice.setAttribute("aria-pressed", String(choice.dataset.code === draft.enclosure));
  const meals = document.getElementById("meal-list"), offered = draft.enclosure ? mealsOf(draft.enclosure) : [];
  meals.hidden = !offered.length;
  const shownMeals = JSON.stringify([draft.enclosure, offered]);
  if (meals.dataset.sign === shownMeals) return;
  meals.dataset.sign = shownMeals;
  meals.replaceChildren(
    ...offered.map(([what, amount]) => button(`Fed: ${[what, amount].filter(Boolean).join(", ")}`, () => note("husbandry_events", { event: "fed", what, amount }), { class: "main" })),
  );
}

function choose(code) {
  draft.enclosure = code;
  keepQuietly();
  listEntries();
}

function note(table, values) {
  const isNew = table === "enclosures";
  if (!isNew && !draft.enclosure) return say("Choose the enclosure first.");
  if (draft.saved && holdsText()) startEmpty();
  const one = row(draft.next++), code = isNew ? {} : { enclosure_id: draft.enclosure };
  const when = { husbandry_events: ["event_date", "event_time"], water_tests: ["tested_on", "tested_at"] }[table];
  // day and clock are read at the tap, and stay open to be mended
  one.values = { ...code, ...(when ? { [when[0]]: today(), [when[1]]: now() } : {}), ...values };
  if (CODE_MADE[table]) one.code = codeMade(table, one.n);
  draft[table].push(one);
  keep();
  placeCard(table, one);
  // what one tap tells whole needs no card; else the first field that is empty is what comes next
  const empty = [...DATA.first[table], ...(DATA.asked[values.event] || [])].find((name) => !one.values[name]);
  openEntry(empty ? one.n : 0, true);
  if (empty && !byThumb()) focusOn(table, one, empty);
  askServer();
  const twin = values.event && draft.husbandry_events.find((other) => other !== one && ["enclosure_id", "event", "event_date", "event_time", "what", "amount"].every((name) => (other.values[name] || "") === (one.values[name] || "")));
  if (twin) say(`This stands in the log already, at the same minute: ${wordsOf(table, twin)[0]}. Tapped twice?`, "Take the second out", () => remove(table, one));
  else say(`Noted: ${wordsOf(table, one).join(" · ")}. It is kept when you save.`, "Undo", () => remove(table, one));
}

function placeCard(table, one) {
  document.getElementById("entries").append(entryCard(table, one));
  for (const field of DATA.tables[table]) refresh(table, one, field.name);
}

function entryCard(table, one) {
  const first = [...DATA.first[table], ...(table === "husbandry_events" ? DATA.asked[one.values.event] || [] : [])];
  const grid = element("div", { class: "grid" }), more = element("div", { class: "grid more", hidden: "" });
  const wanted = first.map((name) => fieldOf(table, name)), others = DATA.tables[table].filter((field) => !first.includes(field.name));
  for (const field of [...wanted, ...others]) {
    const box = fieldBox(table, field, one);
    if (table === "water_tests" && DATA.kit[field.name]) box.querySelector(".line").after(kitUnits(table, field, one));
    (first.includes(field.name) || one.values[field.name] ? grid : more).append(box);
  }
  const fold = button("More fields", () => open(more.hidden), { "aria-expanded": "false" });
  const open = (shownNow) => {
    more.hidden = !shownNow;
    fold.setAttribute("aria-expanded", String(shownNow));
    fold.textContent = shownNow ? "Fewer fields" : "More fields";
  };
  more.addEventListener("unfold", () => open(true));
  const made = element("fieldset", { id: `${table}-${one.n}` }, element("legend", {}, nameOf(table, one)));
  const notice = NOTICES[one.values.event];
  if (notice) made.append(element("p", { class: "eggs", role: "alert" }, notice));
  made.append(grid, more, element("div", { class: "head" }, fold, button("Delete", () => remove(table, one))));
  return made;
}

function openEntry(n, isTapped) {
  const found = entries().find(([, one]) => one.n === n);
  draft.open = found ? `${found[0]}-${n}` : "";
  for (const box of document.getElementById("entries").children) box.hidden = box.id !== draft.open;
  document.getElementById("entry-part").hidden = !found;
  keepQuietly();
  listEntries();
  if (isTapped && found) document.getElementById("entries-head").scrollIntoView({ block: "start" });
}

function remove(table, one) {
  const at = draft[table].indexOf(one);
  if (at < 0) return;
  draft[table].splice(at, 1);
  draft.gone.push({ table, at, one });
  document.getElementById(`${table}-${one.n}`).remove();
  keep();
  openEntry(0);
  askServer();
  say(`Deleted: ${wordsOf(table, one)[0]}.`, "Undo", bringBack);
}

function bringBack() {
  const last = draft.gone.pop();
  if (!last) return;
  draft[last.table].splice(last.at, 0, last.one);
  keep();
  draw();
  openEntry(last.one.n);
  askServer();
}

function startEmpty() {
  const before = draft;
  draft = { ...emptyDraft(), who: before.who, enclosure: before.enclosure, units: before.units, next: before.next };
  keepQuietly();
  draw();
  listThem([]);
  return before;
}

function draw() {
  const all = entries();
  document.getElementById("entries").replaceChildren();
  for (const [table, one] of all) placeCard(table, one);
  for (const [name, what] of [["unit-temp", "temp"], ["unit-length", "length"]]) {
    document.querySelectorAll(`input[name=${name}]`).forEach((each) => (each.checked = each.value === draft.units[what]));
  }
  document.getElementById("who").value = draft.who;
  const open = all.find(([table, one]) => `${table}-${one.n}` === draft.open);
  openEntry(open ? open[1].n : 0);
}

function changed() {
  listEntries();
}

function summarise() {
  listEntries();
}

function bringOut(table, one) {
  openEntry(one.n);
}

if (DATA.in_use.length === 1 && !draft.enclosure) draft.enclosure = DATA.in_use[0][0];
document.getElementById("event-list").append(
  ...DATA.events.map(([code, meaning]) => button(plain(code), () => note("husbandry_events", { event: code }), { title: meaning, "data-event": code })),
  button("water test", () => note("water_tests", {}), { title: "A test of the enclosure's water", "data-event": "water_test" }),
);
draw();
chooseUnits(document);
on("save", save);
on("load", loadNow);
on("back", bringBack);
on("add-enclosure", () => note("enclosures", {}));
on("add-logger", () => note("loggers", {}));
on("new", () => {
  const before = startEmpty();
  say(before.saved || !TABLES.some((table) => before[table].length) ? "An empty log." : "An empty log. The one before was not saved.", "Bring the last log back", () => {
    draft = before;
    keepQuietly();
    draw();
  });
});
document.getElementById("who").addEventListener("input", (event) => {
  draft.who = event.target.value.trim();
  keepQuietly();
});
document.getElementById("load").hidden = !SERVED;
if (SERVED) document.getElementById("save").classList.remove("main");
if (!store) {
  const notice = document.getElementById("storage");
  notice.hidden = false;
  notice.textContent = "This browser keeps no draft: save the log to a file before you close the page.";
}
