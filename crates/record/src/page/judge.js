"use strict";
// Verdicts as the report works them out (judge.rs, written.rs, the score's tolerance.rs); one table of cases holds both
// together. Units come from the page's data, so that there is one table of them.

const judge = (() => {
  const LONGEST = 40;
  const lower = (text) => text.replace(/[A-Z]/g, (letter) => letter.toLowerCase());

  /** The number that `text` means in `unit`; null when it is not one number, or in a unit that is not convertible. */
  function number(text, unit, units) {
    const trimmed = text.trim();
    if ([...trimmed].length > LONGEST) return null;
    const digits = /^[0-9.,+-]*/.exec(trimmed)[0];
    const rest = trimmed.slice(digits.length).trim();
    let factor = 1;
    if (rest !== "") {
      const row = units.find(([written, own]) => lower(written) === lower(rest) && own === unit);
      if (!row) return null;
      factor = row[2];
    }
    if (!/^[+-]?[0-9]+(?:[.,][0-9]+)?$/.test(digits)) return null;
    return Number(digits.replace(",", ".")) * factor;
  }

  /** Whether `value` is allowed; of two tolerances the larger counts, edges are allowed. */
  function allows(reading, value) {
    const given = (number) => number !== null && number !== undefined;
    const around = given(reading.tolerance) || given(reading.tolerance_percent);
    const ranged = given(reading.min) || given(reading.max);
    if (!(around || ranged) || !Number.isFinite(value)) return false;
    const slack = 1e-9 * (1 + Math.abs(given(reading.value) ? reading.value : value));
    if (around) {
      if (!given(reading.value)) return false;
      const widths = [];
      if (given(reading.tolerance)) widths.push(reading.tolerance);
      if (given(reading.tolerance_percent)) widths.push((reading.tolerance_percent / 100) * Math.abs(reading.value));
      if (Math.abs(value - reading.value) > Math.max(...widths) + slack) return false;
    }
    if (given(reading.min) && value < reading.min - slack) return false;
    return !(given(reading.max) && value > reading.max + slack);
  }

  const plain = (value) => String(Math.round(value * 100) / 100 + 0);
  const signed = (value) => (value > 0 ? "+" : "") + plain(value);
  const text = (entry, field) => (entry[field] || "").trim();

  /** A reading's verdict and why. */
  function reading(of, entry, units) {
    if (text(entry, "skip")) return { verdict: "skipped", why: text(entry, "skip") };
    if (!text(entry, "value")) return { verdict: "open", why: "" };
    const value = number(entry.value, of.unit, units);
    if (value === null) return { verdict: "open", why: `not a number in ${of.unit}` };
    if (allows(of, value)) return { verdict: "pass", why: "" };
    const known = of.value !== null && of.value !== undefined;
    return { verdict: "fail", why: known ? `off by ${signed(value - of.value)} ${of.unit}` : `not ${of.allowed}` };
  }

  /** An alarm's verdict and why. */
  function alarm(of, entry, units) {
    if (text(entry, "skip")) return { verdict: "skipped", why: text(entry, "skip") };
    if (lower(text(entry, "heard")) === "no") return { verdict: "fail", why: "not heard" };
    if (!text(entry, "value")) return { verdict: "open", why: "" };
    const delay = number(entry.value, "s", units);
    if (delay === null || delay < 0) return { verdict: "open", why: "not a time in seconds" };
    if (!text(entry, "priority")) return { verdict: "open", why: "priority not entered" };
    if (delay > of.within_s + 1e-6) return { verdict: "fail", why: `late by ${plain(delay - of.within_s)} s` };
    if (lower(text(entry, "priority")) !== lower(of.priority)) {
      return { verdict: "fail", why: `${text(entry, "priority")} in place of ${of.priority}` };
    }
    return { verdict: "pass", why: "" };
  }

  return { number, allows, reading, alarm };
})();
