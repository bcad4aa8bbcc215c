// What is the visit's own about saving: whether nothing was found, and the visit after it.
function noFinds() {
  return !draft.nothing && draft.finds.every(isEmpty);
}

function askNothing(then) {
  const list = document.getElementById("list");
  const yes = button("Nothing found", () => {
    draft.nothing = true;
    keep();
    showNothing();
    list.replaceChildren();
    then();
  });
  list.replaceChildren(element("p", {}, "No find is entered. Was nothing found, or is it not all typed yet?"), yes);
  list.focus();
}

function startNew() {
  const before = draft;
  if (before.saved && before.code && !DATA.visits.includes(before.code)) DATA.visits.push(before.code);
  const unsaved = !draft.saved && (!isEmpty(draft.visit) || draft.finds.length);
  draft = emptyDraft(before.units);
  carryEvening(before);
  keepQuietly();
  draw();
  listThem([]);
  say(unsaved ? "A new visit. The one before was not saved." : "A new visit.", "Bring the last visit back", () => {
    draft = before;
    keepQuietly();
    draw();
  });
  window.scrollTo(0, 0);
  if (!byThumb()) focusOn("visits", draft.visit, draft.folded ? "site_id" : DATA.first.visits[0]);
}

function halts(then) {
  if (!noFinds()) return false;
  askNothing(then);
  return true;
}

function problemsShown() {
  listFinds();
}

function rowsSent() {
  const kept = (table) => draft[table].filter((one) => !isEmpty(one));
  return { sites: rowsOf("sites"), visits: [draft.visit], finds: kept("finds"), availability: kept("availability") };
}
