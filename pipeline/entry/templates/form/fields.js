// One field of one row: its label, its unit, its input, what is offered for it and what is said of it.
const idOf = (table, one, name) => `${table}-${one.n}-${name}`;
const SAYS_UNIT = { C: "°C", F: "°F" };

function fieldBox(table, field, one) {
  const id = idOf(table, one, field.name);
  const box = element("div", { class: "box", "data-table": table, "data-n": one.n, "data-field": field.name });
  const told = element("div", { class: "told", id: id + "-told" });
  const server = element("div", { class: "told server", id: id + "-server" });
  if (table === "finds" && (field.name === "count" || field.kind === "real")) box.classList.add("half");
  const words = [field.title, ...(field.required ? [element("span", { class: "needed" }, " (needed)")] : [])];
  if (field.kind === "codes") {
    box.append(ticks(table, field, one, field.title), told, server);
    box.classList.add("wide");
    return box;
  }
  const unit = element("span", { class: "unit" });
  const input = element("input", {
    type: "text", id, autocomplete: "off", autocapitalize: "off", spellcheck: "false", "aria-describedby": `${id}-meaning ${id}-told ${id}-server`,
  });
  if (field.kind === "real" || field.kind === "whole") input.inputMode = "decimal";
  if (field.required) input.setAttribute("aria-required", "true");
  input.value = one.values[field.name] || "";
  const meaning = element("div", { class: "meaning", id: id + "-meaning" });
  const line = element("div", { class: "line" }, input);
  box.append(element("label", { for: id, title: field.meaning }, ...words, " ", unit), line, offerRow(table, field, one), meaning, told, server);
  const taken = () => take(table, field, one, input.value);
  if (hasList(field)) box.append(withList(input, () => DATA.codes[field.codes], taken, field.codes === "sites"));
  if (field.kind === "day") line.append(button("Today", () => fill(table, one, field.name, today()), { tabindex: "-1" }));
  if (field.kind === "clock") line.append(button("Now", () => fill(table, one, field.name, now()), { tabindex: "-1" }));
  input.addEventListener("input", taken);
  input.addEventListener("keydown", (event) => holdBack(event, table, field, one));
  input.addEventListener("change", () => {
    refresh(table, one, field.name);
    refreshRules(table, one, field.name);
    announce(field, judged(table, field, one));
  });
  return box;
}

function hasList(field) {
  return Boolean(DATA.codes[field.codes]) && (field.kind === "code" || field.kind === "yes_no" || field.kind === "text");
}

function ticks(table, field, one, words) {
  const group = element("fieldset", {}, element("legend", {}, words));
  const chosen = () => (one.values[field.name] || "").split("|").filter(Boolean);
  const list = element("div", { class: "choices" });
  for (const [code, meaning] of DATA.codes[field.codes] || []) {
    const tick = element("input", { type: "checkbox", id: `${idOf(table, one, field.name)}-${code}` });
    tick.checked = chosen().includes(code);
    tick.addEventListener("change", () => {
      const now = new Set(chosen());
      if (tick.checked) now.add(code);
      else now.delete(code);
      take(table, field, one, [...now].join("|"));
    });
    list.append(element("label", { class: "tick" }, tick, meaning ? `${code}: ${meaning}` : code));
  }
  group.append(element("p", { class: "meaning" }, field.meaning.replace(", separated by |", "")), list);
  return group;
}

function take(table, field, one, text) {
  if (text === (one.values[field.name] || "")) return;
  one.values[field.name] = text;
  // A repair that was written over is no longer what became of the text.
  draft.corrections = draft.corrections.filter((other) => other.table !== table || other.n !== one.n || other.field !== field.name || other.corrected === text);
  const unit = unitFor(field);
  if (text.trim() && unit) one.unit[field.name] = unit;
  else delete one.unit[field.name];
  keep();
  refresh(table, one, field.name, true);
  refreshOffers(table, one);
  changed(table, field, one);
  askServer();
}

function fill(table, one, name, text) {
  const input = document.getElementById(idOf(table, one, name));
  if (input) input.value = text;
  take(table, fieldOf(table, name), one, text);
  refresh(table, one, name);
  refreshRules(table, one, name);
}

function today() {
  const at = bookClock();
  return `${at.year}-${at.month}-${at.day}`;
}

function now() {
  const at = bookClock();
  return `${at.hour}:${at.minute}`;
}

function bookClock() {
  // The book's civil time; a device that came from elsewhere may show another.
  const words = { timeZone: DATA.time_zone, hourCycle: "h23", year: "numeric", month: "2-digit", day: "2-digit", hour: "2-digit", minute: "2-digit" };
  return Object.fromEntries(new Intl.DateTimeFormat("en-CA", words).formatToParts(new Date()).map((part) => [part.type, part.value]));
}

function refresh(table, one, name, typing) {
  // While a field is being typed in, only what stood against it before is taken back; it is judged when it is left.
  const field = fieldOf(table, name), input = document.getElementById(idOf(table, one, name));
  if (!input) return;
  const box = input.closest(".box"), found = judged(table, field, one), told = box.querySelector(".told");
  const unit = box.querySelector(".unit");
  unit.textContent = unitWords(field, one);
  const meaning = box.querySelector(".meaning");
  const code = hasList(field) && DATA.codes[field.codes].find(([own]) => own === input.value.trim());
  meaning.textContent = code ? code[1] : "";
  if (typing && found) return;
  input.setAttribute("aria-invalid", String(Boolean(found && found.stop)));
  told.className = "told " + (found ? (found.stop ? "wrong" : "sure") : "");
  told.replaceChildren(...(found ? sayings(table, field, one, found) : []));
  if (name === "latitude" || name === "longitude") refreshOther(table, one, name);
  if (table === "finds") showTwins();
}

function refreshRules(table, one, name) {
  // A rule may be told at another field than the one that was typed last.
  const others = new Set(Object.values(DATA.rules).filter((rule) => rule.table === table).flatMap((rule) => rule.fields));
  others.delete(name);
  for (const other of others) if (!isNothing(one.values[other] || "")) refresh(table, one, other);
  refreshNeighbours(table, one, name);
}

function refreshNeighbours(table, one, name) {
  // what one find says may be told at another: that a reading is alone, or copied, or that a mark stands twice
  const about = Object.values(DATA.rules).filter((rule) => rule.table === "finds" && rule.fields.includes(name)).flatMap((rule) => rule.fields);
  if (table !== "finds" && !(table === "visits" && name === "water_temp_c")) return;
  for (const find of draft.finds) {
    if (find === one) continue;
    for (const other of new Set(about)) if (!isNothing(find.values[other] || "")) refresh("finds", find, other);
  }
  listFinds();
}

function announce(field, found) {
  document.getElementById("heard").textContent = found ? `${field.title}: ${found.stop || found.sure}` : "";
}

let refreshingOther = false;
function refreshOther(table, one, name) {
  if (refreshingOther) return;
  refreshingOther = true;
  refresh(table, one, name === "latitude" ? "longitude" : "latitude");
  refreshingOther = false;
}

function unitWords(field, one) {
  const unit = one.unit[field.name] || unitFor(field) || (kitOf(field) ? "" : field.unit);
  return unit ? `(${SAYS_UNIT[unit] || unit})` : "";
}

function sayings(table, field, one, found) {
  const said = [found.stop ? "✗ " + found.stop : "? " + found.sure];
  const doings = element("div", { class: "repairs" });
  for (const repair of found.repairs || []) doings.append(button(repair.words, () => mend(table, one, repair)));
  if (found.sure) {
    doings.append(
      button("Yes, it is right", () => {
        if (found.rule) one.sure[found.rule] = signOf(found.rule, one);
        else one.sure[field.name] = one.values[field.name];
        keep();
        refresh(table, one, field.name);
        if (table === "finds") listFinds();
      }),
    );
  }
  if (found.newSite) doings.append(button("It is a new site", () => openSite(one.values[field.name].trim())));
  if (doings.children.length) said.push(doings);
  return said;
}

function mend(table, one, repair) {
  if (!draft.who) return askWho(table, one, repair);
  // A repair is never made in silence: what stood there, what stands there now, and why, go with the survey.
  for (const [name, text] of repair.changes) {
    draft.corrections.push({ table, n: one.n, field: name, as_written: textOf(fieldOf(table, name), one), corrected: text, why: repair.why, who: draft.who });
  }
  for (const [name, text] of repair.changes) fill(table, one, name, text);
  say(`Repaired: ${repair.why}. The text as you typed it goes with the survey.`);
  focusOn(table, one, repair.changes[0][0]);
}

function askWho(table, one, repair) {
  // A correction without a name is nobody's: asked once, then it stands in the line of the evening.
  const told = document.getElementById(idOf(table, one, repair.changes[0][0]) + "-told");
  const input = element("input", { type: "text", id: "who-mends", autocomplete: "off", "aria-label": "Who mends it?" });
  const done = () => {
    if (!input.value.trim()) return input.focus();
    draft.who = input.value.trim();
    document.getElementById("who").value = draft.who;
    keep();
    summarise();
    mend(table, one, repair);
  };
  input.addEventListener("keydown", (event) => {
    if (event.key !== "Enter") return;
    event.preventDefault();
    done();
  });
  told.append(element("div", { class: "line asks" }, element("label", { for: "who-mends" }, "Who mends it?"), input, button("Mend", done)));
  input.focus();
}

function holdBack(event, table, field, one) {
  // A value that cannot be stops the way on once; a second time lets go, and it waits in the book with its text.
  if (event.defaultPrevented || event.shiftKey || (event.key !== "Tab" && event.key !== "Enter")) return;
  const found = judged(table, field, one), text = one.values[field.name] || "";
  if (found && found.stop && one.sure["stopped " + field.name] !== text) {
    event.preventDefault();
    one.sure["stopped " + field.name] = text;
    refresh(table, one, field.name);
    announce(field, found);
    return;
  }
  if (event.key === "Enter") {
    event.preventDefault();
    toNext(event.target);
  }
}

function toNext(from) {
  const all = [...document.querySelectorAll("main input, main button, main summary")];
  const open = all.filter((one) => one.tabIndex >= 0 && !one.disabled && one.offsetParent !== null);
  const next = open[open.indexOf(from) + 1];
  if (next) next.focus();
}

function focusOn(table, one, name) {
  const input = document.getElementById(idOf(table, one, name));
  if (!input) return;
  const more = input.closest(".more");
  if (more && more.hidden) more.dispatchEvent(new CustomEvent("unfold"));
  bringOut(table, one, input);
  input.focus();
}

function offerRow(table, field, one) {
  const row = element("div", { class: "offers" });
  showOffers(row, table, field, one);
  return row;
}

function showOffers(row, table, field, one) {
  const chosen = (one.values[field.name] || "").trim(), offers = offersFor(table, field, one);
  const sign = JSON.stringify([offers, chosen]);
  if (row.dataset.sign === sign) return;
  row.dataset.sign = sign;
  row.replaceChildren(
    ...offers.map(([text, words]) =>
      button(words, () => fill(table, one, field.name, text), { tabindex: "-1", "aria-pressed": String(chosen === text), "aria-label": `${field.title}: ${words}` }),
    ),
  );
}

function refreshOffers(table, one) {
  for (const field of DATA.tables[table]) {
    const box = document.querySelector(`[data-table="${table}"][data-n="${one.n}"][data-field="${field.name}"]`);
    const row = box && box.querySelector(".offers");
    if (row) showOffers(row, table, field, one);
  }
}
