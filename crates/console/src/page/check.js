// The check of a plan: one screen a step, with entry and verdict. The program judges and keeps; the page shows what it says.

import { by, field, make } from "./dom.js";
import { Item } from "./item.js";
import { PieceBack, PieceOut } from "./kit.js";
import { Photos } from "./photos.js";
import { canScan, scan } from "./scan.js";

const EMPTY = { open: false, unfinished: [], assets: [], pieces: [], photos: [], signed: null };

/** `send` gives the program's answer; `play` does the same and shows a refusal; `onTime` says whether the output takes frames as they are due; `sinceFirstFrame` is the step's time, s. */
export class Check {
  constructor(plan, { send, play, say, onTime, sinceFirstFrame }) {
    Object.assign(this, { plan, send, play, say, onTime, sinceFirstFrame });
    this.state = null;
    this.record = EMPTY;
    this.screen = "before";
    this.last = null; // The step that plays, or played last.
    this.began = null; // Its first frame.
    this.items = [];
    by("plan").hidden = false;
    by("h-plan").textContent = plan.title;
    this.buildBefore();
    this.buildAfter();
    by("plan-steps").append(
      this.stepButton("before", "Before"),
      ...plan.steps.map((step, at) => this.stepButton(at, step.name)),
      this.stepButton("after", "After"),
    );
    by("plan-next").addEventListener("click", () => this.playStep(this.follows()));
    by("plan-again").addEventListener("click", () => this.playStep(this.screen));
    by("heard").addEventListener("click", () => this.note());
    by("open-next").addEventListener("click", () => this.nextOpen());
    by("undo").addEventListener("click", () => this.undo());
    by("leave").addEventListener("click", () => play({ do: "leave" }));
    setInterval(() => this.tick(), 100);
    this.go("before");
  }

  stepButton(screen, words) {
    const button = make("button", { type: "button", onclick: () => this.go(screen) }, make("span", {}, words), make("small", {}));
    button.dataset.screen = String(screen);
    return make("li", {}, button);
  }

  async playStep(step) {
    if (Number.isInteger(step)) await this.play({ do: "step", step });
  }

  /** The step that comes next: after the one on the screen, or where a record that was taken up has its first open item. */
  follows() {
    if (Number.isInteger(this.screen)) return this.screen + 1;
    if (this.screen === "after") return this.plan.steps.length;
    if (this.record.open) return this.record.played.length ? this.firstOpen(0) ?? 0 : 0;
    return this.last === null ? 0 : this.last + 1;
  }

  // Screens.
  go(screen) {
    this.screen = screen;
    const step = this.plan.steps[screen];
    this.noted = [];
    by("screen-before").hidden = screen !== "before";
    by("screen-step").hidden = !step;
    by("screen-after").hidden = screen !== "after";
    this.items = (step?.items || []).map((item) => new Item(item, this));
    this.lastItem = null;
    by("plan-items").replaceChildren(...this.items.map((item) => item.row));
    by("plan-prepare").replaceChildren(...(step?.prepare || []).map((line, at) => this.tickOf(line, "prepared", `${step.id}.prepare-${at + 1}`)));
    by("plan-plays").textContent = step?.plays || "";
    by("plan-lines").replaceChildren(...(step?.cautions || []).map((line) => make("li", {}, `Caution: ${line}`)));
    this.showState(this.state);
    this.showRecord(this.record);
    this.showNoted();
    this.tick();
  }

  showState(state) {
    this.state = state;
    const playing = state?.step ?? null;
    const began = playing !== null && (playing !== this.last || state.since !== this.began);
    const pressed = [by("plan-next"), by("plan-again")].includes(document.activeElement);
    if (began) {
      this.last = playing;
      this.began = state.since;
      this.go(playing);
      // So that the space bar notes the time instead of going on.
      if (pressed) by("heard").focus();
      return;
    }
    const { steps } = this.plan;
    const step = steps[this.screen];
    by("plan-place").textContent = step ? `Step ${this.screen + 1} of ${steps.length}` : `${steps.length} steps`;
    const over = this.screen === this.last && playing === null;
    by("plan-step").textContent = step ? `${step.name}${over ? " (no longer played)" : ""}` : this.screen === "before" ? "Before the first step" : "After the last step";
    by("heard").hidden = !step;
    by("heard").disabled = playing === null || playing !== this.screen;
    by("plan-again").hidden = !step;
    by("plan-again").textContent = this.screen === this.last ? "Play it again" : "Play this step";
    const next = steps[this.follows()];
    by("plan-next").textContent = !next ? "The plan is done" : this.follows() === 0 ? "Play the first step" : `Next: ${next.name}`;
    by("plan-next").disabled = !next;
    for (const button of by("plan-steps").querySelectorAll("button")) {
      if (button.dataset.screen === String(this.screen)) button.setAttribute("aria-current", "step");
      else button.removeAttribute("aria-current");
    }
  }

  tick() {
    const step = this.plan.steps[this.screen];
    if (!step || this.state?.step !== this.screen) { by("watch").textContent = ""; return; }
    const time = this.sinceFirstFrame();
    const left = step.rest_s === null ? "" : time < step.rest_s ? `, ${Math.ceil(step.rest_s - time)} s left` : ", over";
    by("watch").textContent = `${time.toFixed(1)} s${left}`;
  }

  /** Notes the time since the first frame, for the first alarm of the step that has none. */
  note() {
    if (this.state?.step === null || this.state?.step !== this.screen) return;
    if (!this.onTime()) {
      this.say("The output takes no frames as they are due, so nothing can be timed now: time it again.");
      return;
    }
    const time = this.sinceFirstFrame();
    this.noted.push(time);
    this.showNoted();
    if (this.record.open) this.items.find((item) => item.waitsForTime())?.timed(time);
  }

  showNoted() {
    by("noted").replaceChildren(...this.noted.map((seconds) => make("li", {}, `noted after ${seconds.toFixed(1)} s`)));
  }

  // The record.
  /** Members that differ from those that the page has; of items and assets those that differ. */
  showChanged({ items, assets, ...rest }) {
    const book = [...this.record.assets];
    for (const asset of assets || []) {
      const at = book.findIndex((of) => of.asset === asset.asset);
      if (at < 0) book.push(asset);
      else book[at] = asset;
    }
    this.showRecord({ ...this.record, ...rest, assets: book, items: { ...this.record.items, ...items } });
  }

  showRecord(record) {
    const opened = record.open && !this.record.open;
    this.record = record;
    by("check-line").textContent = record.open ? `${record.about.asset}: ${record.counts}` : "No record is open: begin under \u201cBefore\u201d.";
    by("open-next").hidden = !record.open;
    by("undo").hidden = !record.open;
    by("leave").hidden = !record.open;
    by("undo").disabled = !record.undo;
    by("undo").textContent = record.undo ? `Undo: ${this.nameOf(record.undo)}` : "Undo";
    for (const item of this.items) item.show(record);
    for (const box of document.querySelectorAll("#plan [data-tick]")) this.showTick(box);
    for (const button of by("plan-steps").querySelectorAll("button")) {
      const worst = this.worst(this.plan.steps[Number(button.dataset.screen)]);
      button.dataset.verdict = worst;
      button.querySelector("small").textContent = worst && ` ${worst}`;
    }
    this.showBefore(opened);
    this.showAfter();
    by("open-next").disabled = this.firstOpen(0) === null;
    this.showState(this.state);
  }

  nameOf(id) {
    const step = this.plan.steps.find((step) => step.items.some((item) => item.id === id));
    return step ? `${step.items.find((item) => item.id === id).name}, ${step.name}` : id;
  }

  worst(step) {
    if (!step || !this.record.open) return "";
    const verdicts = step.items.map((item) => this.record.items[item.id]?.verdict || "open");
    return ["fail", "open", "skipped", "pass"].find((word) => verdicts.includes(word)) || "";
  }

  firstOpen(from) {
    if (!this.record.open) return null;
    const { steps } = this.plan;
    const open = (step) => step.items.some((item) => (this.record.items[item.id]?.verdict || "open") === "open");
    for (let at = 0; at < steps.length; at += 1) {
      const place = (from + at) % steps.length;
      if (open(steps[place])) return place;
    }
    return null;
  }

  /** To the next open item: of this step below the last one that had the focus, else of the steps that follow. */
  nextOpen() {
    const below = this.items.slice(this.items.indexOf(this.lastItem) + 1).find((item) => item.isOpen());
    if (below) { below.focus(); return; }
    const place = this.firstOpen(Number.isInteger(this.screen) ? this.screen + 1 : 0);
    if (place === null) return;
    this.go(place);
    this.items.find((item) => item.isOpen())?.focus();
  }

  async undo() {
    const id = this.record.undo;
    if (!(await this.play({ do: "undo" }))) return;
    const place = this.plan.steps.findIndex((step) => step.items.some((item) => item.id === id));
    if (place >= 0 && place !== this.screen) this.go(place);
    this.say(`Taken back: ${this.nameOf(id)}. The draft keeps both.`);
    const item = this.items.find((item) => item.of.id === id);
    item?.untype();
    item?.focus();
  }

  /** An item was answered: on to the next open one of the step, or to the next step. */
  answered(item) {
    const rest = this.items.slice(this.items.indexOf(item) + 1).concat(this.items);
    const next = rest.find((of) => of !== item && of.isOpen());
    if (next) next.focus();
    else if (!by("plan-next").disabled) by("plan-next").focus();
    else by("open-next").focus();
  }

  // Ticks: preparations and kit.
  tickOf(line, kind, key) {
    const box = make("input", { type: "checkbox" });
    Object.assign(box.dataset, { tick: kind, key });
    box.addEventListener("change", async () => {
      const request = kind === "prepared" ? { do: "prepared", id: key, on: box.checked } : { do: "kit", number: key, back: kind === "back", on: box.checked };
      if (!(await this.play(request))) this.showTick(box);
    });
    return make("label", { className: "tick" }, box, make("span", {}, line));
  }

  showTick(box) {
    const { tick, key } = box.dataset;
    const { open, prepared, kit } = this.record;
    box.disabled = !open;
    box.checked = Boolean(open && (tick === "prepared" ? prepared[key] : kit[key]?.[tick]));
  }

  // Before: the equipment, the instruments, kit, preparations.
  buildBefore() {
    const { plan } = this;
    const words = plan.about.filter(([word]) => word !== "date");
    by("begin-fields").append(...words.map(([word, name]) => {
      const input = make("input", { type: "text", autocomplete: "off", id: `about-${word}` });
      input.dataset.about = word;
      if (word === "asset") {
        input.setAttribute("list", "assets");
        input.addEventListener("input", () => this.fillIn());
      }
      return field(name, input);
    }));
    by("begin").addEventListener("submit", (event) => { event.preventDefault(); this.begin(); });
    by("instruments").append(...plan.instruments.map((what) => {
      const id = make("input", { type: "text", autocomplete: "off" });
      const due = make("input", { type: "date" });
      const row = make("div", { className: "instrument" }, make("h4", {}, what), field("Number", id), field("Calibrated until", due));
      row.setAttribute("role", "group");
      row.setAttribute("aria-label", what);
      row.dataset.what = what;
      for (const input of [id, due]) {
        input.addEventListener("change", () => this.play({ do: "instrument", instrument: { what, id: id.value.trim(), due: due.value } }));
      }
      return row;
    }));
    this.pieces = plan.kit.map((line, at) => new PieceOut(line, String(at + 1), this));
    by("kit-out").append(...this.pieces.map((piece) => piece.row));
    by("prepare").append(...plan.prepare.map((line, at) => this.tickOf(line, "prepared", `0.prepare-${at + 1}`)));
    this.photos = new Photos("", "Photo of the equipment", this);
    by("equipment-photos").append(this.photos.part);
    by("scan").hidden = !canScan();
    by("scan").addEventListener("click", async () => {
      const number = await scan(this.say);
      if (!number) return;
      by("about-asset").value = number;
      this.fillIn();
      by("begin-button").focus();
    });
    by("kit-out-part").hidden = !plan.kit.length;
    by("prepare-part").hidden = !plan.prepare.length;
    by("plan-cautions").replaceChildren(...plan.cautions.map((line) => make("li", {}, `Caution: ${line}`)));
  }

  fields() { return [...by("begin-fields").querySelectorAll("input")]; }

  /** The rest of a piece of equipment that the address book knows. */
  fillIn() {
    const known = this.record.assets.find((asset) => asset.asset === by("about-asset").value.trim());
    if (!known) return;
    for (const input of this.fields()) {
      const word = input.dataset.about;
      if (word !== "asset" && known[word] !== undefined) input.value = known[word];
    }
  }

  async begin(asset) {
    if (asset !== undefined) by("about-asset").value = asset;
    if (asset !== undefined) this.fillIn();
    const about = Object.fromEntries(this.fields().map((input) => [input.dataset.about, input.value.trim()]));
    await this.play({ do: "begin", about });
  }

  showBefore(opened) {
    const { record } = this;
    for (const input of this.fields()) {
      input.disabled = record.open;
      if (record.open) input.value = record.about[input.dataset.about] || "";
      else if (this.wasOpen) input.value = "";
    }
    this.wasOpen = record.open;
    by("begin-button").hidden = record.open;
    by("scan").disabled = record.open;
    by("equipment-part").hidden = !record.open;
    if (record.open) by("label").href = `/label/${encodeURIComponent(record.about.asset)}`;
    for (const of of [...this.pieces, this.photos]) of.show(record);
    by("instruments-part").hidden = !record.open;
    for (const row of by("instruments").children) {
      const known = record.instruments?.find((of) => of.what === row.dataset.what);
      const [id, due] = row.querySelectorAll("input");
      if (document.activeElement !== id) id.value = known?.id || "";
      if (document.activeElement !== due) due.value = known?.due || "";
    }
    by("assets").replaceChildren(...record.assets.map((asset) => make("option", { value: asset.asset }, [asset.model, asset.location].filter(Boolean).join(", "))));
    by("unfinished").hidden = record.open || !record.unfinished.length;
    by("unfinished-list").replaceChildren(...(record.unfinished || []).map((of) => make("li", {}, make("button", { type: "button", onclick: () => this.begin(of.asset) }, `Go on with ${of.asset}`), ` saved ${of.saved_at}`)));
    by("fleet").hidden = !record.assets.length;
    by("fleet-title").textContent = `Address book (${record.assets.length})`;
    // Those that are due first come first; those without a day last.
    const book = [...record.assets].sort((a, b) => (a.next_due || "9").localeCompare(b.next_due || "9"));
    const today = new Date().toISOString().slice(0, 10);
    by("fleet-rows").replaceChildren(...book.map((asset) => {
      const due = asset.next_due && asset.next_due < today ? `${asset.next_due}, overdue` : asset.next_due;
      const pick = make("button", { type: "button", disabled: record.open, onclick: () => { by("about-asset").value = asset.asset; this.fillIn(); by("begin-button").focus(); } }, asset.asset);
      return make("tr", {}, make("th", { scope: "row" }, pick), ...[asset.model, asset.location, [asset.overall, asset.checked].filter(Boolean).join(", "), due].map((words) => make("td", {}, words || "\u2013")));
    }));
    if (opened) this.fillAfter();
  }

  // After: kit back, what is missing, the signature.
  buildAfter() {
    this.back = this.plan.kit.map((line, at) => new PieceBack(line, String(at + 1), this));
    by("kit-back").append(...this.back.map((piece) => piece.row));
    by("kit-back-part").hidden = !this.plan.kit.length;
    by("sign").addEventListener("submit", async (event) => {
      event.preventDefault();
      const answer = await this.play({ do: "sign", name: by("signer").value.trim(), next_due: by("next-due").value });
      if (answer) by("another").focus();
    });
    by("another").addEventListener("click", () => { this.go("before"); by("about-asset").focus(); });
  }

  fillAfter() {
    const known = this.record.assets.find((asset) => asset.asset === this.record.about.asset);
    by("next-due").value = known?.next_due || "";
  }

  showAfter() {
    const { record } = this;
    by("sign").hidden = !record.open;
    for (const piece of this.back) piece.show(record);
    const open = record.open ? this.plan.steps.flatMap((step) => step.items.filter((item) => record.items[item.id]?.verdict === "open").map((item) => `open: ${item.name}, ${step.name}`)) : [];
    // The name is entered below.
    const missing = (record.missing || []).filter((line) => !line.startsWith("not signed"));
    by("missing").replaceChildren(...[...open, ...missing].map((line) => make("li", {}, line)));
    by("missing-part").hidden = !open.length && !missing.length;
    by("signed").hidden = record.open || !record.signed;
    if (record.signed) {
      by("signed").dataset.overall = record.signed.overall;
      by("signed-line").textContent = `${record.signed.asset}: ${record.signed.overall}, ${record.signed.counts}`;
      by("signed-file").textContent = record.signed.file;
      by("signed-report").textContent = record.signed.text;
    }
  }
}
