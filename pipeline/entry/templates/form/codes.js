// A field for a code: a few letters find it, by the code, its first letters, or a word of what it means.
const letters = (text) => text.toLowerCase().replace(/[\s_-]+/g, "_");

function matches(list, typed) {
  const asked = letters(typed.trim());
  const rank = ([code, meaning]) => {
    const own = letters(code), words = own.split("_");
    if (own === asked) return 0;
    if (own.startsWith(asked)) return 1;
    if (words.length > 1 && words.map((word) => word[0]).join("").startsWith(asked)) return 2;
    if (words.some((word) => word.startsWith(asked))) return 3;
    return letters(meaning).split("_").some((word) => word.replace(/\W/g, "").startsWith(asked)) ? 4 : 9;
  };
  return list.map((one) => [rank(one), one]).filter(([place]) => place < 9).sort((a, b) => a[0] - b[0]).map(([, one]) => one);
}

// isOpenList: a code that is not in the list may be meant, such as that of a new site.
function withList(input, list, chosen, isOpenList) {
  const shownList = element("ul", { class: "list", role: "listbox", id: input.id + "-list", hidden: "" });
  let found = [], active = 0;
  Object.entries({ role: "combobox", "aria-autocomplete": "list", "aria-expanded": "false", "aria-controls": shownList.id }).forEach(
    ([name, value]) => input.setAttribute(name, value),
  );

  function close() {
    shownList.hidden = true;
    input.setAttribute("aria-expanded", "false");
    input.removeAttribute("aria-activedescendant");
  }

  function open() {
    found = input.value.trim() ? matches(list(), input.value) : list();
    active = 0;
    shownList.replaceChildren(
      ...found.slice(0, 60).map(([code, meaning], place) => {
        const item = element("li", { role: "option", id: `${input.id}-${place}`, "aria-selected": "false" }, code);
        if (meaning) item.append(element("small", {}, meaning));
        item.addEventListener("mousedown", (event) => {
          event.preventDefault();
          pick(place);
        });
        return item;
      }),
    );
    shownList.hidden = !found.length;
    input.setAttribute("aria-expanded", String(Boolean(found.length)));
    mark();
  }

  function mark() {
    [...shownList.children].forEach((item, place) => item.setAttribute("aria-selected", String(place === active)));
    const item = shownList.children[active];
    if (!item) return;
    input.setAttribute("aria-activedescendant", item.id);
    item.scrollIntoView({ block: "nearest" });
  }

  function pick(place) {
    const typed = input.value.trim(), [code, meaning] = found[place];
    input.value = code;
    close();
    chosen();
    if (isOpenList && typed && typed !== code) {
      say(`Taken: ${code}${meaning ? `, ${meaning}` : ""}.`, `No: keep “${typed}”`, () => {
        input.value = typed;
        chosen();
        input.focus();
      });
    }
  }

  input.addEventListener("input", open);
  input.addEventListener("click", () => input.value || open());
  input.addEventListener("blur", () => {
    // A tap elsewhere takes a code only if one alone fits; else the text stays and is asked about: the first of several would be a guess.
    const typed = input.value.trim(), same = isOpenList && typed ? list().filter(([code]) => foldCode(code) === foldCode(typed)) : [];
    if (same.length === 1 && same[0][0] !== typed) {
      // kt-01 is KT-01
      found = same;
      pick(0);
    } else if (!shownList.hidden && typed && found.length === 1) pick(0);
    close();
  });
  input.addEventListener("keydown", (event) => {
    const isOpen = !shownList.hidden;
    if (event.key === "ArrowDown" || event.key === "ArrowUp") {
      event.preventDefault();
      if (!isOpen) return open();
      active = (active + (event.key === "ArrowDown" ? 1 : found.length - 1)) % Math.min(found.length, 60);
      mark();
    } else if (event.key === "Escape" && isOpen) {
      event.preventDefault();
      close();
    } else if ((event.key === "Enter" || event.key === "Tab") && isOpen && input.value.trim()) {
      pick(active);
    }
  });
  return shownList;
}
