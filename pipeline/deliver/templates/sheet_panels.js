// The frames as they stand on the page, and what panels over it have in common.

const byId = (id) => document.getElementById(id);
const per = (fraction) => `${Math.round(100 * fraction)} %`;
const counted = (number, noun) => `${number} ${noun}${number === 1 ? "" : "s"}`;
const SVG = "http://www.w3.org/2000/svg";

function element(name, attributes = {}, ...children) {
  const made = document.createElement(name);
  for (const [key, value] of Object.entries(attributes)) made.setAttribute(key, value);
  made.append(...children);
  return made;
}

function drawn(name, attributes, ...children) {
  const made = document.createElementNS(SVG, name);
  for (const [key, value] of Object.entries(attributes)) made.setAttribute(key, value);
  made.append(...children);
  return made;
}

const isSeen = (place) => place.getClientRects().length > 0;
const said = (text) => {
  byId("aloud").textContent = text;
};

// Every frame and rendition: what it is called, where it stands, what is known of its picture.
const frames = [...document.querySelectorAll("main > .frame")].map((article, at) => {
  const number = at + 1;
  const { frame, renditions } = round.frames[at];
  const name = `Frame ${number}`;
  const whole = { item: frame, frame, number, name, title: name, place: article, print: article.querySelector(".whole > .print") };
  const known = new Map(renditions.map((one) => [one.rendition, one]));
  const cards = [...article.querySelectorAll(".card")]
    .filter((card) => known.has(card.dataset.rendition))
    .map((card) => {
      const about = known.get(card.dataset.rendition);
      const title = `${name}, ${about.rendition}`;
      return { item: `${frame}/${about.rendition}`, frame, number, name, title, about, place: card, print: card.querySelector(".print") };
    });
  return { ...whole, article, cards, heading: article.querySelector("h2 bdi").textContent };
});
const all = frames.flatMap((frame) => [frame, ...frame.cards]);
const byItem = new Map(all.map((one) => [one.item, one]));

// Where the page shows the picture of an item, and the address of the largest one there is.
const openerOf = (one) => one.print?.querySelector(".open") ?? null;
function sourceOf(one) {
  const opener = openerOf(one);
  const image = opener.querySelector("img");
  return opener.href ?? (image.currentSrc || image.src);
}

// Back, or a phone's gesture for it, closes the panel that is open and leaves the page where it is: while one is open the
// browser's history has a step more. Closed in another way, the panel takes that step back itself.
class StepBack {
  #open = null;
  #returns = false;

  constructor() {
    window.addEventListener("popstate", () => this.#stepped());
    if (this.#isAhead) history.back(); // the page was loaded anew while a panel was open
  }

  get #isAhead() {
    return history.state?.panel === true;
  }

  opened(panel) {
    this.#open = panel;
    if (!this.#isAhead) this.#ahead();
  }

  closed(panel) {
    if (this.#open !== panel) return; // another has opened in its place
    this.#open = null;
    if (!this.#isAhead || this.#returns) return;
    this.#returns = true;
    history.back();
  }

  // Going back must not scroll the page: the picture last looked at is where the reader is now. Where a browser allows
  // no step ahead, Back leaves the page as ever.
  #ahead() {
    try {
      history.scrollRestoration = "manual";
      history.pushState({ panel: true }, "");
    } catch {
      history.scrollRestoration = "auto";
    }
  }

  #stepped() {
    const returned = this.#returns;
    this.#returns = false;
    if (this.#isAhead) return;
    if (this.#open === null) history.scrollRestoration = "auto";
    else if (returned) this.#ahead();
    else this.#open.close();
  }
}

const stepBack = new StepBack();

// A panel over the page: what is behind it cannot be reached, Tab stays in it, and closing it gives the focus back.
class Panel {
  #giveBack = null;

  constructor(dialog, whenClosed) {
    this.dialog = dialog;
    dialog.addEventListener("close", () => {
      whenClosed();
      stepBack.closed(this);
      this.#giveBack?.focus();
    });
    dialog.addEventListener("keydown", (event) => {
      if (event.key === "Tab") this.#turnRound(event);
    });
  }

  open(giveBack, focus) {
    this.#giveBack = giveBack;
    this.dialog.showModal();
    stepBack.opened(this);
    focus.focus();
  }

  giveBackTo(place) {
    this.#giveBack = place;
  }

  close() {
    this.dialog.close();
  }

  #turnRound(event) {
    const reachable = [...this.dialog.querySelectorAll("button, input, [tabindex='0']")].filter(isSeen);
    const [first, last] = [reachable[0], reachable.at(-1)];
    const [from, to] = event.shiftKey ? [first, last] : [last, first];
    if (document.activeElement !== from) return;
    event.preventDefault();
    to.focus();
  }
}

function imageIn(pane) {
  const image = element("img", { alt: "" });
  pane.prepend(image);
  return image;
}

// How wide a picture is shown so that all of it is seen, never larger than it is.
function fittingWidth(stage, image) {
  const ratio = image.naturalWidth / image.naturalHeight || 1;
  return Math.max(1, Math.floor(Math.min(stage.clientWidth, stage.clientHeight * ratio, image.naturalWidth)));
}

// What was drawn on a picture: white lines with a dark edge, numbered as in the list beside it.
function spotsOn(spots) {
  const shapes = spots.flatMap((spot, at) => {
    const [left, top] = [Math.min(spot[0], spot[2] ?? spot[0]), Math.min(spot[1], spot[3] ?? spot[1])];
    const number = drawn("text", { "paint-order": "stroke", x: `${100 * left}%`, y: `${100 * top}%`, dx: spot.length === 2 ? 16 : 5, dy: spot.length === 2 ? 5 : 17 });
    number.textContent = `${at + 1}`;
    return [...shape(spot), number];
  });
  return drawn("svg", { class: "over drawn", "aria-hidden": "true" }, ...shapes);
}

function shape(spot) {
  if (spot.length === 2) {
    const ring = drawn("svg", { x: `${100 * spot[0]}%`, y: `${100 * spot[1]}%` }, drawn("use", { href: "#ring" }));
    return [ring];
  }
  const [left, top, right, bottom] = orderly(spot);
  const sides = { x: `${100 * left}%`, y: `${100 * top}%`, width: `${100 * (right - left)}%`, height: `${100 * (bottom - top)}%` };
  return [drawn("rect", { class: "halo", ...sides }), drawn("rect", { class: "spot", ...sides })];
}

const orderly = ([x1, y1, x2, y2]) => [Math.min(x1, x2), Math.min(y1, y2), Math.max(x1, x2), Math.max(y1, y2)];

function spotInWords(spot) {
  if (spot.length === 2) return `A point, ${per(spot[0])} across, ${per(spot[1])} down`;
  const [left, top, right, bottom] = orderly(spot);
  return `A box, ${per(left)} to ${per(right)} across, ${per(top)} to ${per(bottom)} down`;
}
