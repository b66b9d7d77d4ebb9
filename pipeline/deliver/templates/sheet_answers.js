// What was said: of each frame, by its slug, and of each rendition, by frame/outlet/target. Nothing here touches the page.

const round = JSON.parse(document.getElementById("round").textContent);
const NOTHING = Object.freeze({ verdict: null, note: "", spots: Object.freeze([]) });
const VERDICTS = Object.freeze({ approve: "Approve", change: "Change", "leave-out": "Leave out" });
const MOST_SPOTS = 50, LONGEST_NOTE = 10000, LONGEST_NAME = 200, MOST_STEPS_BACK = 200;

// Keeps one value in this browser, under the round's id; where the browser refuses, it says so and keeps nothing.
class Store {
  #name = `plateline reply ${round.round}`;
  works = true;

  read() {
    try {
      return JSON.parse(localStorage.getItem(this.#name) ?? "null");
    } catch {
      this.works = this.#canWrite();
      return null;
    }
  }

  write(value) {
    try {
      localStorage.setItem(this.#name, JSON.stringify(value));
      this.works = true;
    } catch {
      this.works = false;
    }
  }

  // Whether it can be written to is not known before something is: try with a name of its own.
  #canWrite() {
    try {
      localStorage.setItem(`${this.#name} ?`, "");
      localStorage.removeItem(`${this.#name} ?`);
      return true;
    } catch {
      return false;
    }
  }
}

const isFraction = (part) => typeof part === "number" && part >= 0 && part <= 1;
const isSpot = (spot) => Array.isArray(spot) && (spot.length === 2 || spot.length === 4) && spot.every(isFraction);

// What was kept may be of another hand, or of another edition of this page: take of it only what is sound.
function soundAnswer(found) {
  if (typeof found !== "object" || found === null) return null;
  const verdict = Object.hasOwn(VERDICTS, found.verdict) ? found.verdict : null;
  const note = typeof found.note === "string" ? found.note.slice(0, LONGEST_NOTE) : "";
  const spots = Array.isArray(found.spots) ? found.spots.filter(isSpot).slice(0, MOST_SPOTS) : [];
  return Object.freeze({ verdict, note, spots: Object.freeze(spots) });
}

class Answers {
  #carried = new Map();
  #said = new Map();
  #before = [];
  #step = null;
  #heard = [];

  constructor(carried) {
    for (const [item, found] of Object.entries(carried)) this.#carried.set(item, soundAnswer(found));
  }

  of(item) {
    return this.#said.get(item) ?? this.#carried.get(item) ?? NOTHING;
  }

  // Nothing was said of it yet; it is shown as the last round left it.
  isCarried(item) {
    return this.#carried.has(item) && !this.#said.has(item);
  }

  get canStepBack() {
    return this.#before.length > 0;
  }

  get saidAnything() {
    return this.#said.size > 0;
  }

  // Change what is said of an item. Changes of one `step` in a row (the letters of a note) are taken back together.
  say(item, change, step = null) {
    if (step === null || step !== this.#step) this.#remember();
    this.#step = step;
    this.#said.set(item, Object.freeze({ ...this.of(item), ...change }));
    this.#tell([item]);
  }

  forget() {
    const items = [...this.#said.keys()];
    this.#remember();
    this.#step = null;
    this.#said = new Map();
    this.#tell(items);
  }

  // Return the items that stand as they did before the last change.
  stepBack() {
    const now = this.#said;
    const before = this.#before.pop();
    if (!before) return [];
    this.#step = null;
    this.#said = before;
    const items = [...new Set([...now.keys(), ...before.keys()])].filter((item) => now.get(item) !== before.get(item));
    this.#tell(items);
    return items;
  }

  onChange(listener) {
    this.#heard.push(listener);
  }

  toKeep() {
    return Object.fromEntries(this.#said);
  }

  takeKept(kept, items) {
    if (typeof kept !== "object" || kept === null) return;
    for (const item of items) {
      const found = Object.hasOwn(kept, item) ? soundAnswer(kept[item]) : null;
      if (found) this.#said.set(item, found);
    }
  }

  #remember() {
    this.#before.push(new Map(this.#said));
    if (this.#before.length > MOST_STEPS_BACK) this.#before.shift();
  }

  #tell(items) {
    for (const listener of this.#heard) listener(items);
  }
}
