// Photos: taken or chosen on the page, kept by the program beside the record.

import { make } from "./dom.js";

/** A button that takes a photo of an item (`of`; empty for the equipment), and the pictures that are there. */
export class Photos {
  constructor(of, words, { say, play }) {
    Object.assign(this, { of, words, say, play });
    this.file = make("input", { type: "file", accept: "image/jpeg,image/png,image/webp", hidden: true });
    this.file.setAttribute("capture", "environment");
    this.file.setAttribute("aria-label", words);
    this.file.dataset.photo = of;
    this.button = make("button", { type: "button", onclick: () => this.file.click() }, words);
    this.file.addEventListener("change", () => this.take());
    this.shown = make("div", { className: "photos" });
    this.part = make("div", { className: "row" }, this.button, this.file, this.shown);
  }

  async take() {
    const [file] = this.file.files;
    this.file.value = "";
    if (!file) return;
    try {
      const response = await fetch(this.of ? `/photos/${encodeURIComponent(this.of)}` : "/photos", { method: "POST", body: file });
      const answer = response.status === 413 ? { why: "The photo is too large: at most 12 MB." } : await response.json();
      this.say(answer.ok ? "" : answer.why);
    } catch {
      this.say("The program does not answer; the photo was not kept.");
    }
  }

  /** The photos of a record that show this. */
  show(record) {
    this.button.disabled = !record.open;
    const own = (record.photos || []).filter((photo) => photo.item === this.of);
    const key = own.map(({ name }) => name).join();
    if (this.key === key) return;
    this.key = key;
    this.shown.replaceChildren(...own.map((photo, at) => make("figure", {}, picture(photo.name, `Photo ${at + 1}`), this.drop(photo, at + 1))));
  }

  drop({ item, digest }, number) {
    const button = make("button", { type: "button", className: "small", onclick: () => this.play({ do: "drop-photo", item, digest }) }, "\u2212");
    button.setAttribute("aria-label", `Leave photo ${number} out`);
    return button;
  }
}

/** A small picture that opens at its size. */
export function picture(name, words) {
  return make("a", { href: `/photo/${encodeURIComponent(name)}`, target: "_blank" }, make("img", { src: `/photo/${encodeURIComponent(name)}`, alt: words, width: 72, height: 54 }));
}
