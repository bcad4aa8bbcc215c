// Finds on a small screen: a line each, and one of them open.
const isSmall = () => window.matchMedia("(max-width: 40rem)").matches;

function onLand(one) {
  return ["land", "edge", "surface"].includes(DATA.media[letters((one.values.microhabitat || "").trim())]);
}

function isUsual(field, one) {
  // The five, what is filled in, and what the find before noted too: a survey that measures each animal is asked for it each time.
  if (field.name === "water_temp_c" || field.name === "substrate_temp_c") {
    if (!(one.values[field.name] || "").trim()) return (field.name === "substrate_temp_c") === onLand(one);
    return true;
  }
  const before = draft.finds[draft.finds.indexOf(one) - 1];
  return DATA.usual.includes(field.name) || [one, before].some((other) => other && (other.values[field.name] || "").trim());
}

function refreshUsual(one) {
  const box = document.getElementById(`finds-${one.n}`);
  if (!box) return;
  for (const field of DATA.tables.finds) {
    const part = box.querySelector(`[data-field="${field.name}"]`);
    if (part && !part.contains(document.activeElement)) part.classList.toggle("usual", isUsual(field, one));
  }
}

function openFind(n) {
  draft.open = n;
  for (const one of draft.finds) {
    const box = document.getElementById(`finds-${one.n}`);
    if (box) box.classList.toggle("folded", one.n !== n);
  }
  listFinds();
}

function wordsOf(one) {
  const { taxon, life_stage, count, microhabitat } = one.values;
  const reading = ["water_temp_c", "substrate_temp_c"].filter((name) => (one.values[name] || "").trim()).map((name) => `${fieldOf("finds", name).title.toLowerCase()} ${textOf(fieldOf("finds", name), one)}`);
  const size = (one.values.svl_mm || "").trim() ? [`SVL ${textOf(fieldOf("finds", "svl_mm"), one)}`] : [];
  return [`${count || "?"} ${taxon || "?"} ${life_stage || "?"}`, microhabitat || "where?", ...reading, ...size].join(" · ");
}

function markOf(one) {
  const found = DATA.tables.finds.map((field) => judged("finds", field, one)).filter(Boolean);
  const box = document.getElementById(`finds-${one.n}`);
  const served = box ? [...box.querySelectorAll(".server.held, .server.flag")] : [];
  if (found.some((each) => each.stop) || served.some((each) => each.classList.contains("held"))) return "✗ ";
  return found.length || served.length || (box && box.querySelector(".twins")) ? "? " : "";
}

function listFinds() {
  // Lines are written over and not made anew: leaving a field redraws them, and the tap that left it may be on one of them.
  const list = document.getElementById("find-list");
  const lines = new Map([...list.children].map((line) => [Number(line.dataset.n), line]));
  for (const one of draft.finds) {
    const line = lines.get(one.n) || list.appendChild(lineOf(one.n));
    lines.delete(one.n);
    const words = `${markOf(one)}${one.n}: ${wordsOf(one)}`, shownLine = line.firstChild;
    if (shownLine.textContent !== words) shownLine.textContent = words;
    shownLine.setAttribute("aria-pressed", String(one.n === draft.open));
  }
  lines.forEach((line) => line.remove());
  draft.finds.forEach((one, place) => {
    const line = list.querySelector(`[data-n="${one.n}"]`);
    if (list.children[place] !== line) list.insertBefore(line, list.children[place]);
  });
  document.getElementById("same-find").hidden = !draft.finds.length;
  document.getElementById("nothing").hidden = draft.finds.some((one) => !isEmpty(one));
}

function lineOf(n) {
  const open = () => {
    openFind(n);
    const one = draft.finds.find((each) => each.n === n);
    if (one) showCard("finds", one);
  };
  return element("li", { "data-n": String(n) }, button("", open, { tabindex: "-1" }));
}

function showCard(table, one) {
  const box = document.getElementById(`${table}-${one.n}`);
  if (box && isSmall()) box.scrollIntoView({ block: "start" });
}
