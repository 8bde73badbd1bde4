"use strict";
// The digest of a record, as seal.rs computes it. Own SHA-256 (FIPS 180-4): a page opened from a file may not have the
// browser's.

const seal = (() => {
  const primes = [];
  for (let n = 2; primes.length < 64; n += 1) if (primes.every((p) => n % p)) primes.push(n);
  const fraction = (x) => Math.floor((x - Math.floor(x)) * 2 ** 32) >>> 0;
  const K = primes.map((p) => fraction(Math.cbrt(p)));
  const START = primes.slice(0, 8).map((p) => fraction(Math.sqrt(p)));
  const turn = (x, n) => (x >>> n) | (x << (32 - n));

  function sha256(bytes) {
    const length = bytes.length;
    const blocks = Math.ceil((length + 9) / 64);
    const data = new DataView(new ArrayBuffer(blocks * 64));
    bytes.forEach((byte, i) => data.setUint8(i, byte));
    data.setUint8(length, 0x80);
    data.setUint32(blocks * 64 - 8, Math.floor(length / 2 ** 29));
    data.setUint32(blocks * 64 - 4, (length * 8) >>> 0);
    const state = START.slice();
    const w = new Array(64);
    for (let block = 0; block < blocks; block += 1) {
      for (let i = 0; i < 16; i += 1) w[i] = data.getUint32(block * 64 + i * 4);
      for (let i = 16; i < 64; i += 1) {
        const a = turn(w[i - 15], 7) ^ turn(w[i - 15], 18) ^ (w[i - 15] >>> 3);
        const b = turn(w[i - 2], 17) ^ turn(w[i - 2], 19) ^ (w[i - 2] >>> 10);
        w[i] = (w[i - 16] + a + w[i - 7] + b) | 0;
      }
      let [a, b, c, d, e, f, g, h] = state;
      for (let i = 0; i < 64; i += 1) {
        const one = turn(e, 6) ^ turn(e, 11) ^ turn(e, 25);
        const t = (h + one + ((e & f) ^ (~e & g)) + K[i] + w[i]) | 0;
        const nought = turn(a, 2) ^ turn(a, 13) ^ turn(a, 22);
        const u = (nought + ((a & b) ^ (a & c) ^ (b & c))) | 0;
        [h, g, f, e, d, c, b, a] = [g, f, e, (d + t) | 0, c, b, a, (t + u) | 0];
      }
      [a, b, c, d, e, f, g, h].forEach((x, i) => (state[i] = (state[i] + x) | 0));
    }
    return state.map((x) => (x >>> 0).toString(16).padStart(8, "0")).join("");
  }

  /** Keys in order, no blanks. A record holds text and whole numbers only, so numbers need no rule. */
  function canonical(value) {
    if (Array.isArray(value)) return `[${value.map(canonical).join(",")}]`;
    if (value !== null && typeof value === "object") {
      const keys = Object.keys(value).sort();
      return `{${keys.map((key) => `${JSON.stringify(key)}:${canonical(value[key])}`).join(",")}}`;
    }
    return JSON.stringify(value);
  }

  /** The digest of a record: its plan counts by the plan's own digest. */
  function record(of) {
    const { digest, ...rest } = of;
    const text = canonical({ ...rest, plan: of.plan.digest });
    return `sha256:${sha256(new TextEncoder().encode(text))}`;
  }

  /** Whether a record is as it was saved, with the plan of this page. */
  function fits(of, plan) {
    return of.digest === record(of) && canonical(of.plan) === canonical(plan);
  }

  return { sha256, record, fits };
})();
