"use strict";
// Verdicts as the report derives them (judge.rs, written.rs). Limits, times and units come with the page's data (rules.rs), so
// that nothing is worked out twice; one table of cases holds both together.

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

  const plain = (value) => String(Math.round(value * 100) / 100 + 0);
  const signed = (value) => (value > 0 ? "+" : "") + plain(value);
  const text = (entry, field) => (entry[field] || "").trim();

  /** A reading's verdict and why. */
  function reading(rule, entry, units) {
    if (!text(entry, "value")) return { verdict: "open", why: "" };
    const value = number(entry.value, rule.unit, units);
    if (value === null) return { verdict: "open", why: `not a number in ${rule.unit}` };
    if (rule.passes) {
      // A limit that is infinite is null in JSON.
      const [least, most] = rule.passes;
      if ((least === null || value >= least) && (most === null || value <= most)) return { verdict: "pass", why: "" };
    }
    if (rule.band && (value < rule.band[0] || value > rule.band[1])) {
      const below = value < rule.band[0];
      const by = plain(below ? rule.band[0] - value : value - rule.band[1]);
      return { verdict: "fail", why: `${by} ${rule.unit} ${below ? "below" : "above"} the band` };
    }
    const why = rule.value === null ? `not ${rule.allowed}` : `off by ${signed(value - rule.value)} ${rule.unit}`;
    return { verdict: "fail", why };
  }

  /** An alarm's verdict and why. */
  function alarm(rule, entry, units) {
    if (lower(text(entry, "heard")) === "no") return { verdict: "fail", why: "not heard" };
    if (!text(entry, "value")) return { verdict: "open", why: "" };
    const delay = number(entry.value, "s", units);
    if (delay === null || delay < 0) return { verdict: "open", why: "not a time in seconds" };
    if (!text(entry, "priority")) return { verdict: "open", why: "priority not entered" };
    if (delay < rule.earliest_s) {
      const soonest = plain(rule.soonest_s);
      return { verdict: "open", why: `${plain(delay)} s is too soon: no monitor can know before ${soonest} s; time it again` };
    }
    const found = [];
    if (delay > rule.latest_s) found.push(`late by ${plain(delay - rule.due_s)} s`);
    if (lower(text(entry, "priority")) !== lower(rule.priority)) {
      found.push(`${text(entry, "priority")} in place of ${rule.priority}`);
    }
    return { verdict: found.length ? "fail" : "pass", why: found.join(", and ") };
  }

  /** The verdict on an alarm that must not sound, and why. */
  function silence(rule, entry) {
    if (lower(text(entry, "heard")) === "no") return { verdict: "pass", why: "" };
    return text(entry, "heard") || text(entry, "value")
      ? { verdict: "fail", why: "it sounded" }
      : { verdict: "open", why: "" };
  }

  /** The verdict on an alarm that must end, and why. */
  function clear(rule, entry, units) {
    if (lower(text(entry, "heard")) === "yes") return { verdict: "fail", why: "it went on" };
    if (!text(entry, "value")) return { verdict: "open", why: "" };
    const ended = number(entry.value, "s", units);
    if (ended === null || ended < 0) return { verdict: "open", why: "not a time in seconds" };
    if (ended > rule.latest_s) return { verdict: "fail", why: `ended late by ${plain(ended - rule.due_s)} s` };
    return { verdict: "pass", why: "" };
  }

  /** The verdict on a check by hand that is in order or not, and why. */
  function check(rule, entry) {
    const value = lower(text(entry, "value"));
    if (value === "yes") return { verdict: "pass", why: "" };
    if (value === "no") return { verdict: "fail", why: "not in order" };
    return { verdict: "open", why: value && "neither yes nor no" };
  }

  const kinds = { reading, alarm, silence, clear, check };

  /** The verdict on an item, and why. */
  function item(rule, entry, units) {
    if (text(entry, "skip")) return { verdict: "skipped", why: text(entry, "skip") };
    return kinds[rule.kind](rule, entry, units);
  }

  return { item };
})();
