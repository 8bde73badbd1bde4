"use strict";
// The worksheet at work: fields to state, state to verdicts, drafts, stopwatches, the file.

(() => {
  const { plan, rules, units } = JSON.parse(document.getElementById("data").textContent);
  const KEY = `pulsewright ${plan.digest}`;
  const all = (selector, from = document) => [...from.querySelectorAll(selector)];
  const one = (selector, from = document) => from.querySelector(selector);
  const byId = (id) => document.getElementById(id);

  const items = new Map();
  for (const step of plan.steps) {
    for (const of of step.readings) items.set(of.id, { of, step });
    for (const of of step.alarms) items.set(of.id, { of, step });
    for (const of of step.silent || []) items.set(of.id, { of, step });
    for (const of of step.clears || []) items.set(of.id, { of, step });
    for (const of of step.checks || []) items.set(of.id, { of, step });
  }

  /** Everything entered; `watches` holds when a stopwatch was started, so that it runs on over a reload. */
  const empty = () => ({ about: {}, instruments: {}, kit: {}, prepared: {}, items: {}, signatures: {}, watches: {}, doubt: "" });
  let state = empty();
  let saved = false; // Whether all of it is in a file.
  const entry = (id) => (state.items[id] = state.items[id] || {});

  const message = (text) => {
    byId("message").textContent = text;
    byId("message").hidden = !text;
  };

  // Drafts: each has a key of its own, so that pages in two tabs do not write over each other. A tab keeps its key over a reload.
  // A tab that was duplicated has the key of the other one: the browser's lock of that name says so.
  const DRAFTS = `${KEY} `;
  const newKey = () => `${DRAFTS}${Date.now().toString(36)}${Math.random().toString(36).slice(2, 8)}`;
  const LOCK_MS = 1500;
  let own = null;
  let claimed = false;
  let touched = false;
  function useKey(key) {
    own = key;
    try {
      sessionStorage.setItem(KEY, key);
    } catch {
      // Without it a reload begins anew; the draft is in the list then.
    }
  }
  /** Gives up the draft that this tab has. */
  let release = () => {};
  /** Takes a draft for this tab; false when another tab has it. Where the browser has no locks every tab gets it. */
  async function claim(key) {
    let free = () => {};
    const granted = new Promise((done) => {
      const held = (lock) => {
        done(Boolean(lock));
        return new Promise((over) => { free = over; });
      };
      try {
        // After a reload the page before may hold it for a moment.
        navigator.locks.request(key, { signal: AbortSignal.timeout(LOCK_MS) }, held).catch(({ name }) => done(name !== "TimeoutError"));
      } catch {
        done(true);
      }
    });
    if (!(await granted)) return false;
    release();
    release = () => free();
    return true;
  }
  function keep() {
    // Until it is known whose the draft is nothing is written into it.
    touched = true;
    if (!claimed) return;
    state.kept_at = new Date().toISOString();
    try {
      localStorage.setItem(own, JSON.stringify(state));
      byId("draft").textContent = "draft kept";
    } catch {
      byId("draft").textContent = "this browser keeps no drafts here: save often";
    }
  }
  function forget(key) {
    try {
      localStorage.removeItem(key);
    } catch {
      // Nothing was kept, so nothing is to be forgotten.
    }
  }
  function recall(key) {
    try {
      const kept = JSON.parse(localStorage.getItem(key));
      if (kept) {
        state = { ...empty(), ...kept };
        byId("draft").textContent = "draft taken up again";
      }
    } catch {
      byId("draft").textContent = "no draft could be read";
    }
  }
  /** A draft that can't be read hides no other. */
  function parsed(words) {
    try {
      return JSON.parse(words);
    } catch {
      return null;
    }
  }

  /** The drafts of this plan but the one on this page, the latest first. */
  function others() {
    try {
      const keys = Object.keys(localStorage).filter((key) => key.startsWith(DRAFTS) && key !== own);
      const drafts = keys.map((key) => ({ key, of: parsed(localStorage.getItem(key)) })).filter(({ of }) => of);
      return drafts.sort((a, b) => (a.of.kept_at < b.of.kept_at ? 1 : -1));
    } catch {
      return [];
    }
  }
  function showDrafts() {
    const drafts = others();
    byId("drafts").hidden = !drafts.length;
    one("#drafts ul").replaceChildren(...drafts.map(({ key, of }) => {
      const row = document.createElement("li");
      const button = (words, press) => {
        const made = document.createElement("button");
        made.type = "button";
        made.textContent = words;
        made.addEventListener("click", press);
        return made;
      };
      const asset = (of.about && of.about.asset) || "no asset number";
      const go = button(`Go on with ${asset}`, async () => {
        if (!(await claim(key))) return message(`The draft of ${asset} is open in another tab: go on there, or close that tab first.`);
        message("");
        useKey(key); recall(key); redraw(); return showDrafts();
      });
      const drop = button("Forget", () => {
        if (confirm(`Forget the draft of ${asset}?`)) { forget(key); showDrafts(); }
      });
      row.append(go, " ", drop, ` kept ${(of.kept_at || "").slice(0, 16).replace("T", " ")}`);
      return row;
    }));
  }

  // Fields: where each one's text lives in the state.
  function place(field) {
    const { about, instrument, what, kit, way, prepare, sign, field: name } = field.dataset;
    if (about) return [state.about, about];
    if (instrument) return [(state.instruments[instrument] = state.instruments[instrument] || { what }), name];
    if (kit) return [(state.kit[kit] = state.kit[kit] || {}), way];
    if (prepare) return [state.prepared, prepare];
    if (sign) return [(state.signatures[sign] = state.signatures[sign] || {}), name];
    return [entry(field.closest("[data-item]").dataset.item), name];
  }
  const isTick = (field) => field.type === "checkbox";
  const ticked = (field) => field.dataset.says || (field.dataset.field === "heard" ? "no" : "yes");
  const fields = all("main input, main select");

  function take(field) {
    const [object, key] = place(field);
    const text = isTick(field) ? (field.checked ? ticked(field) : "") : field.value;
    if (text === "") delete object[key];
    else object[key] = text;
    showDay(field);
  }
  /** A day as it prints: as it is kept, 2027-03-01. */
  function showDay(field) {
    if (field.type === "date") field.closest(".field").dataset.day = field.value;
  }
  function show(field) {
    const [object, key] = place(field);
    if (isTick(field)) field.checked = object[key] === ticked(field);
    else field.value = object[key] || "";
    showDay(field);
  }

  // Verdicts.
  const verdict = (id) => judge.item(rules[id], state.items[id] || {}, units);
  /** Which piece is brought back, and to where. */
  function showKit() {
    for (const of of all("[data-belongs]")) {
      const { id, place } = state.kit[of.dataset.belongs] || {};
      of.textContent = [id, place && `to ${place}`].filter(Boolean).join(", ");
    }
  }
  function judgeAll() {
    showKit();
    const count = { pass: 0, fail: 0, skipped: 0, open: 0 };
    const bySteps = new Map(plan.steps.map((step) => [step.id, []]));
    for (const row of all("[data-item]")) {
      const id = row.dataset.item;
      const found = verdict(id);
      count[found.verdict] += 1;
      bySteps.get(items.get(id).step.id).push(found.verdict);
      if (row.dataset.verdict !== found.verdict || one(".why", row).textContent !== found.why) {
        row.dataset.verdict = found.verdict;
        one(".verdict .word", row).textContent = found.verdict;
        one(".why", row).textContent = found.why;
        // The field that the verdict waits for.
        const wrong = found.verdict === "open" && found.why !== "";
        const priority = found.why === "priority not entered";
        for (const field of all("[data-field=value], select", row)) {
          const meant = field.matches("[data-field=priority]") === priority;
          field.setAttribute("aria-invalid", String(wrong && meant));
        }
      }
    }
    for (const [id, verdicts] of bySteps) {
      const order = ["fail", "open", "skipped", "pass"];
      const worst = order.find((word) => verdicts.includes(word)) || "";
      const link = one(`nav [data-step="${id}"]`);
      link.dataset.verdict = worst;
      one(".word", link).textContent = worst ? ` ${worst}` : "";
    }
    byId("tally").textContent =
      `${count.pass} passed, ${count.fail} failed, ${count.skipped} skipped, ${count.open} open`;
    return count;
  }

  // Stopwatches.
  function tick() {
    let running = false;
    for (const button of all("[data-watch]")) {
      const id = button.dataset.watch;
      const started = state.watches[id];
      const time = one(".time", button);
      button.classList.toggle("running", Boolean(started));
      if (started) {
        running = true;
        const seconds = (Date.now() - started) / 1000;
        time.textContent = `${seconds.toFixed(1)} s`;
        button.classList.toggle("over", seconds > items.get(id).of.within_s);
        one(".act", button).textContent = "Alarm heard";
      } else {
        time.textContent = entry(id).value ? `${entry(id).value} s` : "0.0 s";
        button.classList.remove("over");
        one(".act", button).textContent = entry(id).value ? "Start again" : "Start with the step";
      }
    }
    if (running) requestAnimationFrame(tick);
  }
  function press(button) {
    const id = button.dataset.watch;
    const started = state.watches[id];
    if (started) {
      delete state.watches[id];
      entry(id).value = ((Date.now() - started) / 1000).toFixed(1);
      delete entry(id).heard;
    } else {
      delete entry(id).value;
      state.watches[id] = Date.now();
    }
    const row = button.closest("[data-item]");
    all("input, select", row).forEach(show);
    if (started) one("select", row).focus();
    changed();
    tick();
  }

  // The record's file.
  function record() {
    const made = {
      record: 1,
      plan,
      about: state.about,
      instruments: Object.values(state.instruments)
        .filter((of) => of.id || of.due)
        .map((of) => ({ what: of.what, id: of.id || "", due: of.due || "" })),
      kit: state.kit,
      prepared: state.prepared,
      items: {},
      signatures: {},
      saved_at: new Date().toISOString(),
    };
    // Of the record that was opened: played steps stay, and so does the mark of one that was changed.
    if (state.played) made.played = state.played;
    if (state.earlier) made.earlier = state.earlier;
    if (state.photos) made.photos = state.photos;
    if (state.doubt) made.doubt = state.doubt;
    for (const id of items.keys()) {
      const found = verdict(id);
      made.items[id] = { ...(state.items[id] || {}), verdict: found.verdict };
    }
    for (const [role, of] of Object.entries(state.signatures)) {
      if (of.name) made.signatures[role] = { name: of.name, at: of.at || "" };
    }
    // Half of a surrogate pair can't be written as UTF-8.
    const whole = JSON.parse(JSON.stringify(made), (_, value) =>
      typeof value === "string" && value.toWellFormed ? value.toWellFormed() : value);
    return { ...whole, digest: seal.record(whole) };
  }
  /** JSON as a terminal may show it, as the program writes it: unseen characters are escapes. */
  const unseenEscaped = (json) => json.replace(/[\u007f-\u009f\u061c\u180e\u200b\u200e\u200f\u2028-\u202e\u2060-\u206f\ufeff\ufff9-\ufffb\ufffe\uffff]/g,
    (c) => `\\u${c.charCodeAt(0).toString(16).padStart(4, "0")}`);
  function save() {
    const made = record();
    const safe = (text) => (text || "").replace(/[^A-Za-z0-9-]+/g, "-");
    const link = document.createElement("a");
    link.href = URL.createObjectURL(new Blob([`${unseenEscaped(JSON.stringify(made, null, 2))}\n`], { type: "application/json" }));
    link.download = `record-${safe(state.about.asset) || "no-asset"}-${safe(state.about.date) || made.saved_at.slice(0, 10)}.json`;
    link.click();
    setTimeout(() => URL.revokeObjectURL(link.href), 10000);
    saved = true;
    byId("draft").textContent = `saved as ${link.download}`;
  }
  function load(text) {
    let read;
    try {
      read = JSON.parse(text);
    } catch {
      return message("That file is not a record: it is not whole JSON. Nothing was changed here.");
    }
    if (!read || read.record !== 1 || !read.plan) {
      return message("That file is not a record of a worksheet. Nothing was changed here.");
    }
    if (read.plan.digest !== plan.digest) {
      return message(`That record belongs to another plan ("${read.plan.title}"). Nothing was changed here.`);
    }
    const doubt = read.doubt || (seal.fits(read, plan) ? "" : "its digest does not fit");
    state = { ...empty(), about: read.about || {}, kit: read.kit || {}, prepared: read.prepared || {}, signatures: read.signatures || {}, doubt };
    if (read.played) state.played = read.played;
    if (read.earlier) state.earlier = read.earlier;
    if (read.photos) state.photos = read.photos;
    for (const [id, of] of Object.entries(read.items || {})) {
      const { verdict: _, ...entered } = of;
      if (items.has(id)) state.items[id] = entered;
    }
    for (const of of read.instruments || []) {
      const field = all("[data-instrument]").find((field) => field.dataset.what === of.what);
      if (field) state.instruments[field.dataset.instrument] = of;
    }
    message(doubt ? "That record was changed after it was saved. Every record saved from it stays marked as changed." : "");
    return redraw();
  }

  function changed() {
    saved = false;
    judgeAll();
    keep();
  }
  function redraw() {
    fields.forEach(show);
    for (const row of all("[data-item]")) {
      const of = entry(row.dataset.item);
      unfold(row, Boolean(of.skip || of.remark));
    }
    judgeAll();
    tick();
  }
  function unfold(row, open) {
    one(".extra", row).hidden = !open;
    one(".more", row).setAttribute("aria-expanded", String(open));
  }

  // The actions of people.
  for (const field of fields) {
    field.addEventListener(isTick(field) || field.tagName === "SELECT" ? "change" : "input", () => {
      take(field);
      if (field.dataset.field === "heard" && isTick(field) && field.checked) {
        const id = field.closest("[data-item]").dataset.item;
        delete state.watches[id];
        delete entry(id).value;
        show(one("[data-field=value]", field.closest("[data-item]")));
        tick();
      }
      changed();
    });
  }
  for (const button of all("[data-watch]")) button.addEventListener("click", () => press(button));
  for (const button of all(".more")) {
    button.addEventListener("click", () => {
      const row = button.closest("[data-item]");
      unfold(row, one(".extra", row).hidden);
      if (!one(".extra", row).hidden) one("[data-field=skip]", row).focus();
    });
  }
  byId("save").addEventListener("click", save);
  byId("print-strips").addEventListener("click", () => {
    document.documentElement.dataset.strips = "";
    print();
    delete document.documentElement.dataset.strips;
  });
  byId("open").addEventListener("click", () => byId("file").click());
  byId("file").addEventListener("change", async (event) => {
    const [file] = event.target.files;
    if (file) load(await file.text());
    event.target.value = "";
    keep();
  });
  byId("clear").addEventListener("click", () => {
    if (!confirm("Begin another record? The instruments stay entered; what was entered here stays in its draft.")) return;
    if (saved) forget(own);
    another();
    scrollTo(0, 0);
    one("[data-about=asset]").focus({ preventScroll: true });
  });
  /** Another record, with the instruments of the one on the page. */
  function another() {
    const { instruments } = state;
    useKey(newKey());
    claim(own);
    state = { ...empty(), instruments: JSON.parse(JSON.stringify(instruments)) };
    state.about.date = new Date().toISOString().slice(0, 10);
    saved = false;
    byId("draft").textContent = "";
    redraw();
    showDrafts();
  }

  const dark = matchMedia("(prefers-color-scheme: dark)");
  function theme(word) {
    document.documentElement.dataset.theme = word;
    byId("theme").setAttribute("aria-pressed", String(word === "dark"));
  }
  theme(dark.matches ? "dark" : "light");
  dark.addEventListener("change", () => theme(dark.matches ? "dark" : "light"));
  byId("theme").addEventListener("click", () => theme(document.documentElement.dataset.theme === "dark" ? "light" : "dark"));

  document.addEventListener("keydown", (event) => {
    if ((event.ctrlKey || event.metaKey) && event.key.toLowerCase() === "s") {
      event.preventDefault();
      save();
    } else if (event.altKey && (event.key === "ArrowDown" || event.key === "ArrowUp")) {
      event.preventDefault();
      const steps = all(".step");
      const here = steps.indexOf(document.activeElement && document.activeElement.closest(".step"));
      const next = steps[Math.max(0, Math.min(steps.length - 1, here + (event.key === "ArrowDown" ? 1 : -1)))];
      if (next) {
        next.scrollIntoView();
        (one("input[data-field=value], button", next) || next).focus({ preventScroll: true });
      }
    } else if (event.altKey && event.key.toLowerCase() === "o") {
      event.preventDefault();
      nextOpen();
    } else if (event.key === "Enter" && event.target.matches("main input, main select")) {
      event.preventDefault();
      const seen = fields.filter((field) => field.offsetParent !== null);
      const next = seen[seen.indexOf(event.target) + 1];
      if (next) next.focus();
    }
  });

  // Contents: they follow the step in view; on a small screen they are folded.
  const wide = matchMedia("(min-width: 68rem)");
  const fold = () => { byId("contents").open = wide.matches; };
  fold();
  wide.addEventListener("change", fold);
  const places = [byId("before"), ...all(".step"), byId("after")];
  function follow() {
    const line = innerHeight / 3;
    const here = places.filter((place) => place.getBoundingClientRect().top <= line).pop() || places[0];
    for (const link of all("nav a")) {
      const current = link.getAttribute("href") === `#${here.id}`;
      if (current === link.hasAttribute("aria-current")) continue;
      link.toggleAttribute("aria-current", current);
      if (!current) continue;
      link.setAttribute("aria-current", "step");
      const list = link.closest("ol");
      list.scrollTop = link.offsetTop - list.offsetTop - list.clientHeight / 3;
    }
  }
  let waiting = false;
  addEventListener("scroll", () => {
    if (waiting) return;
    waiting = true;
    requestAnimationFrame(() => { waiting = false; follow(); });
  }, { passive: true });

  /** To the next open item after the one with the focus. */
  function nextOpen() {
    const rows = all("[data-item]");
    const at = rows.indexOf(document.activeElement && document.activeElement.closest("[data-item]"));
    const next = rows.slice(at + 1).concat(rows).find((row) => row.dataset.verdict === "open");
    if (!next) return message("No item is open.");
    next.scrollIntoView({ block: "center" });
    return one("input[data-field=value], select", next).focus({ preventScroll: true });
  }
  byId("next-open").addEventListener("click", nextOpen);

  let before = null;
  try {
    before = sessionStorage.getItem(KEY);
  } catch {
    // As above.
  }
  useKey(before || newKey());
  recall(own);
  showDrafts();
  follow();
  if (!state.about.date) state.about.date = new Date().toISOString().slice(0, 10);
  redraw();
  claim(own).then((mine) => {
    claimed = true;
    if (mine) {
      if (touched) keep();
      return;
    }
    another();
    message("This tab was duplicated. The record goes on in the other tab; this one begins another, with the same instruments.");
  });
})();
