// What ties the parts together: what is kept, what is still open, what is shown, and taking back.

const store = new Store();
const answers = new Answers(round.carried);
const marking = new Marking(answers);
const answering = new Answering(answers, (item, button) => marking.open(item, button));
new Viewer((item, opener) => marking.open(item, opener));
const form = new ReplyForm(answers, store);

function tellIfKept() {
  if (!store.works) byId("kept").textContent = "This browser keeps nothing for this page: save or copy your reply before you close it.";
}

// Which frame comes next among those that are open: the first one behind where the reader is.
function nextOpen() {
  const open = openFrames(answers);
  const behind = open.find((frame) => frame.article.hidden || frame.article.getBoundingClientRect().top > 80);
  return behind ?? open[0] ?? null;
}

function showWhatIsOpen() {
  const open = openFrames(answers);
  byId("open-count").textContent = `${open.length} of ${frames.length} open`;
  byId("next-open").hidden = open.length === 0;
  const numbers = open.slice(0, 12).map((frame) => frame.number);
  const more = open.length > numbers.length ? " and more" : "";
  byId("still-open").textContent = open.length ? `Still open: ${numbers.join(", ")}${more}. You can send it as it is.` : "Every frame is answered.";
  byId("undo").disabled = !answers.canStepBack;
  byId("forget").disabled = !answers.saidAnything;
}

const contents = [...document.querySelectorAll(".contents .said")];
function showInContents(item) {
  const frame = frames[byItem.get(item).number - 1];
  const { verdict } = answers.of(frame.item);
  contents[frame.number - 1].textContent = verdict ? VERDICTS[verdict] : isOpen(answers, frame) ? "open" : "answered print by print";
}

function undo() {
  const items = answers.stepBack();
  if (items.length === 0) return;
  const [first] = items;
  const what = items.length === 1 ? `${byItem.get(first).title} is as it was.` : "All of it is as it was.";
  said(`${what} ${openInWords(answers)}`);
}

const choosers = ["by-outlet", "by-view", "by-answer"].map(byId).filter((one) => one !== null);
const chosen = (id) => byId(id)?.value ?? "";
function showChosen() {
  const [outlet, view, answer] = [chosen("by-outlet"), chosen("by-view"), chosen("by-answer")];
  let shown = 0;
  for (const frame of frames) {
    const sections = [...frame.article.querySelectorAll("section[data-outlet]")];
    for (const section of sections) section.hidden = outlet !== "" && section.dataset.outlet !== outlet;
    const isShown =
      (outlet === "" || sections.some((section) => !section.hidden)) &&
      (view === "" || frame.article.dataset.view === view) &&
      (answer === "" || (answer === "open" ? isOpen(answers, frame) : answers.of(frame.item).verdict === answer));
    frame.article.hidden = !isShown;
    contents[frame.number - 1].closest("li").hidden = !isShown;
    shown += isShown;
  }
  byId("found").textContent = outlet || view || answer ? `${shown} of ${counted(frames.length, "frame")}` : "";
}

function showEverything() {
  for (const one of choosers) one.value = "";
  showChosen();
}

answers.onChange((items) => {
  form.keep();
  tellIfKept();
  items.forEach(showInContents);
  showWhatIsOpen();
});
for (const one of choosers) {
  one.value = "";
  one.addEventListener("change", showChosen);
}
byId("undo").addEventListener("click", undo);
byId("forget").addEventListener("click", () => {
  answers.forget();
  said("Every answer is cleared; Undo brings them back.");
});
document.addEventListener("keydown", (event) => {
  const asked = event.key.toLowerCase() === "z" && (event.ctrlKey || event.metaKey) && !event.shiftKey && !event.altKey;
  if (!asked || event.target.matches("textarea, input:not([type=radio], [type=checkbox])")) return;
  event.preventDefault();
  undo();
});
byId("next-open").addEventListener("click", (event) => {
  const next = nextOpen();
  event.preventDefault();
  if (!next) return;
  if (next.article.hidden) showEverything();
  next.article.scrollIntoView();
  next.article.querySelector(".answer input").focus({ preventScroll: true });
});
window.addEventListener("beforeprint", () => {
  for (const image of document.images) image.loading = "eager";
});

const AT_ONCE = 100;
const inPauses = window.requestIdleCallback ?? ((work) => setTimeout(work, 30));
function layOut(waiting) {
  for (const article of waiting.splice(0, AT_ONCE)) article.classList.add("laid");
  if (waiting.length) inPauses(() => layOut(waiting));
}
window.addEventListener("load", () => inPauses(() => layOut(frames.map((frame) => frame.article))));

const kept = store.read();
answers.takeKept(kept?.answers, byItem.keys());
if (typeof kept?.reviewer === "string") byId("reviewer").value = kept.reviewer.slice(0, LONGEST_NAME);
for (const { item } of all) {
  if (saysNothing(answers.of(item))) continue;
  answering.show(item);
  showInContents(item);
}
tellIfKept();
showWhatIsOpen();
