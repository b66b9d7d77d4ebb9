// Marking what should change: boxes and points on a picture, drawn with a pointer, a finger, or the keyboard's cross.

const DRAG_PX = 6, STEP = 0.01, LARGE_STEP = 0.05;

class Marking {
  #dialog = byId("marking");
  #stage = byId("marking-stage");
  #pane = this.#stage.querySelector(".pane");
  #image = imageIn(this.#pane);
  #panel = new Panel(this.#dialog, () => this.#image.removeAttribute("src"));
  #answers;
  #item = null;
  #cross = [0.5, 0.5];
  #corner = null;
  #drag = null;
  #keyed = false;

  constructor(answers) {
    this.#answers = answers;
    byId("marking-done").addEventListener("click", () => this.#panel.close());
    byId("marking-undo").addEventListener("click", () => this.#takeBack());
    for (const tool of this.#tools) tool.addEventListener("change", () => this.#letGo());
    this.#image.addEventListener("load", () => this.#lay());
    window.addEventListener("resize", () => this.#dialog.open && this.#lay());
    this.#stage.addEventListener("keydown", (event) => this.#pressed(event));
    this.#dialog.addEventListener("cancel", (event) => {
      if (this.#corner && event.cancelable) event.preventDefault();
      this.#letGo();
    });
    this.#pane.addEventListener("pointerdown", (event) => this.#down(event));
    this.#pane.addEventListener("pointermove", (event) => this.#moved(event));
    this.#pane.addEventListener("pointerup", (event) => this.#up(event));
    this.#pane.addEventListener("pointercancel", () => this.#letGo());
    this.#pane.addEventListener("dragstart", (event) => event.preventDefault());
    answers.onChange(() => this.#dialog.open && this.#draw());
  }

  open(item, giveBack) {
    const one = byItem.get(item);
    this.#item = item;
    [this.#cross, this.#corner, this.#drag, this.#keyed] = [[0.5, 0.5], null, null, false];
    byId("marking-name").textContent = `${one.title}: what should change?`;
    byId("marking-said").textContent = this.#inWords();
    this.#panel.open(giveBack, this.#stage);
    this.#image.alt = openerOf(one).querySelector("img").alt;
    this.#image.src = sourceOf(one);
    this.#lay();
  }

  get #tools() {
    return [...this.#dialog.querySelectorAll("[name=tool]")];
  }

  get #drawsPoints() {
    return this.#tools.find((tool) => tool.checked).value === "point";
  }

  get #spots() {
    return this.#answers.of(this.#item).spots;
  }

  #lay() {
    if (!this.#image.naturalWidth) return;
    this.#image.style.width = `${fittingWidth(this.#stage, this.#image)}px`;
    this.#draw();
  }

  #draw() {
    this.#pane.querySelector(".drawn")?.remove();
    const draft = this.#drag?.moved ? [[...this.#drag.from, ...this.#drag.to]] : [];
    const drawing = spotsOn([...this.#spots, ...draft]);
    if (this.#corner) drawing.append(...shape(this.#corner));
    if (this.#keyed) drawing.append(this.#crossDrawn());
    this.#pane.append(drawing);
    byId("marking-undo").setAttribute("aria-disabled", `${this.#spots.length === 0}`);
  }

  #crossDrawn() {
    const [x, y] = this.#cross;
    return drawn("svg", { x: `${100 * x}%`, y: `${100 * y}%` }, drawn("use", { href: "#cross" }));
  }

  #tell(text) {
    byId("marking-said").textContent = text;
  }

  #inWords() {
    const count = this.#spots.length;
    return count ? `${counted(count, "mark")} on this picture.` : "Nothing is marked yet.";
  }

  #add(spot) {
    if (this.#spots.length >= MOST_SPOTS) {
      this.#tell(`There is room for ${MOST_SPOTS} marks on one picture.`);
      return;
    }
    const fine = spot.map((part) => Math.round(10000 * part) / 10000);
    this.#answers.say(this.#item, { verdict: "change", spots: Object.freeze([...this.#spots, Object.freeze(fine)]) });
    this.#tell(`${spotInWords(fine)}. ${this.#inWords()}`);
  }

  // One corner, then the other; or a point at once.
  #set(at) {
    if (this.#drawsPoints) {
      this.#add(at);
    } else if (!this.#corner) {
      this.#corner = at;
      this.#tell(`One corner is set, ${per(at[0])} across, ${per(at[1])} down. Now the corner across from it.`);
    } else if (this.#corner[0] === at[0] || this.#corner[1] === at[1]) {
      this.#tell("That would be a box without an inside: set the other corner further away, across and down.");
    } else {
      const box = orderly([...this.#corner, ...at]);
      this.#corner = null;
      this.#add(box);
    }
    this.#draw();
  }

  #letGo() {
    [this.#corner, this.#drag] = [null, null];
    if (this.#dialog.open) this.#draw();
  }

  #takeBack() {
    if (this.#spots.length === 0) return;
    this.#answers.say(this.#item, { spots: Object.freeze(this.#spots.slice(0, -1)) });
    this.#tell(this.#inWords());
  }

  #pressed(event) {
    if (event.altKey || event.ctrlKey || event.metaKey) return;
    const way = { ArrowLeft: [-1, 0], ArrowRight: [1, 0], ArrowUp: [0, -1], ArrowDown: [0, 1] }[event.key];
    const sets = event.key === "Enter" || event.key === " ";
    if (!way && !sets) return;
    event.preventDefault();
    this.#keyed = true;
    if (sets) {
      this.#set([...this.#cross]);
      return;
    }
    const step = event.shiftKey ? LARGE_STEP : STEP;
    this.#cross = this.#cross.map((part, axis) => Math.min(1, Math.max(0, Math.round(100 * (part + step * way[axis])) / 100)));
    this.#tell(`Cross at ${per(this.#cross[0])} across, ${per(this.#cross[1])} down.`);
    this.#draw();
  }

  #place(event) {
    const { left, top, width, height } = this.#image.getBoundingClientRect();
    const inside = (part) => Math.min(1, Math.max(0, part));
    return [inside((event.clientX - left) / width), inside((event.clientY - top) / height)];
  }

  #down(event) {
    if (event.button !== 0 || !event.isPrimary) return;
    this.#pane.setPointerCapture(event.pointerId);
    const at = this.#place(event);
    this.#keyed = false;
    this.#drag = { from: at, to: at, x: event.clientX, y: event.clientY, moved: false };
  }

  #moved(event) {
    if (!this.#drag || !event.isPrimary) return;
    this.#drag.to = this.#place(event);
    this.#drag.moved ||= Math.hypot(event.clientX - this.#drag.x, event.clientY - this.#drag.y) > DRAG_PX;
    if (this.#drag.moved) this.#draw();
  }

  #up(event) {
    if (!this.#drag || !event.isPrimary) return;
    const { from, to, moved } = this.#drag;
    this.#drag = null;
    const box = orderly([...from, ...to]);
    if (!moved) this.#set(from);
    else if (box[0] < box[2] && box[1] < box[3]) {
      this.#corner = null;
      this.#add(box);
    }
    this.#draw();
  }
}
