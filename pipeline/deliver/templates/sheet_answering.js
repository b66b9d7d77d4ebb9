// The boxes to tick beside each frame: what they say goes into the answers, what the answers hold is shown in them.

class Answering {
  #answers;
  #mark;

  constructor(answers, mark) {
    this.#answers = answers;
    this.#mark = mark;
    for (const frame of frames) frame.place.querySelector(".answer").dataset.item = frame.item;
    const main = document.querySelector("main");
    main.addEventListener("change", (event) => this.#ticked(event));
    main.addEventListener("input", (event) => this.#written(event));
    main.addEventListener("click", (event) => this.#pressed(event));
    answers.onChange((items) => items.forEach((item) => this.show(item)));
  }

  show(item) {
    const one = byItem.get(item);
    const answer = this.#answers.of(item);
    this.#drawSpots(one, answer);
    const box = this.#boxOf(one, answer);
    if (!box) return;
    for (const choice of box.querySelectorAll("input[type=radio]")) choice.checked = choice.value === answer.verdict;
    this.#showMore(box, item, answer);
  }

  #boxOf(one, answer) {
    const place = one.about ? one.place.querySelector(".words") : one.place.querySelector(".beside");
    const box = place.querySelector(":scope > .answer");
    if (!one.about || box || saysNothing(answer)) return box;
    return this.#openBox(one);
  }

  // A rendition is answered with its frame, until somebody wants to answer it alone.
  #openBox(one) {
    const box = frames[one.number - 1].place.querySelector(".beside > .answer").cloneNode(true);
    box.querySelector(".more")?.remove();
    box.dataset.item = one.item;
    box.querySelector("legend").textContent = `Your answer to ${one.about.rendition} alone`;
    for (const choice of box.querySelectorAll("input[type=radio]")) {
      choice.name = one.place.id;
      choice.checked = false;
    }
    const button = one.place.querySelector("button.alone");
    button.before(box);
    button.hidden = true;
    return box;
  }

  #closeBox(one) {
    one.place.querySelector(".words > .answer")?.remove();
    const button = one.place.querySelector("button.alone");
    button.hidden = false;
    return button;
  }

  #showMore(box, item, answer) {
    let more = box.querySelector(".more");
    if (answer.verdict === null) {
      more?.remove();
      return;
    }
    if (!more) {
      more = byId("more").content.firstElementChild.cloneNode(true);
      box.append(more);
    }
    more.querySelector(".carried").hidden = !this.#answers.isCarried(item);
    const note = more.querySelector("textarea");
    if (note.value !== answer.note) note.value = answer.note;
    const changes = answer.verdict === "change";
    more.querySelector(".mark").hidden = !changes;
    const list = more.querySelector(".spots");
    list.hidden = !changes || answer.spots.length === 0;
    list.replaceChildren(...answer.spots.map((spot, at) => this.#spotLine(spot, at)));
  }

  #spotLine(spot, at) {
    const naming = { class: "take-back", "data-at": `${at}`, "aria-label": `Take back mark ${at + 1}` };
    const back = element("button", { type: "button", ...naming }, "Take back");
    return element("li", {}, `${at + 1}. ${spotInWords(spot)} `, back);
  }

  #drawSpots(one, answer) {
    one.print?.querySelector(".drawn")?.remove();
    if (one.print && answer.verdict === "change" && answer.spots.length) one.print.append(spotsOn(answer.spots));
  }

  #ticked(event) {
    const box = event.target.closest(".answer");
    if (!box || event.target.type !== "radio") return;
    const item = box.dataset.item;
    this.#answers.say(item, { verdict: event.target.value });
    said(`${byItem.get(item).title}: ${VERDICTS[event.target.value]}. ${openInWords(this.#answers)}`);
  }

  #written(event) {
    const box = event.target.closest(".answer");
    if (box && event.target.matches("textarea")) this.#answers.say(box.dataset.item, { note: event.target.value }, `note ${box.dataset.item}`);
  }

  #pressed(event) {
    const button = event.target.closest("button");
    if (!button) return;
    if (button.matches(".alone")) {
      const one = byItem.get(`${button.closest(".frame").dataset.frame}/${button.closest(".card").dataset.rendition}`);
      this.#openBox(one).querySelector("input").focus();
      return;
    }
    const item = button.closest(".answer")?.dataset.item;
    if (!item) return;
    if (button.matches(".mark")) this.#mark(item, button);
    if (button.matches(".take-back")) this.#takeBack(item, Number(button.dataset.at));
    if (button.matches(".clear")) this.#clear(item);
  }

  #takeBack(item, at) {
    const spots = this.#answers.of(item).spots.filter((_, index) => index !== at);
    const box = byItem.get(item).place.querySelector(".answer");
    this.#answers.say(item, { spots });
    box.querySelector(".mark").focus();
    said(`Mark ${at + 1} is taken back.`);
  }

  #clear(item) {
    const one = byItem.get(item);
    this.#answers.say(item, NOTHING);
    const next = one.about ? this.#closeBox(one) : one.place.querySelector(".answer input");
    next.focus();
    said(`${one.title} is open again. ${openInWords(this.#answers)}`);
  }
}

const saysNothing = ({ verdict, note, spots }) => verdict === null && note === "" && spots.length === 0;

// A frame is open until it is answered itself, or each of its renditions is.
function isOpen(answers, frame) {
  if (answers.of(frame.item).verdict !== null) return false;
  return frame.cards.length === 0 || frame.cards.some((card) => answers.of(card.item).verdict === null);
}

const openFrames = (answers) => frames.filter((frame) => isOpen(answers, frame));

function openInWords(answers) {
  const open = openFrames(answers).length;
  if (open === 0) return "Every frame is answered.";
  return `${open} of ${counted(frames.length, "frame")} ${open === 1 ? "is" : "are"} open.`;
}
