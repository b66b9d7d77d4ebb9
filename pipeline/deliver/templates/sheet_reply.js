// The reply: everything that was said, as the one small file that is mailed back, or as text for a mail.

const ANY_ENTER = /\r\n|\r|\n/;

class ReplyForm {
  #answers;
  #store;
  #sentAs = "";

  constructor(answers, store) {
    [this.#answers, this.#store] = [answers, store];
    byId("date").value = today();
    byId("save").addEventListener("click", () => this.#save());
    byId("copy").addEventListener("click", () => this.#copy());
    byId("reviewer").addEventListener("input", () => this.keep());
    window.addEventListener("beforeunload", (event) => {
      if (!this.#store.works && this.#answers.saidAnything && this.#sentAs !== this.#asJson()) event.preventDefault();
    });
  }

  keep() {
    this.#store.write({ answers: this.#answers.toKeep(), reviewer: byId("reviewer").value });
  }

  // The form of the file is the project's own, its schema is printed by `plateline schema --of reply`.
  #reply() {
    return {
      plateline_reply: 1,
      round: round.round,
      shoot: round.shoot,
      outlet: round.outlet,
      reviewer: whole(byId("reviewer").value.trim()).slice(0, LONGEST_NAME),
      date: byId("date").value || today(),
      frames: frames.map((frame) => ({
        frame: frame.frame,
        ...this.#answer(frame.item),
        renditions: frame.cards.map(({ item, about }) => ({ rendition: about.rendition, key: about.key, ...this.#answer(item) })),
      })),
    };
  }

  // Sent is what is seen: marks go with a change, and words with a verdict.
  #answer(item) {
    const { verdict, note, spots } = this.#answers.of(item);
    return {
      verdict,
      note: verdict === null ? "" : whole(note),
      spots: verdict === "change" ? spots.map((spot) => (spot.length === 2 ? { point: [...spot] } : { box: [...spot] })) : [],
    };
  }

  #asJson() {
    return `${JSON.stringify(this.#reply(), null, 1)}\n`;
  }

  #asText() {
    const reply = this.#reply();
    const lines = [
      "plateline reply 1",
      `round: ${reply.round.match(/.{8}/g).join(" ")}`,
      `shoot: ${oneLine(reply.shoot)}`,
      ...(reply.outlet === null ? [] : [`outlet: ${reply.outlet}`]),
      `from: ${oneLine(reply.reviewer)}`,
      `date: ${reply.date}`,
    ];
    for (const frame of reply.frames) {
      const said = frame.renditions.filter((one) => one.verdict !== null);
      if (frame.verdict === null && said.length === 0) continue;
      lines.push("", `frame: ${frame.frame}`, ...answerLines(frame));
      for (const one of said) lines.push(`rendition: ${one.rendition}`, ...answerLines(one));
    }
    return [...lines, "", "end of reply", ""].join("\n");
  }

  #isSigned() {
    const name = byId("reviewer");
    const signed = name.value.trim() !== "";
    name.setAttribute("aria-invalid", `${!signed}`);
    if (!signed) {
      this.#tell("Write your name first: a reply is from somebody.");
      name.focus();
    }
    return signed;
  }

  #tell(text) {
    byId("told").textContent = text;
  }

  #save() {
    if (!this.#isSigned()) return;
    const text = this.#asJson();
    const link = element("a", { download: `reply-round-${round.number}${namePart(byId("reviewer").value)}.json` });
    link.href = URL.createObjectURL(new Blob([text], { type: "application/json" }));
    link.click();
    setTimeout(() => URL.revokeObjectURL(link.href), 60000);
    this.#sentAs = text;
    this.#tell(`Look among your downloads for ${link.download}, and mail it back. ${openInWords(this.#answers)}`);
  }

  async #copy() {
    if (!this.#isSigned()) return;
    const field = byId("text");
    field.value = this.#asText();
    byId("as-text").hidden = false;
    this.#sentAs = this.#asJson();
    try {
      await navigator.clipboard.writeText(field.value);
      this.#tell(`Copied: paste it into your mail. ${openInWords(this.#answers)}`);
    } catch {
      field.focus();
      field.select();
      this.#tell("The text below is selected: copy it, and paste it into your mail.");
    }
  }
}

function answerLines({ verdict, note, spots }) {
  return [
    ...(verdict === null ? [] : [`verdict: ${VERDICTS[verdict]}`]),
    ...note.split(ANY_ENTER).filter((line) => line.trim() !== "").map((line) => `note: ${line.trim()}`),
    ...spots.map((spot) => (spot.point ? `point: ${spot.point.join(" ")}` : `box: ${spot.box.join(" ")}`)),
  ];
}

const oneLine = (text) => text.split(/\s+/u).join(" ").trim();
// Half of a letter could not be written as UTF-8.
const whole = (text) => text.replace(/[\ud800-\udbff](?![\udc00-\udfff])|(?<![\ud800-\udbff])[\udc00-\udfff]/g, "\ufffd");

function namePart(name) {
  const plain = name.normalize("NFKD").replace(/\p{M}/gu, "").toLowerCase();
  const slug = plain.replace(/[^a-z0-9]+/g, "-").slice(0, 40).replace(/^-|-$/g, "");
  return slug && `-${slug}`;
}

function today() {
  const now = new Date();
  return [now.getFullYear(), now.getMonth() + 1, now.getDate()].map((part) => `${part}`.padStart(2, "0")).join("-");
}
