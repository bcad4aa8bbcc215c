// The page comes alive.
lapse();
draw();
on("add-find", () => add("finds"));
on("same-find", sameAgain);
on("add-point", () => add("availability"));
on("nothing", () => {
  draft.nothing = !draft.nothing;
  if (draft.nothing) draft.finds = draft.finds.filter((one) => !isEmpty(one));
  keep();
  draw();
  if (draft.nothing && byThumb()) document.getElementById("end-head").scrollIntoView({ block: "start" });
  const looked = (draft.visit.values.target_taxa || "").trim();
  if (draft.nothing && !looked) say("Tick the taxa that you looked for: without them the visit says of none that it was absent.");
});
on("back", bringBack);
on("open", () => document.getElementById("file").click());
document.getElementById("file").addEventListener("change", (event) => {
  const [file] = event.target.files;
  if (file) file.text().then((text) => openText(text, file.name));
  event.target.value = "";
});
on("save", save);
on("new", startNew);
on("load", loadNow);
document.getElementById("load").hidden = !SERVED;
if (SERVED) document.getElementById("save").classList.remove("main");
if (!store) {
  const notice = document.getElementById("storage");
  notice.hidden = false;
  notice.textContent = "This browser keeps no draft. Each find is saved to a file when you add the next; take the last file. Paper is the fallback.";
}
document.querySelector(".cautions").open = isEmpty(draft.visit);
askServer();
