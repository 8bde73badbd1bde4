// The plan editor: a script in forms. The program checks it as `check` does and writes the file; the page makes no judgement of its own.

import { by, field, kept, make, theme } from "./dom.js";
import { asWritten, input, lines, stepForm } from "./editor-step.js";
import { Written, copy, parse, print } from "./script.js";

const data = await (await fetch("/editor.json")).json();
const EMPTY = '{"version": 1, "title": "New plan", "notes": "", "seed": 1, "steps": [{"name": "rate 80", "duration_s": "hold", "rhythm": "sinus", "rate_bpm": 80, "expect": {"readings": ["heart-rate"]}}]}';
const MOST_UNDONE = 200;
let script = null;
let opened = null; // The file as it was opened: name, text, digest.
let chosen = null; // The step that is shown; null for the plan.
let past = []; // Texts before each change.
let saved = ""; // The text that is in the file.
let loaded = ""; // The text as it was opened.

theme();

function say(words) {
  by("message").textContent = words;
  by("message").hidden = !words;
}

/** Steps and blocks in the order of the script, each with its list, its place in it and its path. */
function flat(list = script.get("steps"), path = "steps", depth = 0) {
  if (!Array.isArray(list)) return [];
  return list.flatMap((item, at) => {
    const own = { item, list, at, depth, path: `${path}[${at}]` };
    return [own, ...(item instanceof Map && item.has("repeat") ? flat(item.get("steps"), `${own.path}.steps`, depth + 1) : [])];
  });
}
const here = () => flat().find((of) => of.item === chosen);

const editor = {
  data, say,
  rhythms() {
    const own = script.get("rhythms");
    const words = own instanceof Map ? [...own.keys()].map((id) => ({ id, name: `${id} (of this plan)`, words: [] })) : [];
    return [...words, ...data.rhythms.flatMap((group) => group.rhythms)];
  },
  /** Makes a change; `redraw` when the form has other fields after it. */
  change(act, redraw = false) {
    const before = print(script);
    act();
    if (print(script) === before) return;
    past.push(before);
    if (past.length > MOST_UNDONE) past.shift();
    say("");
    kept.set(draftKey(), { text: print(script), of: opened?.digest ?? null });
    show(redraw);
  },
  focus(path) {
    const of = [...by("fields").querySelectorAll("[data-path]")].find((one) => one.dataset.path === path);
    (of?.matches("input, select, textarea") ? of : of?.querySelector("input, select"))?.focus();
  },
};
const draftKey = () => `plan ${opened?.name ?? "new"}`;

function load(text, file) {
  let read;
  try {
    read = parse(text);
  } catch (error) {
    say(`That file is not JSON: ${error.message}. Nothing was changed here.`);
    return false;
  }
  if (!(read instanceof Map) || !Array.isArray(read.get("steps"))) {
    say("That file is no script: it has no list of steps. Nothing was changed here.");
    return false;
  }
  [script, opened, chosen, past] = [read, file, null, []];
  loaded = print(script);
  saved = file ? loaded : "";
  by("name").value = file?.name ?? "new-plan.json";
  say("");
  const draft = kept.get(draftKey(), null);
  by("unsaved").hidden = !draft || draft.text === print(script);
  by("unsaved-words").textContent = draft && draft.of !== (file?.digest ?? null)
    ? "This browser has changes that were not saved; the file was changed since." : "This browser has changes that were not saved.";
  show(true);
  return true;
}

// The list.
function summary(item) {
  if (!(item instanceof Map)) return "";
  if (item.has("repeat")) return "";
  const lasts = item.get("duration_s");
  const expect = item.get("expect");
  const count = expect instanceof Map ? [...expect.values()].reduce((sum, of) => sum + (Array.isArray(of) ? of.length : 1), 0) : 0;
  const words = [item.get("rhythm"), lasts === "hold" ? "holds" : lasts instanceof Written ? `${lasts.text} s` : "", count ? `${count} to check` : ""];
  return words.filter((word) => typeof word === "string" && word).join(", ");
}
function nameOf({ item }, number) {
  if (!(item instanceof Map)) return "not a step";
  if (item.has("repeat")) return `${item.get("repeat")?.text ?? "?"} times:`;
  return item.get("name") || `step ${number}`;
}
function entryButton(words, small, item) {
  const press = make("button", { type: "button", onclick: () => { chosen = item; show(true); by("form").focus({ preventScroll: true }); } }, words, make("small", {}, small), make("span", { className: "problem" }));
  if (chosen === item) press.setAttribute("aria-current", "true");
  return press;
}
function showList() {
  const entries = flat();
  const top = by("list").scrollTop;
  by("steps").replaceChildren(make("li", {}, entryButton("The plan", script.get("title") || "", null)), ...entries.map((of, number) => {
    const row = make("li", {}, entryButton(nameOf(of, number + 1), summary(of.item), of.item));
    row.dataset.depth = of.depth;
    row.firstChild.dataset.path = of.path;
    return row;
  }));
  by("list").scrollTop = top;
  const at = here();
  by("up").disabled = !at || at.at === 0;
  by("down").disabled = !at || at.at + 1 >= at.list.length;
  by("delete").disabled = !at || at.list.length < 2;
  by("copy").disabled = !at;
  by("undo").disabled = !past.length;
}

// The form.
function planForm() {
  const text = (key, words) => field(words, input(editor, script, key, "", key === "seed" ? "number" : "text"));
  const notes = make("textarea", { value: typeof script.get("notes") === "string" ? script.get("notes") : "" });
  notes.addEventListener("change", () => editor.change(() => script.set("notes", notes.value)));
  const has = ["version", "title", "notes", "asset_class", "seed", "kit", "prepare", "cautions", "steps"];
  const rest = [...script.keys()].filter((key) => !has.includes(key));
  return [
    text("title", "Title"), text("asset_class", "Kind of equipment"), field("Notes", notes), text("seed", "Seed"),
    lines(editor, script, "kit", "", "Kit to take out and bring back"), lines(editor, script, "prepare", "", "Prepare"), lines(editor, script, "cautions", "", "Cautions"),
    ...rest.map((key) => asWritten(key, script.get(key))),
  ];
}
function showForm() {
  const at = here();
  if (!at) chosen = null;
  by("h-form").textContent = at ? (at.item.has("repeat") ? "Steps that repeat" : "Step") : "The plan";
  const fields = !at ? planForm() : at.item.has("repeat")
    ? [field("How often in all", input(editor, at.item, "repeat", at.path, "number"))] : stepForm(at.item, at.path, editor);
  by("fields").replaceChildren(...fields);
}

function show(redraw) {
  if (redraw) {
    const path = by("fields").contains(document.activeElement) ? document.activeElement.dataset.path : null;
    const scroll = scrollY;
    showForm();
    scrollTo(0, scroll);
    if (path) editor.focus(path);
  }
  showList();
  by("json").textContent = print(script);
  const clean = print(script) === saved;
  by("status-word").textContent = opened?.name ?? "New plan";
  by("status-more").textContent = clean ? "saved" : "not saved";
  by("status").dataset.is = clean ? "playing" : "wait";
  checkSoon();
}

// The check: by the program.
let timer = 0;
let asked = 0;
function checkSoon() {
  clearTimeout(timer);
  by("check-line").textContent = "Checking";
  by("check-line").dataset.is = "";
  timer = setTimeout(check, 300);
}
async function send(path, body) {
  try {
    const response = await fetch(path, { method: "POST", body });
    return response.ok ? await response.json() : { ok: false, text: "", why: `the program refused it (${response.status})`, problems: [] };
  } catch {
    return { ok: false, text: "", why: "the program does not answer", problems: [] };
  }
}
async function check() {
  asked += 1;
  const own = asked;
  const found = await send("/editor/check", print(script));
  if (own !== asked) return;
  const count = found.problems.length;
  by("check-line").dataset.is = found.ok ? "good" : "bad";
  by("check-line").textContent = found.ok ? "No problems" : found.why || `${count} ${count === 1 ? "problem" : "problems"}`;
  by("check-text").textContent = found.text;
  const inside = (path, of) => of === path || of.startsWith(`${path}.`) || of.startsWith(`${path}[`);
  for (const press of by("steps").querySelectorAll("button")) {
    const own = found.problems.filter(({ path }) => press.dataset.path && inside(press.dataset.path, path));
    press.toggleAttribute("data-problem", own.length > 0);
    press.querySelector(".problem").textContent = own.length ? ` ${own.length} ${own.length === 1 ? "problem" : "problems"}` : "";
  }
  for (const of of by("fields").querySelectorAll("[data-path]")) {
    const problem = found.problems.find(({ path }) => path === of.dataset.path || `.${path}` === of.dataset.path);
    if (of.matches("input, select, textarea")) of.setAttribute("aria-invalid", String(Boolean(problem)));
    if (problem) of.title = problem.what;
    else of.removeAttribute("title");
  }
}

// Changes of the list.
by("add").addEventListener("click", () => {
  const at = here();
  const step = new Map([["name", "new step"], ["duration_s", "hold"]]);
  editor.change(() => {
    if (!at) script.get("steps").push(step);
    else if (at.item.has("repeat") && Array.isArray(at.item.get("steps"))) at.item.get("steps").push(step);
    else at.list.splice(at.at + 1, 0, step);
    chosen = step;
  }, true);
  editor.focus(`${here().path}.name`);
});
by("copy").addEventListener("click", () => {
  const at = here();
  editor.change(() => { at.list.splice(at.at + 1, 0, copy(at.item)); chosen = at.list[at.at + 1]; }, true);
});
by("delete").addEventListener("click", () => {
  const at = here();
  editor.change(() => { at.list.splice(at.at, 1); chosen = at.list[Math.min(at.at, at.list.length - 1)]; }, true);
});
const move = (by_) => {
  const at = here();
  editor.change(() => { at.list.splice(at.at, 1); at.list.splice(at.at + by_, 0, at.item); }, true);
};
by("up").addEventListener("click", () => move(-1));
by("down").addEventListener("click", () => move(1));
by("undo").addEventListener("click", () => {
  const path = here()?.path;
  script = parse(past.pop());
  chosen = flat().find((of) => of.path === path)?.item ?? null;
  kept.set(draftKey(), { text: print(script), of: opened?.digest ?? null });
  show(true);
});

// Files.
const lost = () => ![saved, loaded].includes(print(script));
const mayLeave = () => !lost() || confirm("There are changes that were not saved. Leave them?");
by("new").addEventListener("click", () => { if (mayLeave()) load(EMPTY, null); });
by("open").addEventListener("click", () => by("file").click());
by("file").addEventListener("change", async () => {
  const [file] = by("file").files;
  // The program did not read it, so it is saved under a name that is free.
  if (file && mayLeave() && load(await file.text(), null)) by("name").value = file.name;
  by("file").value = "";
});
by("save-form").addEventListener("submit", async (event) => {
  event.preventDefault();
  const [name, text] = [by("name").value.trim(), `${print(script)}\n`];
  const done = await send("/editor/save", JSON.stringify({ name, text, over: opened && opened.name === name ? opened.digest : null }));
  if (!done.ok) { say(done.why); return; }
  // The drafts of the name before and of the new one.
  kept.set(draftKey(), null);
  opened = { name, text, digest: done.value.digest };
  kept.set(draftKey(), null);
  saved = print(script);
  by("unsaved").hidden = true;
  say("");
  show(false);
  by("status-more").textContent = `saved: ${done.value.path}`;
});
by("unsaved-take").addEventListener("click", () => {
  const before = print(script);
  script = parse(kept.get(draftKey(), {}).text);
  past.push(before);
  chosen = null;
  by("unsaved").hidden = true;
  show(true);
});
by("unsaved-forget").addEventListener("click", () => { kept.set(draftKey(), null); by("unsaved").hidden = true; });
addEventListener("beforeunload", (event) => { if (lost()) event.preventDefault(); });

by("folder").textContent = data.folder;
if (!(data.opened && load(data.opened.text, data.opened))) load(EMPTY, null);
