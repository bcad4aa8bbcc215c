// Elements of a page, and the line at its bottom.
function element(tag, attributes, ...children) {
  const made = document.createElement(tag);
  for (const [name, value] of Object.entries(attributes || {})) made.setAttribute(name, value);
  made.append(...children);
  return made;
}

function button(words, action, attributes) {
  const made = element("button", { type: "button", ...attributes }, words);
  made.addEventListener("click", action);
  return made;
}

const byThumb = () => window.matchMedia("(pointer: coarse)").matches;

function say(words, doing, action) {
  const line = document.getElementById("say");
  line.replaceChildren(element("span", {}, words));
  if (doing) {
    line.append(
      button(doing, () => {
        line.replaceChildren();
        action();
      }),
    );
  }
}

function on(id, action) {
  document.getElementById(id).addEventListener("click", action);
}

function chooseUnits(block) {
  for (const [name, what] of [["unit-temp", "temp"], ["unit-length", "length"]]) {
    block.querySelectorAll(`input[name=${name}]`).forEach((choice) =>
      choice.addEventListener("change", () => {
        draft.units[what] = choice.value;
        keep();
        summarise();
        for (const table of Object.keys(DATA.tables)) {
          for (const one of rowsOf(table)) DATA.tables[table].forEach((field) => refresh(table, one, field.name, true));
        }
      }),
    );
  }
}
