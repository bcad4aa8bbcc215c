// A saved visit comes back into the form, each text as it stands in the file.
function openText(text, name) {
  let found = null;
  try {
    found = JSON.parse(text.replace(/^\uFEFF/, ""));
  } catch (problem) {
    return say(`${name} cannot be opened: it is no survey that this form saved, or it is cut off.`);
  }
  if (!found || found.format !== "rillbook survey" || String(found.version) !== "1") return say(`${name} is no survey that this form saved.`);
  if ((found.visits || []).length !== 1) return say(`${name} does not hold one visit. Load it into the book as it is.`);
  const before = draft;
  draft = emptyDraft(before.units);
  draft.who = before.who || "";
  draft.past = before.past || null;
  draft.visit = rowFrom("visits", found.visits[0], 0);
  draft.code = draft.visit.values.visit_id || "";
  if ((found.sites || []).length) draft.site = rowFrom("sites", found.sites[0], 0);
  const numbers = {};
  for (const [table, key] of [["finds", "find_id"], ["availability", "point_id"]]) {
    for (const values of found[table] || []) {
      const one = rowFrom(table, values, draft.next++);
      one.code = String(values[key] || "");
      numbers[`${table} ${one.code}`] = one.n;
      draft[table].push(one);
    }
  }
  for (const told of found.corrections || []) {
    const n = told.table === "visits" || told.table === "sites" ? 0 : numbers[`${told.table} ${told.row_key}`];
    if (n !== undefined) draft.corrections.push({ ...told, n });
  }
  draft.nothing = !draft.finds.length;
  keepQuietly();
  draw();
  listThem([]);
  say(`${name} is open. Save it again when it is mended.`, "Bring the last visit back", () => {
    draft = before;
    keepQuietly();
    draw();
  });
  askServer();
}

function rowFrom(table, values, n) {
  const made = row(n);
  for (const field of DATA.tables[table]) if (values[field.name] !== undefined) made.values[field.name] = String(values[field.name]);
  for (const field of DATA.tables[table]) if (made.values[field.name] && keptUnit(field)) made.unit[field.name] = keptUnit(field);
  return made;
}
