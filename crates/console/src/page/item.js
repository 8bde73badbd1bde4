// An item of a step: what to expect, the entry, the verdict.

import { field, make } from "./dom.js";
import { Photos } from "./photos.js";

const PRIORITIES = ["high", "medium", "low", "none"];

export class Item {
  constructor(of, check) {
    Object.assign(this, { of, check });
    this.entry = {};
    const id = `v-${of.id}`;
    this.value = make("input", { id, type: "text", inputMode: "decimal", autocomplete: "off", hidden: this.pressed() });
    this.verdict = make("output", { className: "verdict" });
    this.skip = make("input", { type: "text", autocomplete: "off" });
    this.remark = make("input", { type: "text", autocomplete: "off" });
    this.before = make("span", { className: "before" });
    this.buttons = this.choices();
    const name = make("label", this.pressed() ? {} : { htmlFor: id }, of.name);
    const unit = make("span", { className: "unit" }, of.unit);
    const expected = make("p", {}, make("b", {}, of.expect), ...[of.why, of.source].filter(Boolean).map((line) => make("small", {}, line)));
    const skip = make("button", { type: "button", onclick: () => this.skipped() }, "Skip");
    this.photos = new Photos(of.id, "Add a photo", check);
    this.more = make("details", {}, make("summary", {}, "Skip, remark, photo"), make("div", { className: "row" }, field("Reason to skip", this.skip), skip, field("Remark", this.remark)), this.photos.part);
    this.enter = make("div", { className: "row" }, this.value, unit, ...this.buttons, this.verdict, this.before);
    this.row = make("div", { className: "item" }, make("h4", {}, name), expected, this.enter, this.more);
    this.row.dataset.item = of.id;
    this.row.setAttribute("role", "group");
    this.row.setAttribute("aria-label", of.name);
    // What is being typed stays while the program's word on other things comes in.
    this.typing = new Set();
    for (const input of [this.value, this.skip, this.remark]) input.addEventListener("input", () => this.typing.add(input));
    this.value.addEventListener("keydown", (event) => {
      if (event.key === "Enter") { event.preventDefault(); this.typed(true); }
    });
    this.value.addEventListener("change", () => this.typed(false));
    this.remark.addEventListener("change", () => this.send({ remark: this.remark.value }));
    this.row.addEventListener("keydown", (event) => this.key(event));
    this.row.addEventListener("focusin", () => { check.lastItem = this; });
  }

  /** The buttons of its kind. */
  choices() {
    const button = (words, press) => make("button", { type: "button", onclick: press }, words);
    switch (this.of.kind) {
      case "alarm":
        return [
          ...PRIORITIES.map((word) => {
            const choice = button(word === "none" ? "no priority" : word, () => this.prioritised(word));
            choice.dataset.priority = word;
            return choice;
          }),
          button("Not heard", () => this.answer({ value: "", priority: "", heard: "no" })),
        ];
      case "silence":
        return [
          button("Stayed silent", () => this.answer({ heard: "no" })),
          button("Sounded", () => this.answer({ heard: "yes" })),
        ];
      case "check":
        return [
          button("In order", () => this.answer({ value: "yes" })),
          button("Not in order", () => this.answer({ value: "no" })),
        ];
      case "clear":
        return [button("It went on", () => this.answer({ value: "", heard: "yes" }))];
      default:
        return [];
    }
  }

  /** Answered by a button alone. */
  pressed() { return ["silence", "check"].includes(this.of.kind); }

  isOpen() { return (this.entry.verdict || "open") === "open"; }

  waitsForTime() { return ["alarm", "clear"].includes(this.of.kind) && this.isOpen() && !this.value.value.trim(); }

  /** A time was noted for it. */
  timed(seconds) {
    this.value.value = seconds.toFixed(1);
    this.typing.add(this.value);
    if (this.of.kind === "clear") this.answer({ value: this.value.value, heard: "" });
    else this.buttons[0].focus();
  }

  focus() {
    const first = this.pressed() ? this.buttons[0] : this.value;
    first.focus();
    this.row.scrollIntoView({ block: "nearest" });
  }

  /** A letter chooses the priority once the time is there. */
  key(event) {
    if (this.of.kind !== "alarm" || event.target.matches("input") || event.ctrlKey || event.altKey || event.metaKey) return;
    const word = PRIORITIES.find((of) => of[0] === event.key.toLowerCase());
    if (word) { event.preventDefault(); this.prioritised(word); }
  }

  typed(byEnter) {
    const value = this.value.value.trim();
    if (!value || (value === (this.entry.value || "") && !byEnter)) return;
    if (this.of.kind !== "alarm") this.answer({ value, heard: "" });
    else if (this.entry.priority && !this.isOpen()) this.answer({ value, heard: "" });
    else if (byEnter) this.buttons[0].focus();
  }

  prioritised(word) {
    const value = this.value.value.trim();
    if (!value) {
      this.check.say("Enter the time of the alarm first: the space bar notes it when the alarm sounds.");
      this.value.focus();
      return;
    }
    this.answer({ value, priority: word, heard: "" });
  }

  async answer(words) {
    const answer = await this.send({ ...words, skip: "" });
    if (!answer.ok || answer.value.verdict === "open") {
      // Asked back: the time or the number can't be.
      this.check.say(answer.ok ? `${this.of.name}: ${answer.value.why}.` : answer.why);
      this.value.setAttribute("aria-invalid", "true");
      if (!this.pressed()) { this.value.focus(); this.value.select(); }
      return;
    }
    this.value.removeAttribute("aria-invalid");
    this.check.say("");
    this.check.answered(this);
  }

  async skipped() {
    const reason = this.skip.value.trim();
    if (!reason) { this.check.say("Write the reason to skip it."); this.skip.focus(); return; }
    const answer = await this.send({ skip: reason, value: "", priority: "", heard: "" });
    if (!answer.ok) { this.check.say(answer.why); return; }
    this.check.say("");
    this.check.answered(this);
  }

  /** Forgets what is being typed. */
  untype() {
    this.typing.clear();
    this.show(this.check.record);
  }

  async send(words) {
    const { value = "", priority = "", heard = "", skip = "", remark = "" } = this.entry;
    const answer = await this.check.send({ do: "enter", item: this.of.id, entry: { value, priority, heard, skip, remark, ...words } });
    if (answer.ok) {
      this.typing.clear();
      this.show(this.check.record);
    }
    return answer;
  }

  show(record) {
    const { open } = record;
    this.enter.hidden = !open;
    this.more.hidden = !open;
    if (!open) { this.entry = {}; return; }
    const entry = record.items[this.of.id] || {};
    const changed = JSON.stringify(entry) !== JSON.stringify(this.entry);
    this.entry = entry;
    this.photos.show(record);
    if ((record.photos || []).some((photo) => photo.item === this.of.id)) this.more.open = true;
    if (!this.typing.has(this.value)) this.value.value = entry.value || "";
    if (!this.typing.has(this.remark)) this.remark.value = entry.remark || "";
    if (!this.typing.has(this.skip)) this.skip.value = entry.skip || "";
    if (changed && (entry.skip || entry.remark)) this.more.open = true;
    const word = entry.verdict || "open";
    this.row.dataset.verdict = word;
    const asked = word === "open" && entry.value;
    const why = word === "open" && !asked ? "" : entry.why;
    const again = entry.changed ? ` (changed ${entry.changed === 1 ? "once" : `${entry.changed} times`})` : "";
    this.verdict.textContent = `${word}${why ? `: ${why}` : ""}${again}`;
    for (const button of this.buttons) {
      if (button.dataset.priority) button.setAttribute("aria-pressed", String(button.dataset.priority === entry.priority));
    }
    const earlier = record.before?.items[this.of.id];
    this.before.textContent = earlier ? `last time, ${record.before.day}: ${earlier}` : "";
  }
}
