"use strict";
// Verdicts as the report derives them (judge.rs, written.rs, the score's tolerance.rs); one table of cases holds both
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
    if (rest !== "" && lower(rest) !== lower(unit)) {
      const row = units.find(([written, own]) => lower(written) === lower(rest) && own === unit);
      if (!row) return null;
      factor = row[2];
    }
    if (!/^[+-]?[0-9]+(?:[.,][0-9]+)?$/.test(digits)) return null;
    return Number(digits.replace(",", ".")) * factor;
  }

  const given = (number) => number !== null && number !== undefined;

  /** Lowest and highest value that a correct monitor shows; null when nothing is known. */
  function band(reading) {
    if (given(reading.low) && given(reading.high)) return [reading.low, reading.high];
    return given(reading.value) ? [reading.value, reading.value] : null;
  }

  /** Largest error allowed around a value. */
  function width(reading, expected) {
    const widths = [0];
    if (given(reading.tolerance)) widths.push(reading.tolerance);
    if (given(reading.tolerance_percent)) widths.push((reading.tolerance_percent / 100) * Math.abs(expected));
    return Math.max(...widths);
  }

  /** Whether the band is wider than the tolerance of a single value. */
  function moves(reading) {
    const edges = band(reading);
    return edges !== null && edges[1] - edges[0] > (given(reading.value) ? width(reading, reading.value) : 0);
  }

  /** Whether `value` is allowed, at most the tolerance beyond the band; of two tolerances the larger counts, edges are allowed. */
  function allows(reading, value) {
    const around = given(reading.tolerance) || given(reading.tolerance_percent);
    const ranged = given(reading.min) || given(reading.max);
    if (!(around || ranged) || !Number.isFinite(value)) return false;
    const edges = band(reading);
    const expected = edges === null ? null : Math.min(Math.max(value, Math.min(...edges)), Math.max(...edges));
    const slack = 1e-9 * (1 + Math.abs(expected === null ? value : expected));
    if (around) {
      if (expected === null) return false;
      if (Math.abs(value - expected) > width(reading, expected) + slack) return false;
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
    const edges = band(of);
    if (edges !== null && moves(of) && (value < edges[0] || value > edges[1])) {
      const below = value < edges[0];
      const by = plain(below ? edges[0] - value : value - edges[1]);
      return { verdict: "fail", why: `${by} ${of.unit} ${below ? "below" : "above"} the band` };
    }
    const off = () => `off by ${signed(value - (given(of.value) ? of.value : value))} ${of.unit}`;
    return { verdict: "fail", why: edges !== null ? off() : `not ${of.allowed}` };
  }

  /** An alarm's verdict and why. */
  function alarm(of, entry, units) {
    if (text(entry, "skip")) return { verdict: "skipped", why: text(entry, "skip") };
    if (lower(text(entry, "heard")) === "no") return { verdict: "fail", why: "not heard" };
    if (!text(entry, "value")) return { verdict: "open", why: "" };
    const delay = number(entry.value, "s", units);
    if (delay === null || delay < 0) return { verdict: "open", why: "not a time in seconds" };
    if (!text(entry, "priority")) return { verdict: "open", why: "priority not entered" };
    const soonest = given(of.soonest_s) ? of.soonest_s : 0.1;
    if (delay < soonest - 1e-6) {
      return { verdict: "open", why: `${plain(delay)} s is too soon: no monitor can know before ${plain(soonest)} s; time it again` };
    }
    const latest = Math.round(((of.onset_s || 0) + of.within_s) * 1000) / 1000;
    const found = [];
    if (delay > latest + 1e-6) found.push(`late by ${plain(delay - latest)} s`);
    if (lower(text(entry, "priority")) !== lower(of.priority)) {
      found.push(`${text(entry, "priority")} in place of ${of.priority}`);
    }
    return { verdict: found.length ? "fail" : "pass", why: found.join(", and ") };
  }

  /** The verdict on an alarm that must not sound, and why. */
  function silence(of, entry) {
    if (text(entry, "skip")) return { verdict: "skipped", why: text(entry, "skip") };
    if (lower(text(entry, "heard")) === "no") return { verdict: "pass", why: "" };
    return text(entry, "heard") || text(entry, "value")
      ? { verdict: "fail", why: "it sounded" }
      : { verdict: "open", why: "" };
  }

  /** The verdict on an alarm that must end, and why. */
  function clear(of, entry, units) {
    if (text(entry, "skip")) return { verdict: "skipped", why: text(entry, "skip") };
    if (lower(text(entry, "heard")) === "yes") return { verdict: "fail", why: "it went on" };
    if (!text(entry, "value")) return { verdict: "open", why: "" };
    const ended = number(entry.value, "s", units);
    if (ended === null || ended < 0) return { verdict: "open", why: "not a time in seconds" };
    const latest = Math.round((of.end_s + of.within_s) * 1000) / 1000;
    if (ended > latest + 1e-6) return { verdict: "fail", why: `ended late by ${plain(ended - latest)} s` };
    return { verdict: "pass", why: "" };
  }

  /** The verdict on a check by hand that is in order or not, and why. */
  function check(of, entry) {
    if (text(entry, "skip")) return { verdict: "skipped", why: text(entry, "skip") };
    const value = lower(text(entry, "value"));
    if (value === "yes") return { verdict: "pass", why: "" };
    if (value === "no") return { verdict: "fail", why: "not in order" };
    return { verdict: "open", why: value && "neither yes nor no" };
  }

  return { number, allows, reading, alarm, silence, clear, check };
})();
