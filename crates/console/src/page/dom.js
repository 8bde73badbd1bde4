// Elements of the page, and what the browser keeps for it.

export const by = (id) => document.getElementById(id);

export const make = (tag, properties = {}, ...children) => {
  const element = Object.assign(document.createElement(tag), properties);
  element.append(...children);
  return element;
};

/** A labelled input, with a note below it when there is one. */
export const field = (words, input, note = "") => make("label", { className: "field" }, make("span", {}, words), input, ...(note ? [make("small", {}, note)] : []));

export const kept = {
  get(key, otherwise) { try { return JSON.parse(localStorage.getItem(key)) ?? otherwise; } catch { return otherwise; } },
  set(key, value) { try { localStorage.setItem(key, JSON.stringify(value)); } catch { /* The page works without it. */ } },
};

/** The theme by its button: the person's choice, else the system's. `changed` is called after each change. */
export function theme(changed = () => {}) {
  const set = (word) => {
    document.documentElement.dataset.theme = word;
    by("theme").setAttribute("aria-pressed", String(word === "dark"));
    changed();
  };
  set(kept.get("theme", matchMedia("(prefers-color-scheme: dark)").matches ? "dark" : "light"));
  by("theme").addEventListener("click", () => {
    const next = document.documentElement.dataset.theme === "dark" ? "light" : "dark";
    kept.set("theme", next);
    set(next);
  });
}
