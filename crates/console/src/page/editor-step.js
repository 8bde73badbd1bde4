// The form of a step: its name, rhythm, settings and expectations. Each change is made in the script itself.

import { field, make } from "./dom.js";
import { search } from "./rhythms.js";
import { Written, get, line as flat, number, set } from "./script.js";

const HERE = ["name", "duration_s", "rhythm", "body", "expect", "cautions", "prepare"];
const LIMIT = [["tolerance", "Largest error", "number"], ["tolerance_percent", "Largest error, %", "number"], ["min", "Smallest", "number"], ["max", "Largest", "number"]];
const SOURCE = ["source", "Where the limit comes from", "text"];

const part = (title, ...content) => {
  const section = make("div", { className: "part" }, make("h3", {}, title), ...content);
  section.setAttribute("role", "group");
  section.setAttribute("aria-label", title);
  return section;
};
const button = (words, press, label = words) => {
  const made = make("button", { type: "button", onclick: press }, words);
  made.setAttribute("aria-label", label);
  return made;
};
const shown = (value) => (value instanceof Written ? value.text : typeof value === "string" ? value : "");
/** A value that has a form of its own kind; any other is kept as it is. */
const simple = (value) => value === undefined || value instanceof Written || typeof value === "string";

/** An input for the value below `key` of a map; a number that is none is not taken. */
export function input(editor, map, key, path, kind = "text") {
  const made = make("input", { type: "text", autocomplete: "off", value: shown(get(map, key)) });
  if (kind === "number") made.inputMode = "decimal";
  made.dataset.path = `${path}.${key}`;
  made.addEventListener("change", () => {
    const typed = kind === "number" ? number(made.value) : made.value.trim() || undefined;
    made.setAttribute("aria-invalid", String(typed === null));
    if (typed === null) editor.say(`"${made.value.trim()}" is not a number; it was not taken.`);
    else editor.change(() => set(map, key, typed));
  });
  return made;
}

/** A choice of words; the first one takes the member away. */
function choice(editor, map, key, path, words, none = "\u2013") {
  const now = get(map, key);
  const made = make("select", {}, make("option", { value: "" }, none), ...words.map(([word, name]) => make("option", { value: word }, name)));
  if (typeof now === "string" && !words.some(([word]) => word === now)) made.append(make("option", { value: now }, now));
  made.value = shown(now);
  made.dataset.path = `${path}.${key}`;
  made.addEventListener("change", () => editor.change(() => set(map, key, made.value || undefined)));
  return made;
}

/** Lines of text, one each. */
export function lines(editor, map, key, path, words) {
  const now = get(map, key);
  if (now !== undefined && !(Array.isArray(now) && now.every((line) => typeof line === "string"))) return asWritten(words, now);
  const made = make("textarea", { value: (now || []).join("\n") });
  made.dataset.path = `${path}.${key}`;
  made.addEventListener("change", () => {
    const list = made.value.split("\n").map((line) => line.trim()).filter(Boolean);
    editor.change(() => set(map, key, list.length ? list : undefined));
  });
  return field(words, made, "One on each line.");
}

/** What has no form here is shown, and stays as it is. */
export function asWritten(name, value) {
  const text = flat(value);
  return make("details", {}, make("summary", {}, `${name}: kept as written`), make("pre", {}, text.length > 2000 ? `${text.slice(0, 2000)} \u2026` : text));
}

export function stepForm(step, path, editor) {
  const { data } = editor;
  const name = field("Name", input(editor, step, "name", path));
  const kept = [...step.keys()].filter((key) => !HERE.includes(key) && !data.fields.some((of) => of.path.split(".")[0] === key));
  return [
    name,
    make("div", { className: "fields" }, duration(step, path, editor), field("Body", choice(editor, step, "body", path, data.bodies.map(({ id, name: of }) => [id, of]), "as before"))),
    rhythm(step, path, editor),
    settings(step, path, editor),
    expectations(step, path, editor),
    part("Before the step", lines(editor, step, "prepare", path, "Prepare"), lines(editor, step, "cautions", path, "Cautions")),
    ...(kept.length ? [part("Not in this form", ...kept.map((key) => asWritten(key, step.get(key))))] : []),
  ];
}

function duration(step, path, editor) {
  const holds = step.get("duration_s") === "hold";
  const seconds = make("input", { type: "text", inputMode: "decimal", autocomplete: "off", value: holds ? "" : shown(step.get("duration_s")) });
  seconds.dataset.path = `${path}.duration_s`;
  seconds.addEventListener("change", () => {
    const typed = number(seconds.value);
    if (!typed) { seconds.setAttribute("aria-invalid", "true"); editor.say("Enter the seconds, or let the step hold."); return; }
    editor.change(() => step.set("duration_s", typed), true);
  });
  const box = make("input", { type: "checkbox", checked: holds });
  box.addEventListener("change", () => editor.change(() => step.set("duration_s", box.checked ? "hold" : new Written("30")), true));
  return make("div", { className: "row" }, field("Lasts, s", seconds), make("label", { className: "tick" }, box, make("span", {}, "Holds until the next step is asked for")));
}

function rhythm(step, path, editor) {
  const all = editor.rhythms();
  const now = step.get("rhythm");
  const name = (id) => all.find((of) => of.id === id)?.name || id;
  if (!simple(now)) return asWritten("rhythm", now);
  const typed = make("input", { type: "search", autocomplete: "off", spellcheck: false });
  const list = make("div", { className: "found" });
  const take = (id) => editor.change(() => set(step, "rhythm", id), true);
  const show = () => {
    const matches = search(all, typed.value) || all;
    list.replaceChildren(...matches.slice(0, 60).map((of) => make("button", { type: "button", title: of.criteria || "", onclick: () => take(of.id) }, of.name)));
  };
  typed.addEventListener("input", show);
  typed.addEventListener("keydown", (event) => {
    const first = search(all, typed.value)?.[0];
    if (event.key === "Enter") { event.preventDefault(); if (first) take(first.id); }
  });
  const picker = make("details", {}, make("summary", {}, "Choose a rhythm"), field("Search by name or abbreviation", typed), list);
  picker.addEventListener("toggle", () => { if (picker.open) { show(); typed.focus(); } });
  const words = make("p", {}, make("b", {}, now === undefined ? "as before" : name(now)));
  words.dataset.path = `${path}.rhythm`;
  return part("Rhythm", words, picker, ...(now === undefined ? [] : [button("As before", () => take(undefined), "Rhythm as before")]));
}

function settings(step, path, editor) {
  const { fields } = editor.data;
  const rows = fields.filter((of) => get(step, of.path) !== undefined).map((of) => setting(step, path, of, editor));
  const others = fields.filter((of) => get(step, of.path) === undefined);
  const add = make("select", {}, make("option", { value: "" }, "choose"), ...others.map((of) => make("option", { value: of.path }, of.unit ? `${of.path} (${of.unit})` : of.path)));
  add.addEventListener("change", () => {
    const of = fields.find((one) => one.path === add.value);
    if (!of) return;
    const start = of.kind === "choice" ? of.words[0] : new Written(String(Math.min(of.max, Math.max(of.min, 0))));
    editor.change(() => set(step, of.path, start), true);
    editor.focus(`${path}.${of.path}`);
  });
  return part("Settings that change", ...rows, field("Add a setting", add, "What a step does not name stays as in the step before."));
}

function setting(step, path, of, editor) {
  const now = get(step, of.path);
  const drop = button("\u2212", () => editor.change(() => set(step, of.path, undefined), true), `Leave out ${of.path}`);
  const limits = `${of.min} to ${of.max} ${of.unit}`.trim();
  const named = (words, element) => field(words, element, `${of.doc} ${of.words.length ? "" : `${limits}.`}`);
  if (of.kind === "choice") {
    return make("div", { className: "setting" }, named(of.path, choice(editor, step, of.path, path, of.words.map((word) => [word, word]))), drop);
  }
  const known = ["from", "to", "over_s"];
  if (now instanceof Map && of.ramps && [...now.keys()].every((key) => known.includes(key)) && [...now.values()].every(simple)) {
    const below = `${path}.${of.path}`;
    const ends = [["from", `From, ${of.unit}`], ["to", `To, ${of.unit}`], ["over_s", "Over, s"]];
    const inputs = ends.map(([key, words]) => field(words, input(editor, now, key, below, "number")));
    const steady = button("Steady", () => editor.change(() => set(step, of.path, now.get("to")), true), `${of.path}: steady`);
    const row = make("div", { className: "setting" }, make("div", {}, make("span", {}, `${of.path} moves`), make("div", { className: "ramp" }, ...inputs), make("small", {}, limits)), steady, drop);
    row.setAttribute("role", "group");
    row.setAttribute("aria-label", of.path);
    return row;
  }
  if (!simple(now)) return asWritten(of.path, now);
  const ramp = button("Let it move", () => editor.change(() => set(step, of.path, new Map([["to", now]])), true), `${of.path}: let it move`);
  return make("div", { className: "setting" }, named(`${of.path}${of.unit ? `, ${of.unit}` : ""}`, input(editor, step, of.path, path, "number")), ...(of.ramps ? [ramp] : []), drop);
}

/** Rows of a list of expectations. A row is a word, which stands for the member `bare`, or a map. */
function rows(title, step, key, path, columns, { bare, fresh }, editor) {
  const at = `expect.${key}`;
  const list = get(step, at);
  if (list !== undefined && !Array.isArray(list)) return part(title, asWritten(key, list));
  const known = columns.map(([word]) => word);
  const made = (list || []).map((row, place) => {
    const below = `${path}.${at}[${place}]`;
    const drop = button("Remove", () => editor.change(() => {
      list.splice(place, 1);
      if (!list.length) set(step, at, undefined);
    }, true), `Remove ${title.toLowerCase()} ${place + 1}`);
    const whole = typeof row === "string" && bare ? new Map([[bare, row]]) : row;
    if (!(whole instanceof Map)) return make("div", { className: "entry" }, asWritten(key, row), drop);
    // A word becomes a map once it has more to say.
    const inside = { ...editor, change: (act, redraw) => editor.change(() => {
      act();
      list[place] = bare && whole.size === 1 && typeof whole.get(bare) === "string" && typeof row === "string" ? whole.get(bare) : whole;
    }, redraw) };
    const inputs = columns.map(([word, words, kind]) => {
      const now = whole.get(word);
      if (!simple(now)) return asWritten(word, now);
      const control = Array.isArray(kind) ? choice(inside, whole, word, below, kind) : input(inside, whole, word, below, kind === "alarm" ? "text" : kind);
      if (kind === "alarm") control.setAttribute("list", "alarm-words");
      const label = field(words, control);
      if (kind === "text" || Array.isArray(kind) && kind.length > 3) label.classList.add("wide");
      return label;
    });
    const more = [...whole.keys()].filter((word) => !known.includes(word)).map((word) => asWritten(word, whole.get(word)));
    const entry = make("div", { className: "entry" }, ...inputs, ...more, drop);
    entry.setAttribute("role", "group");
    entry.setAttribute("aria-label", `${title} ${place + 1}`);
    entry.dataset.path = below;
    return entry;
  });
  const add = button("Add", () => {
    editor.change(() => set(step, at, [...(list || []), fresh()]), true);
    editor.focus(`${path}.${at}[${(list || []).length}]`);
  }, `Add: ${title.toLowerCase()}`);
  return part(title, ...made, make("div", { className: "row" }, add));
}

function expectations(step, path, editor) {
  const { quantities, alarms } = editor.data;
  const quantity = quantities.map((of) => [of.id, `${of.name}, ${of.unit}`]);
  const words = alarms.map((of) => [of.id, of.name]);
  const priority = ["high", "medium", "low"].map((word) => [word, word]);
  const within = ["within_s", "Within, s", "number"];
  const usual = get(step, "expect.alarms") === "usual";
  const box = make("input", { type: "checkbox", checked: usual });
  box.dataset.path = `${path}.expect.alarms`;
  box.addEventListener("change", () => editor.change(() => set(step, "expect.alarms", box.checked ? "usual" : undefined), true));
  const usualAlarm = make("label", { className: "tick" }, box, make("span", {}, "The usual alarm of what is played, within its usual time"));
  const listed = usual ? [] : [rows("Alarms", step, "alarms", path, [["name", "Alarm; empty: the most urgent one", "alarm"], ["priority", "Priority", priority], within, SOURCE], { bare: "name", fresh: () => new Map() }, editor)];
  return make("div", { className: "part" },
    make("h3", {}, "A correct monitor"),
    make("datalist", { id: "alarm-words" }, ...words.map(([word, name]) => make("option", { value: word }, name))),
    rows("Readings", step, "readings", path, [["quantity", "Quantity", quantity], ["value", "Value; empty: as played", "number"], ...LIMIT, SOURCE], { bare: "quantity", fresh: () => "heart-rate" }, editor),
    usualAlarm,
    ...listed,
    rows("Alarms that stay silent", step, "silent", path, [["name", "Alarm", "alarm"]], { bare: "name", fresh: () => "asystole" }, editor),
    rows("Alarms that end", step, "clears", path, [["name", "Alarm of the step before", words], within, SOURCE], { bare: "name", fresh: () => "asystole" }, editor),
    rows("Checks by hand", step, "manual", path, [["name", "What to check", "text"], ["unit", "Unit; empty: in order or not", ""], ["value", "Value", "number"], ...LIMIT, SOURCE], { fresh: () => new Map([["name", "Case and cables whole"], ["source", "service manual"]]) }, editor),
  );
}
