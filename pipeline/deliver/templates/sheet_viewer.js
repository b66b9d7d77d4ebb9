// The pictures large, one after the other: at 100 % (one of its pixels a CSS pixel), whole, or as wide as on a phone.

class Viewer {
  #dialog = byId("viewer");
  #stage = byId("viewer-stage");
  #pane = this.#stage.querySelector(".pane");
  #image = imageIn(this.#pane);
  #shade = this.#pane.querySelector("path");
  #sizes = [...this.#dialog.querySelectorAll("[data-size]")];
  #panel = new Panel(this.#dialog, () => this.#image.removeAttribute("src"));
  #row = [];
  #at = 0;
  #size = "full";

  constructor(change) {
    document.querySelector("main").addEventListener("click", (event) => this.#opened(event));
    byId("viewer-previous").addEventListener("click", () => this.#step(-1));
    byId("viewer-next").addEventListener("click", () => this.#step(1));
    byId("viewer-close").addEventListener("click", () => this.#panel.close());
    byId("viewer-change").addEventListener("click", () => this.#ask(change));
    for (const button of this.#sizes) button.addEventListener("click", () => this.#choose(button.dataset.size));
    this.#dialog.addEventListener("keydown", (event) => this.#pressed(event));
    this.#image.addEventListener("load", () => this.#lay());
    this.#image.addEventListener("error", () => {
      byId("viewer-size").textContent = "The picture is not beside this page: open the page in the folder it came in.";
    });
    window.addEventListener("resize", () => this.#dialog.open && this.#lay());
    dragToMove(this.#stage);
    this.#swipe();
  }

  #opened(event) {
    const opener = event.target.closest(".open");
    if (!opener || event.ctrlKey || event.metaKey || event.shiftKey) return;
    event.preventDefault();
    this.#row = all.filter((one) => openerOf(one)?.closest("[hidden]") === null);
    this.#size = "full";
    this.#panel.open(opener, byId("viewer-next"));
    this.#show(this.#row.findIndex((one) => openerOf(one) === opener));
  }

  get #one() {
    return this.#row[this.#at];
  }

  #show(at) {
    this.#at = at;
    const one = this.#one;
    const heading = frames[one.number - 1].heading;
    byId("viewer-name").textContent = `${one.number} ${heading}, ${one.about ? one.about.rendition : "the whole frame"}`;
    byId("viewer-size").textContent = "";
    this.#end("viewer-previous", at === 0);
    this.#end("viewer-next", at === this.#row.length - 1);
    this.#panel.giveBackTo(openerOf(one));
    this.#image.alt = openerOf(one).querySelector("img").alt;
    this.#image.src = sourceOf(one);
    this.#lay();
  }

  // What has no further picture stays in its place and keeps the focus; it only does nothing.
  #end(id, isEnd) {
    byId(id).setAttribute("aria-disabled", `${isEnd}`);
  }

  #step(by) {
    const at = this.#at + by;
    if (at >= 0 && at < this.#row.length) this.#show(at);
  }

  #offered() {
    const { about } = this.#one;
    if (!about) return ["whole"];
    return [...(about.full && !round.single ? ["full"] : []), "whole", ...(phoneOf(about) ? ["phone"] : [])];
  }

  #choose(size) {
    this.#size = size;
    this.#lay();
  }

  #lay() {
    const offered = this.#offered();
    const size = offered.includes(this.#size) ? this.#size : offered[0];
    for (const button of this.#sizes) {
      button.hidden = !offered.includes(button.dataset.size);
      button.setAttribute("aria-pressed", `${button.dataset.size === size}`);
    }
    if (!this.#image.complete || !this.#image.naturalWidth) return;
    const { about } = this.#one;
    const width = { full: () => this.#image.naturalWidth, whole: () => fittingWidth(this.#stage, this.#image), phone: () => phoneOf(about) }[size]();
    this.#image.style.width = `${width}px`;
    this.#cover(size === "phone");
    this.#tellSize(size);
    if (size !== "full") return;
    const [x, y] = about.at;
    this.#stage.scrollTo(x * width - this.#stage.clientWidth / 2, y * this.#image.clientHeight - this.#stage.clientHeight / 2);
  }

  // On a phone names and buttons cover a part of some shapes, and others are seen round.
  #cover(onPhone) {
    const shade = onPhone ? openerOf(this.#one).parentElement.querySelector(".over > .covered, .over > .cut") : null;
    this.#shade.setAttribute("d", shade?.getAttribute("d") ?? "");
    const { viewBox } = shade?.ownerSVGElement ?? {};
    if (viewBox) this.#shade.ownerSVGElement.setAttribute("viewBox", `0 0 ${viewBox.baseVal.width} ${viewBox.baseVal.height}`);
  }

  #tellSize(size) {
    const { about } = this.#one;
    const pixels = `${this.#image.naturalWidth} × ${this.#image.naturalHeight} pixels`;
    const words = { full: `${pixels}, at 100 %`, whole: `${pixels}, shown whole`, phone: `as on a phone, ${about && phoneOf(about)} pixels wide` }[size];
    const small = about && !about.full ? (round.single ? "; this page carries the small print alone" : "; the full size is not made yet") : "";
    byId("viewer-size").textContent = words + small;
  }

  #pressed(event) {
    if (event.altKey || event.ctrlKey || event.metaKey) return;
    const { clientWidth, clientHeight, scrollWidth, scrollHeight } = this.#stage;
    const inPicture = document.activeElement === this.#stage;
    const moves = { ArrowLeft: [-1, 0], ArrowRight: [1, 0], ArrowUp: [0, -1], ArrowDown: [0, 1] }[event.key];
    if (event.key === "Home") this.#show(0);
    else if (event.key === "End") this.#show(this.#row.length - 1);
    else if (!moves) return;
    else if (moves[0] && !(inPicture && scrollWidth > clientWidth)) this.#step(moves[0]);
    else if (inPicture || scrollHeight <= clientHeight) return;
    else this.#stage.scrollBy(0, moves[1] * 60);
    event.preventDefault();
  }

  #ask(change) {
    const { item } = this.#one;
    const opener = openerOf(this.#one);
    this.#panel.giveBackTo(null);
    this.#panel.close();
    change(item, opener);
  }

  // A swipe goes on only where the picture does not move any further that way.
  #swipe() {
    let from = null;
    this.#stage.addEventListener(
      "touchstart",
      ({ touches }) => {
        from = touches.length === 1 ? { x: touches[0].clientX, y: touches[0].clientY, left: this.#stage.scrollLeft } : null;
      },
      { passive: true },
    );
    this.#stage.addEventListener("touchend", ({ changedTouches }) => {
      if (!from) return;
      const [across, down] = [changedTouches[0].clientX - from.x, changedTouches[0].clientY - from.y];
      const atEnd = across > 0 ? from.left <= 1 : from.left >= this.#stage.scrollWidth - this.#stage.clientWidth - 1;
      if (Math.abs(across) > 60 && Math.abs(across) > 2 * Math.abs(down) && atEnd) this.#step(across > 0 ? -1 : 1);
      from = null;
    });
  }
}

// How wide a phone shows it, in CSS px; 0 for what goes on paper.
const phoneOf = (about) => about.phone ?? round.phone;

// Dragging with the mouse moves what is larger than its stage; fingers do it without our help.
function dragToMove(stage) {
  let from = null;
  stage.addEventListener("pointerdown", (event) => {
    if (event.pointerType !== "mouse" || event.button !== 0) return;
    from = { x: event.clientX + stage.scrollLeft, y: event.clientY + stage.scrollTop };
    stage.setPointerCapture(event.pointerId);
  });
  stage.addEventListener("pointermove", (event) => {
    if (from) stage.scrollTo(from.x - event.clientX, from.y - event.clientY);
  });
  for (const name of ["pointerup", "pointercancel"]) stage.addEventListener(name, () => (from = null));
  stage.addEventListener("dragstart", (event) => event.preventDefault());
}
