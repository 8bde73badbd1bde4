// A script as JSON that stays as it was written: numbers keep their digits, members their order. Objects are maps.

/** A number as it was written. */
export class Written {
  constructor(text) { this.text = text; }
}

/** The value of a JSON text; throws when it is none. */
export function parse(text) {
  let at = 0;
  const blank = () => { while (" \t\n\r".includes(text[at] ?? "x")) at += 1; };
  const wrong = (what) => new SyntaxError(`${what} at character ${at + 1}`);
  const expect = (letter) => {
    if (text[at] !== letter) throw wrong(`'${letter}' is missing`);
    at += 1;
  };
  function string() {
    const from = at;
    expect('"');
    while (text[at] !== '"') {
      if (at >= text.length) throw wrong("a text has no end");
      at += text[at] === "\\" ? 2 : 1;
    }
    at += 1;
    return JSON.parse(text.slice(from, at));
  }
  function members(end, read) {
    at += 1;
    blank();
    if (text[at] === end) { at += 1; return; }
    for (;;) {
      blank();
      read();
      blank();
      if (text[at] === end) { at += 1; return; }
      expect(",");
    }
  }
  function value() {
    blank();
    if (text[at] === "{") {
      const map = new Map();
      members("}", () => {
        const key = string();
        blank();
        expect(":");
        if (map.has(key)) throw wrong(`"${key}" is there twice`);
        map.set(key, value());
      });
      return map;
    }
    if (text[at] === "[") {
      const list = [];
      members("]", () => list.push(value()));
      return list;
    }
    if (text[at] === '"') return string();
    for (const [word, meant] of [["true", true], ["false", false], ["null", null]]) {
      if (text.startsWith(word, at)) { at += word.length; return meant; }
    }
    const number = /-?(0|[1-9]\d*)(\.\d+)?([eE][+-]?\d+)?/y;
    number.lastIndex = at;
    const found = number.exec(text);
    if (!found) throw wrong("a value is missing");
    at = number.lastIndex;
    return new Written(found[0]);
  }
  const whole = value();
  blank();
  if (at < text.length) throw wrong("the text goes on after its end");
  return whole;
}

/** The text of a value: short lists and objects on one line. */
export function print(value, indent = "") {
  const flat = line(value);
  if (flat.length + indent.length <= 100 && !tall(value)) return flat;
  const deeper = `${indent}  `;
  if (Array.isArray(value)) return `[\n${value.map((of) => deeper + print(of, deeper)).join(",\n")}\n${indent}]`;
  if (value instanceof Map) {
    const members = [...value].map(([key, of]) => `${deeper}${JSON.stringify(key)}: ${print(of, deeper)}`);
    return `{\n${members.join(",\n")}\n${indent}}`;
  }
  return flat;
}

/** Lists of objects take a line each, and so does the outermost object. */
const tall = (value) => (Array.isArray(value) ? value.some((of) => of instanceof Map) : value instanceof Map && value.has("version"));

export function line(value) {
  if (value instanceof Written) return value.text;
  if (Array.isArray(value)) return `[${value.map(line).join(", ")}]`;
  if (value instanceof Map) return `{${[...value].map(([key, of]) => `${JSON.stringify(key)}: ${line(of)}`).join(", ")}}`;
  return JSON.stringify(value);
}

/** A copy that shares nothing with the value. */
export function copy(value) {
  if (Array.isArray(value)) return value.map(copy);
  if (value instanceof Map) return new Map([...value].map(([key, of]) => [key, copy(of)]));
  return value;
}

/** The value below a path such as `arterial.systolic_mmhg`. */
export function get(map, path) {
  return path.split(".").reduce((of, key) => (of instanceof Map ? of.get(key) : undefined), map);
}

/** Sets the value below a path, and takes it away when it is undefined, with the groups that this leaves empty. */
export function set(map, path, value) {
  const [key, ...rest] = path.split(".");
  if (!rest.length) {
    if (value === undefined) map.delete(key);
    else map.set(key, value);
    return;
  }
  if (!(map.get(key) instanceof Map)) {
    if (value === undefined) return;
    map.set(key, new Map());
  }
  set(map.get(key), rest.join("."), value);
  if (value === undefined && !map.get(key).size) map.delete(key);
}

/** A typed number as it is to be written, with a decimal point; undefined for nothing, null when it is no number. */
export function number(typed) {
  const text = typed.trim().replace(",", ".");
  if (!text) return undefined;
  const plain = /^[+-]?(\d+\.?\d*|\.\d+)([eE][+-]?\d+)?$/.test(text);
  if (!plain || !Number.isFinite(Number(text))) return null;
  // A seed may have more digits than the page's numbers.
  return new Written(/^(0|[1-9]\d*)$/.test(text) ? text : String(Number(text)));
}
