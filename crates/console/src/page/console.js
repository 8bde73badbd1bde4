// The console's page: orders to the program, states from it. It makes no signal and no number of its own.

import { Check } from "./check.js";
import { by, kept, make, theme } from "./dom.js";
import { search } from "./rhythms.js";
import { Strips } from "./strips.js";

const data = await (await fetch("/data.json")).json();
const rhythms = data.rhythms.flatMap((group) => group.rhythms.map((rhythm) => ({ ...rhythm, group: group.name })));
const find = (id) => rhythms.find((rhythm) => rhythm.id === id);
let state = null;
let clock = { output: "closed", taken: 0, late_ms: 0, why: "" };
let lists = { favourites: [], recent: [] };
let socket = null;
let number = 0;
const answers = new Map();
let planned = [];

let strips = null;
theme(() => { if (strips) { strips.paper(); strips.again(); } });

// Messages.
let messageTimer = 0;
let saidAt = 0;
function say(words) {
  saidAt = performance.now();
  by("message").textContent = words;
  by("message").hidden = !words;
  clearTimeout(messageTimer);
  if (words) messageTimer = setTimeout(() => say(""), 12000);
}

function order(request) {
  if (!socket || socket.readyState !== WebSocket.OPEN) {
    say("The program does not answer; nothing was sent.");
    return Promise.resolve({ ok: false });
  }
  number += 1;
  const n = number;
  socket.send(JSON.stringify({ n, ...request }));
  return new Promise((done) => answers.set(n, done));
}

async function play(request) {
  const asked = performance.now();
  const answer = await order(request);
  if (!answer.ok) say(answer.why || "");
  // A message that came after this request is about something else, and stays.
  else if (saidAt <= asked) say("");
  return answer.ok;
}

function connect() {
  socket = new WebSocket(`ws://${location.host}/socket`);
  socket.binaryType = "arraybuffer";
  socket.onmessage = ({ data: sent }) => {
    if (typeof sent !== "string") { strips.take(sent); return; }
    const message = JSON.parse(sent);
    if (message.t === "state") { state = message; showState(); }
    if (message.t === "expected") showExpected(message.expected);
    if (message.t === "clock") { clock = message; showClock(); askFirst(); }
    if (message.t === "marks") strips.mark(message.marks);
    if (message.t === "lists") { lists = message; showRhythms(); }
    if (message.t === "record") check?.showRecord(message);
    if (message.t === "changed") check?.showChanged(message);
    if (message.t === "warning") say(message.words);
    if (message.t === "answer") { answers.get(message.n)?.(message); answers.delete(message.n); }
  };
  socket.onclose = ({ reason }) => {
    for (const done of answers.values()) done({ ok: false, why: "The program went away before it answered." });
    answers.clear();
    clock = { ...clock, output: "gone" };
    showClock(reason);
    setTimeout(connect, 1000);
  };
}

// Rhythms.
const found = () => search(rhythms, by("search").value);

function row(rhythm) {
  const favourite = lists.favourites.includes(rhythm.id);
  const playing = state && !state.resting && state.rhythm === rhythm.id;
  const press = make("button", { type: "button", className: "play", title: rhythm.criteria, onclick: () => play({ do: "rhythm", rhythm: rhythm.id }) }, rhythm.name);
  press.dataset.rhythm = rhythm.id;
  if (playing) press.setAttribute("aria-current", "true");
  const star = make("button", { type: "button", className: "small", onclick: () => play({ do: "favourite", rhythm: rhythm.id, on: !favourite }) }, favourite ? "\u2605" : "\u2606");
  star.setAttribute("aria-pressed", String(favourite));
  star.setAttribute("aria-label", `Favourite: ${rhythm.name}`);
  const add = make("button", { type: "button", className: "small", onclick: () => { planned.push([rhythm.id, seconds()]); showSequence(); } }, "+");
  add.setAttribute("aria-label", `Add to the sequence: ${rhythm.name}`);
  return make("li", {}, press, star, add);
}

function showRhythms() {
  const place = by("rhythms");
  const focused = document.activeElement?.closest?.("#rhythms li") ? document.activeElement : null;
  const key = focused && [focused.closest(".list")?.dataset.list, focused.closest("li").querySelector(".play").dataset.rhythm, focused.className];
  const top = place.scrollTop;
  const list = (name, of) => {
    const part = make("div", { className: "list" }, make("h3", {}, name), make("ul", {}, ...of.map(row)));
    part.dataset.list = name;
    return part;
  };
  const matches = found();
  let parts;
  if (matches) {
    parts = [list(matches.length ? `Found: ${matches.length}` : "No rhythm has this name", matches)];
  } else {
    parts = data.rhythms.map((group) => list(group.name, group.rhythms.map((rhythm) => find(rhythm.id))));
    if (lists.recent.length) parts.unshift(list("Recent", lists.recent.map(find)));
    if (lists.favourites.length) parts.unshift(list("Favourites", lists.favourites.map(find)));
  }
  place.replaceChildren(...parts);
  place.scrollTop = top;
  if (key) {
    const lists = [...place.querySelectorAll(".list")].filter((part) => part.dataset.list === key[0]).concat(place);
    const same = lists.map((part) => part.querySelector(`[data-rhythm="${key[1]}"]`)).find(Boolean);
    const button = same?.closest("li").querySelector(`button.${key[2].split(" ")[0]}`);
    button?.focus({ preventScroll: true });
  }
}
by("search").addEventListener("input", showRhythms);
by("search").addEventListener("keydown", (event) => {
  const first = found()?.[0];
  if (event.key === "Enter" && first) play({ do: "rhythm", rhythm: first.id });
  // The stop follows, by the key's handler for the whole page.
  if (event.key === "Escape" && by("search").value) { by("search").value = ""; showRhythms(); }
});

// State.
function showState() {
  const name = state.resting ? "At rest" : state.name;
  by("h-now").textContent = name;
  document.title = `${name} - Bench console`;
  by("criteria").textContent = state.resting ? `Chosen: ${state.name}. Press a rhythm to play it.` : find(state.rhythm)?.criteria || "";
  for (const button of by("bodies").children) button.setAttribute("aria-pressed", String(button.dataset.body === state.body));
  for (const control of document.querySelectorAll(".control")) showControl(control);
  for (const press of document.querySelectorAll("#rhythms .play")) {
    if (!state.resting && press.dataset.rhythm === state.rhythm) press.setAttribute("aria-current", "true");
    else press.removeAttribute("aria-current");
  }
  for (const button of by("sites").children) button.disabled = state.resting;
  showSequence();
  check?.showState(state);
  showClock();
}

function showClock(reason = "") {
  const words = {
    closed: ["", "Outputs closed", "nothing plays"],
    opening: ["wait", "Opening", `${data.output}: waits for the other end`],
    behind: ["bad", "Falling behind", `${data.output} takes no frames; ${(clock.late_ms / 1000).toFixed(1)} s behind`],
    ended: ["bad", "Output ended", clock.why],
    gone: ["bad", "No program", reason || "the program was closed, or does not answer"],
  };
  const resting = !state || state.resting;
  const [is, word, more] = words[clock.output] || [resting ? "" : "playing", resting ? "At rest" : "Playing", `${clock.late_ms} ms behind`];
  by("status").dataset.is = is;
  by("status-word").textContent = word;
  by("status-more").textContent = more;
  by("closed").hidden = clock.output !== "closed";
  by("stop").disabled = !["taking", "behind"].includes(clock.output);
  if (state) {
    const taken = Math.max(0, clock.taken - state.since) / data.rate_hz;
    const minutes = Math.floor(taken / 60);
    by("since").textContent = clock.output === "closed" ? "" : `for ${minutes}:${String(Math.floor(taken % 60)).padStart(2, "0")}`;
  }
}

// Readings.
const SITES = { arterial: "Arterial pressure", venous: "Central venous pressure", pulmonary: "Pulmonary artery pressure" };
function shownValue(of, digits) {
  if (!of || of.low === null) return "\u2013";
  const [low, high, mean] = [of.low, of.high, of.mean].map((value) => value.toFixed(digits));
  return low === high ? mean : `${low} to ${high}`;
}

function showExpected(expected) {
  const readings = new Map((expected?.readings || []).map((of) => [of.id, of]));
  const rows = [];
  const add = (name, value, unit, of) => {
    const moves = of.filter((one) => one && (one.low === null || one.low !== one.high));
    const why = [...new Set(moves.map((one) => one.why).filter(Boolean))].join("; ");
    const head = make("th", { scope: "row" }, name);
    rows.push(make("tr", {}, head, make("td", {}, `${value} `, make("small", {}, unit)), make("td", {}, why)));
  };
  for (const id of ["heart-rate", "respiration-rate"]) {
    const of = readings.get(id);
    if (of) add(of.name, shownValue(of, 0), of.unit, [of]);
  }
  for (const [site, name] of Object.entries(SITES)) {
    const [systolic, diastolic, mean] = ["systolic", "diastolic", "mean"].map((part) => readings.get(`${site}-${part}`));
    if (systolic) add(name, `${shownValue(systolic, 0)} / ${shownValue(diastolic, 0)}  (${shownValue(mean, 0)})`, mean.unit, [systolic, diastolic, mean]);
    else if (mean) add(name, shownValue(mean, 0), mean.unit, [mean]);
  }
  by("readings").hidden = !expected;
  by("readings").tBodies[0].replaceChildren(...rows);
  const alarm = expected?.alarm;
  by("alarm").textContent = !expected ? "Outputs are at rest." : alarm
    ? `Alarm: ${alarm.name}, ${alarm.priority} priority, within ${alarm.latest_s} s of the start, at the usual limits.`
    : "No alarm, at the usual limits.";
}

// Settings.
const PAIRS = [["arterial.systolic_mmhg", "arterial.diastolic_mmhg"], ["pulmonary.systolic_mmhg", "pulmonary.diastolic_mmhg"]];
function showControl(control) {
  const of = state?.values[control.dataset.field];
  if (!of) return;
  const input = control.querySelector("input");
  const none = of.value === null;
  for (const part of control.querySelectorAll("input, button")) part.disabled = none;
  if (document.activeElement !== input && control.dataset.waits === undefined) input.value = none ? "" : String(of.value);
  control.dataset.low = of.min ?? control.dataset.min;
  control.dataset.high = of.max ?? control.dataset.max;
  input.setAttribute("min", control.dataset.low);
  input.setAttribute("max", control.dataset.high);
  control.querySelector("small").textContent = none ? "not in this rhythm" : `${control.dataset.low} to ${control.dataset.high} ${control.dataset.unit}`;
}

const control = (path) => document.querySelector(`.control[data-field="${path}"]`);
async function commit(path, value) {
  const own = control(path);
  const [low, high] = [Number(own.dataset.low), Number(own.dataset.high)];
  if (!Number.isFinite(value) || value < low || value > high) {
    say(`${own.dataset.label}: a number from ${low} to ${high} ${own.dataset.unit}.`);
    own.querySelector("input").setAttribute("aria-invalid", "true");
    return;
  }
  own.querySelector("input").removeAttribute("aria-invalid");
  const values = { [path]: value };
  const pair = PAIRS.find((pair) => pair.includes(path));
  if (pair) {
    // One of two may be typed before the other: they are sent when they fit.
    const read = (of) => (of === path ? value : Number(control(of).querySelector("input").value));
    const [systolic, diastolic] = pair.map(read);
    own.dataset.waits = "";
    own.querySelector("input").value = String(value);
    if (systolic < diastolic + 2) {
      say("Not sent yet: the systolic pressure has to be at least 2 mmHg above the diastolic one.");
      return;
    }
    Object.assign(values, { [pair[0]]: systolic, [pair[1]]: diastolic });
  }
  await play({ do: "set", values });
  for (const of of pair || [path]) { delete control(of).dataset.waits; showControl(control(of)); }
}

function build(of) {
  const id = `c-${of.field}`;
  const input = make("input", { id, type: "text", inputMode: "decimal", autocomplete: "off" });
  const read = () => Number(input.value.trim().replace(",", "."));
  input.addEventListener("change", () => commit(of.field, input.value.trim() ? read() : NaN));
  input.addEventListener("keydown", (event) => {
    if (event.key === "Escape") { input.value = String(state?.values[of.field]?.value ?? ""); input.blur(); }
  });
  const step = (sign) => {
    const next = Math.round((read() + sign * of.step) / of.step) * of.step;
    const own = control(of.field);
    const held = Math.min(Number(own.dataset.high), Math.max(Number(own.dataset.low), Number(next.toFixed(3))));
    commit(of.field, held);
  };
  const less = make("button", { type: "button", onclick: () => step(-1) }, "\u2212");
  const more = make("button", { type: "button", onclick: () => step(1) }, "+");
  less.setAttribute("aria-label", `${of.label}: less`);
  more.setAttribute("aria-label", `${of.label}: more`);
  const label = make("label", { htmlFor: id, title: of.doc }, of.label, make("small", {}));
  const control_ = make("div", { className: "control" }, label, less, input, more);
  Object.assign(control_.dataset, { field: of.field, label: of.label, unit: of.unit, min: of.min, max: of.max, low: of.min, high: of.max });
  return control_;
}
by("controls").append(...data.controls.map((group) => {
  const part = make("div", { className: "group" }, make("h3", {}, group.name), ...group.controls.map(build));
  part.setAttribute("role", "group");
  part.setAttribute("aria-label", group.name);
  return part;
}));
by("bodies").append(...data.bodies.map((body) => {
  const button = make("button", { type: "button", onclick: () => play({ do: "body", body: body.id }) }, body.name);
  button.dataset.body = body.id;
  return button;
}));
by("sites").append(...data.sites.map((site) => make("button", { type: "button", disabled: true, onclick: () => play({ do: "beat", site }) }, site.replaceAll("-", " "))));

// Sequence.
const seconds = () => Math.min(86400, Math.max(1, Number(by("seconds").value) || 30));
function showSequence() {
  const running = state?.sequence;
  const steps = running ? running.steps : planned;
  by("sequence").replaceChildren(...steps.map(([id, lasts], at) => {
    const item = make("li", {}, `${find(id).name}, ${lasts} s`);
    if (running && running.at === at) item.setAttribute("aria-current", "true");
    return item;
  }));
  by("sequence-start").disabled = !planned.length || clock.output === "closed";
  by("sequence-clear").disabled = !planned.length;
  by("sequence-pause").disabled = !running;
  by("sequence-pause").textContent = running?.paused ? "Go on" : "Pause";
  by("sequence-next").disabled = !running || running.at + 1 >= running.steps.length;
}
by("sequence-start").addEventListener("click", () => play({ do: "sequence", steps: planned }));
by("sequence-pause").addEventListener("click", () => play({ do: "pause", on: !state.sequence.paused }));
by("sequence-next").addEventListener("click", () => play({ do: "next" }));
by("sequence-clear").addEventListener("click", () => { planned = []; showSequence(); });

// Plan.
const check = data.plan && new Check(data.plan, {
  send: order, play, say,
  onTime: () => clock.output === "taking",
  sinceFirstFrame: () => Math.max(0, strips.end * data.every - state.since) / data.rate_hz,
});

// Stop, confirmations, keys.
const stop = () => play({ do: "stop" });
by("stop").addEventListener("click", stop);
const ready = () => { by("confirm-yes").disabled = !(by("no-person").checked && by("verified").checked); };
by("no-person").addEventListener("change", ready);
by("verified").addEventListener("change", ready);
by("confirm-open").addEventListener("click", () => by("confirm").showModal());
// Asked once, while outputs are closed. Where they are open, the questions must not stand before the stop.
let asked = false;
function askFirst() {
  const closed = clock.output === "closed";
  if (closed && !asked) by("confirm").showModal();
  if (!closed && by("confirm").open) by("confirm").close();
  asked = true;
}
by("confirm-yes").addEventListener("click", async () => {
  if (await play({ do: "confirm", person: by("no-person").checked, output: by("verified").checked })) { by("confirm").close(); by("search").focus(); }
});
by("help-open").addEventListener("click", () => by("help").showModal());
document.addEventListener("keydown", (event) => {
  if (event.ctrlKey || event.metaKey || event.altKey) return;
  // Also from a dialog, which closes by itself.
  if (event.key === "Escape" && !by("stop").disabled) { stop(); return; }
  if (document.querySelector("dialog[open]")) return;
  if (event.target.matches("input, select")) return;
  if (event.key === "/") { by("search").focus(); event.preventDefault(); }
  if (event.key === "?") by("help").showModal();
  if (event.key === " " && check && !event.target.matches("button, summary, a")) { check.note(); event.preventDefault(); }
});

// Strips.
strips = new Strips(by("grid"), by("traces"), data);
const known = data.channels.map((channel) => channel.id);
let shown = kept.get("strips", ["II", "V1", "arterial", "respiration"]).filter((id) => known.includes(id));
let scale = kept.get("px-per-mm", 96 / 25.4);
let gain = kept.get("gain", 10);
function showStrips() {
  strips.show(shown, scale, gain);
  by("ruler").style.width = `${50 * scale}px`;
  by("gain-word").textContent = String(gain);
  by("scale-note").textContent = kept.get("px-per-mm", null) ? "" : "(by the screen's nominal size)";
}
by("scale").value = String(scale);
by("gain").value = String(gain);
by("scale").addEventListener("input", () => { scale = Number(by("scale").value); kept.set("px-per-mm", scale); showStrips(); });
by("gain").addEventListener("change", () => { gain = Number(by("gain").value); kept.set("gain", gain); showStrips(); });
by("lines").append(...data.channels.map(({ id }) => {
  const box = make("input", { type: "checkbox", checked: shown.includes(id) });
  box.addEventListener("change", () => {
    shown = known.filter((one) => (one === id ? box.checked : shown.includes(one)));
    kept.set("strips", shown);
    showStrips();
  });
  return make("label", {}, box, id);
}));
by("output").textContent = data.output === "none" ? "none, the clock alone" : data.output;
by("log").textContent = data.log;
showStrips();
showRhythms();
showExpected(null);
showClock();
connect();
// For measurements: pictures drawn so far.
window.picturesDrawn = () => strips.pictures;
