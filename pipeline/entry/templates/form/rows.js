// Rows: the visit, a new site, the finds and the places without animals.
const WORDS = { visits: "The visit", sites: "New site", finds: "Find", availability: "Place" };

function card(table, one, words) {
  const first = DATA.first[table], more = element("div", { class: "grid more", hidden: "" });
  const grid = element("div", { class: "grid" }), block = table === "visits" ? eveningBlock() : null;
  const evening = block && block.querySelector("#evening-fields");
  for (const field of DATA.tables[table]) (isEvening(table, field) ? evening : first.includes(field.name) ? grid : more).append(fieldBox(table, field, one));
  const made = element("fieldset", { id: `${table}-${one.n}` }, element("legend", {}, words));
  const open = (shownNow) => {
    more.hidden = !shownNow;
    made.classList.toggle("brief", table === "finds" && !shownNow && !draft.typed);
    fold.setAttribute("aria-expanded", String(shownNow));
    fold.textContent = shownNow ? "Fewer fields" : "More fields";
  };
  const fold = button("More fields", () => open(more.hidden), { "aria-expanded": "false" });
  more.addEventListener("unfold", () => open(true));
  if ([...more.children].some((box) => one.values[box.dataset.field] && !DATA.evening.more.includes(box.dataset.field))) open(true);
  const head = element("div", { class: "head" }, fold);
  if (givesPosition() && DATA.tables[table].some((field) => field.name === "latitude")) {
    head.append(button("This device’s position", () => locate(table, one), { class: "locate" }));
  }
  if (table === "finds" || table === "availability") head.append(button("Delete", () => remove(table, one)));
  if (table === "sites") head.append(button("No new site", () => closeSite()));
  if (block) more.append(whoBox());
  if (table === "finds") {
    made.classList.toggle("brief", more.hidden && !draft.typed);
    made.addEventListener("keydown", (event) => {
      // Who has a keyboard walks through all the open fields, also in a narrow window.
      if (event.key !== "Tab" || draft.typed) return;
      draft.typed = true;
      document.querySelectorAll(".brief").forEach((each) => each.classList.remove("brief"));
    });
  }
  made.append(head, ...(block ? [block] : []), grid, more);
  return made;
}

function changed(table, field, one) {
  if (table === "finds" && field.name === "life_stage") warnOfEggs(one);
  if (table === "finds") {
    refreshUsual(one);
    listFinds();
  }
  if (EVENING_FIELDS.includes(field.name) || field.name === "site_id") showEvening();
}

function bringOut(table, one, input) {
  if (draft.folded && input.closest("#evening")) {
    draft.folded = false;
    showEvening();
  }
  if (table === "finds" && draft.open !== one.n) openFind(one.n);
  if (input.offsetParent === null && input.closest(".brief")) input.closest(".brief").classList.remove("brief");
}

function whoBox() {
  const input = element("input", { type: "text", id: "who", autocomplete: "off" });
  input.value = draft.who;
  input.addEventListener("input", () => {
    draft.who = input.value.trim();
    keep();
  });
  return element("div", { class: "box" }, element("label", { for: "who" }, "Typed by"), input, element("div", { class: "meaning" }, "Stands beside each repair."));
}

function givesPosition() {
  return Boolean(navigator.geolocation) && window.isSecureContext;
}

function place(table) {
  return document.getElementById({ visits: "visit", sites: "site", finds: "finds", availability: "points" }[table]);
}

function draw() {
  amongSeen = new Map();
  place("visits").replaceChildren(card("visits", draft.visit, WORDS.visits));
  place("sites").hidden = !draft.site;
  place("sites").replaceChildren(...(draft.site ? [card("sites", draft.site, WORDS.sites)] : []));
  for (const table of ["finds", "availability"]) {
    place(table).replaceChildren(...draft[table].map((one) => card(table, one, `${WORDS[table]} ${one.n}`)));
  }
  for (const table of Object.keys(DATA.tables)) {
    for (const one of rowsOf(table)) {
      for (const field of DATA.tables[table]) refresh(table, one, field.name);
      if (table === "finds") warnOfEggs(one);
      if (table === "finds") refreshUsual(one);
    }
  }
  document.querySelectorAll("input[name=unit-temp]").forEach((one) => (one.checked = one.value === draft.units.temp));
  document.querySelectorAll("input[name=unit-length]").forEach((one) => (one.checked = one.value === draft.units.length));
  showNothing();
  showGone();
  const last = draft.finds[draft.finds.length - 1];
  openFind(draft.finds.some((one) => one.n === draft.open) ? draft.open : last ? last.n : 0);
  showEvening();
  readBackSoon();
}

function add(table, values) {
  document.getElementById("say").replaceChildren();
  if (table === "finds" && !store && draft.finds.length) saveFile("The browser keeps no draft, so each find is saved to a file as it is done.");
  const one = row(draft.next++);
  draft[table].push(one);
  for (const [name, text] of Object.entries(values || {})) one.values[name] = text;
  draft.nothing = false;
  place(table).append(card(table, one, `${WORDS[table]} ${one.n}`));
  keep();
  for (const field of DATA.tables[table]) refresh(table, one, field.name);
  if (table === "finds") {
    warnOfEggs(one);
    refreshUsual(one);
    openFind(one.n);
  }
  showNothing();
  showCard(table, one);
  // on a phone the keyboard would cover what a thumb can choose from
  if (byThumb()) {
    askServer();
    return one;
  }
  const empty = DATA.tables[table].find((field) => DATA.first[table].includes(field.name) && !one.values[field.name]);
  focusOn(table, one, (empty || DATA.tables[table][0]).name);
  askServer();
  return one;
}

function sameAgain() {
  const last = draft.finds[draft.finds.length - 1];
  if (!last) return add("finds");
  const values = {};
  for (const name of DATA.carried) if (last.values[name]) values[name] = last.values[name];
  return add("finds", values);
}

function remove(table, one) {
  const at = draft[table].indexOf(one);
  draft[table].splice(at, 1);
  draft.gone.push({ table, at, one });
  document.getElementById(`${table}-${one.n}`).remove();
  keep();
  if (table === "finds") openFind(draft.finds.length ? draft.finds[Math.min(at, draft.finds.length - 1)].n : 0);
  showNothing();
  showTwins();
  askServer();
  showGone();
  say(`${WORDS[table]} ${one.n} is deleted.`, "Undo", bringBack);
}

function bringBack() {
  const last = draft.gone.pop();
  if (!last) return;
  const { table, at, one } = last;
  draft[table].splice(at, 0, one);
  keep();
  draw();
  say(`${WORDS[table]} ${one.n} is back.`);
  focusOn(table, one, DATA.first[table][0]);
  askServer();
}

function showGone() {
  // Kept with the draft: the line at the bottom may have gone to another message, or the page have been loaded anew.
  const last = draft.gone[draft.gone.length - 1], back = document.getElementById("back");
  back.hidden = !last;
  back.textContent = last ? `Bring ${WORDS[last.table].toLowerCase()} ${last.one.n} back` : "";
}

function openSite(code) {
  if (!draft.site) draft.site = row(0);
  if (code) draft.site.values.site_id = code;
  keep();
  draw();
  focusOn("sites", draft.site, code ? "habitat" : "site_id");
}

function closeSite() {
  const gone = draft.site;
  draft.site = null;
  keep();
  draw();
  say("The new site is taken out.", "Undo", () => {
    draft.site = gone;
    keep();
    draw();
  });
}

function warnOfEggs(one) {
  const box = document.getElementById(`finds-${one.n}`);
  if (!box) return;
  const shownNow = box.querySelector(".eggs"), eggs = DATA.eggs.includes((one.values.life_stage || "").trim());
  if (eggs && !shownNow) {
    box.querySelector("legend").after(element("p", { class: "eggs", role: "alert" }, "Eggs: do not lift this rock again this season."));
  }
  if (!eggs && shownNow) shownNow.remove();
}

function locate(table, one) {
  say("Asking the device where it is …");
  navigator.geolocation.getCurrentPosition(
    ({ coords }) => {
      fill(table, one, "latitude", coords.latitude.toFixed(6));
      fill(table, one, "longitude", coords.longitude.toFixed(6));
      // What a device calls its accuracy holds the place about half of the time; twice that holds it nearly always.
      const radius = Math.ceil(2 * coords.accuracy);
      if (table === "sites") {
        fill(table, one, "datum", "WGS84");
        fill(table, one, "coordinate_uncertainty_m", String(radius));
      }
      say(`Position taken, sure to ${radius} m (twice what the device says).`);
    },
    ({ code }) => {
      // 1: refused, and it will be refused again
      if (code === 1) document.querySelectorAll(".locate").forEach((one) => one.remove());
      say("The device gave no position. Type it, or leave it empty: the site’s own place is used.");
    },
    { enableHighAccuracy: true, timeout: 30000, maximumAge: 0 },
  );
}

function showTwins() {
  document.querySelectorAll(".twins").forEach((one) => one.remove());
  for (const [before, one] of twins()) {
    const names = DATA.tables.finds.map((field) => field.name).filter((name) => before.values[name] || one.values[name]);
    const line = (head, other) => element("tr", {}, element("th", { scope: "row" }, head), ...names.map((name) => element("td", {}, other.values[name] || "")));
    const table = element(
      "table", {},
      element("tr", {}, element("td", {}), ...names.map((name) => element("th", { scope: "col" }, fieldOf("finds", name).title))),
      line(`Find ${before.n}`, before), line(`Find ${one.n}`, one),
    );
    const keepBoth = () => {
      one.sure.twin = before.n;
      keep();
      showTwins();
    };
    const box = element(
      "div", { class: "twins" }, element("p", {}, `Finds ${before.n} and ${one.n} are alike. Typed twice, or two animals?`),
      element("div", { style: "overflow-x:auto" }, table),
      element("div", { class: "repairs" }, button("Two animals: keep both", keepBoth), button(`Typed twice: delete find ${one.n}`, () => remove("finds", one))),
    );
    document.getElementById(`finds-${one.n}`).append(box);
  }
}

function showNothing() {
  const mark = document.getElementById("nothing");
  mark.setAttribute("aria-pressed", String(draft.nothing));
  mark.disabled = draft.finds.some((one) => !isEmpty(one));
}
