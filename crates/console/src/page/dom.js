// Elements of the page, and what the browser keeps for it.

export const by = (id) => document.getElementById(id);

export const make = (tag, properties = {}, ...children) => {
  const element = Object.assign(document.createElement(tag), properties);
  element.append(...children);
  return element;
};

export const kept = {
  get(key, otherwise) { try { return JSON.parse(localStorage.getItem(key)) ?? otherwise; } catch { return otherwise; } },
  set(key, value) { try { localStorage.setItem(key, JSON.stringify(value)); } catch { /* The page works without it. */ } },
};
