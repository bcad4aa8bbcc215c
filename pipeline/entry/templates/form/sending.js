// Before and after saving: what is not right yet, a file of one's own, or a load into the book where the form is served.
function unfinished() {
  const found = [];
  for (const table of TABLES) {
    for (const one of rowsOf(table)) {
      if (table !== "visits" && isEmpty(one)) continue;
      const name = nameOf(table, one);
      for (const field of DATA.tables[table]) {
        const text = (one.values[field.name] || "").trim(), made = isMade(table, field);
        if (field.required && !text && !made) found.push({ table, one, field, words: `${name}: ${field.title} is needed.` });
        const against = text && judged(table, field, one);
        if (against && against.stop) found.push({ table, one, field, words: `${name}, ${field.title}: ${against.stop}` });
      }
    }
  }
  if (draft.corrections.some((told) => !told.who) && !draft.who) {
    found.push({ id: "who", words: "Who repaired it is needed: the repairs bear no name." });
  }
  return found;
}

function listThem(found, go) {
  const list = document.getElementById("list");
  if (!found.length) return list.replaceChildren();
  const lines = found.map(({ table, one, field, words, id }) => {
    const link = element("a", { href: "#" + (id || idOf(table, one, field.name)) }, words);
    link.addEventListener("click", (event) => {
      event.preventDefault();
      if (id) openWho();
      else focusOn(table, one, field.name);
    });
    return element("li", {}, link);
  });
  const parts = [element("p", {}, `${found.length === 1 ? "One thing is" : found.length + " things are"} not right yet:`), element("ul", {}, ...lines)];
  if (go) parts.push(button("Save all the same: it waits in the book until it is mended", go));
  list.replaceChildren(...parts);
  list.focus();
}

function openWho() {
  const input = document.getElementById("who");
  const more = input.closest(".more");
  if (more) more.dispatchEvent(new CustomEvent("unfold"));
  input.focus();
}

function openQuestions() {
  const found = [];
  for (const table of TABLES) {
    for (const one of rowsOf(table)) {
      const name = nameOf(table, one);
      for (const field of DATA.tables[table]) {
        const against = judged(table, field, one);
        if (against) found.push([`${name}, ${field.title}`, table, one, field.name]);
      }
    }
  }
  return found;
}

function linkTo(words, table, one, name) {
  const link = element("a", { href: "#" + idOf(table, one, name), tabindex: "-1" }, words);
  link.addEventListener("click", (event) => {
    event.preventDefault();
    focusOn(table, one, name);
  });
  return link;
}

function save() {
  const found = unfinished();
  if (found.length) return listThem(found, () => saveFile("Saved."));
  if (halts(save)) return;
  listThem([]);
  saveFile("Saved.");
}

function saveFile(words) {
  giveCodes();
  const text = JSON.stringify(documentNow(), null, 1) + "\n";
  const link = element("a", { download: fileName(), href: URL.createObjectURL(new Blob([text], { type: "application/json" })) });
  document.body.append(link);
  link.click();
  link.remove();
  setTimeout(() => URL.revokeObjectURL(link.href), 60000);
  draft.saved = true;
  keepQuietly();
  say(`${words} File ${link.download}; take it in with: rillbook load ${link.download}`);
}

// --- served

let waiting = 0, asked = 0;

function post(path, body) {
  const headers = { "Content-Type": "application/json", "X-Rillbook-Token": SERVED.token };
  return fetch(path, { method: "POST", headers, body: JSON.stringify(body) }).then((answer) => answer.json());
}

function askServer() {
  if (!SERVED) return;
  clearTimeout(waiting);
  waiting = setTimeout(() => {
    const mine = ++asked, rows = rowsSent();
    post("check", documentNow())
      .then((answer) => mine === asked && showProblems(answer, rows))
      .catch(() => say("The book does not answer. What you type stays in the browser; save it to a file if it stays so."));
  }, 600);
}

function showProblems(answer, rows) {
  document.querySelectorAll(".server").forEach((one) => {
    one.textContent = "";
    one.className = "told server";
  });
  const elsewhere = [];
  for (const problem of answer.problems || []) {
    const one = rows[problem.table] && rows[problem.table][problem.row];
    const told = one && document.getElementById(idOf(problem.table, one, problem.field) + "-server");
    const words = `${problem.message} ${problem.remedy}`;
    if (!told) {
      elsewhere.push(words);
      continue;
    }
    const more = told.closest(".more");
    if (more && more.hidden) more.dispatchEvent(new CustomEvent("unfold"));
    // What is missing is said when it is sent; while typing, everything is missing at first.
    if (problem.rule === "required_missing" || (answer.loaded === undefined && !(one.values[problem.field] || "").trim())) continue;
    told.classList.add(problem.effect.startsWith("hold") ? "held" : "flag");
    told.append(element("div", {}, (problem.effect.startsWith("hold") ? "✗ " : "? ") + words));
    const repairs = DATA.rules[problem.rule] ? repairsOf(problem.rule, problem.table, one) : [];
    if (repairs.length) told.append(element("div", { class: "repairs" }, ...repairs.map((each) => button(each.words, () => mend(problem.table, one, each)))));
  }
  problemsShown();
  document.getElementById("good-rows").hidden = Boolean(answer.clean);
  if (answer.message) elsewhere.push(answer.message);
  document.getElementById("list").replaceChildren(...elsewhere.map((words) => element("p", { class: "told" }, words)));
}

function loadNow() {
  if (halts(loadNow)) return;
  const goodRows = document.getElementById("send-good-rows").checked && !document.getElementById("good-rows").hidden;
  const found = unfinished();
  if (found.length && !goodRows) {
    document.getElementById("good-rows").hidden = false;
    return listThem(found);
  }
  giveCodes();
  const rows = rowsSent();
  say("Loading …");
  post("load", { document: documentNow(), send_good_rows: goodRows })
    .then((answer) => {
      showProblems({ ...answer, clean: answer.loaded, message: "" }, rows);
      if (answer.loaded) {
        draft.saved = true;
        keepQuietly();
        listThem([]);
      }
      say(answer.message || (answer.loaded ? "Loaded." : "Not loaded."));
    })
    .catch(() => say("The book does not answer. Nothing is lost: save it to a file."));
}
