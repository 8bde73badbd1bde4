// Strips that sweep at true scale: frames as they come, marks from the truth.

const MM_PER_S = 25;
const GAP_MM = 4;
const KEPT_S = 40;
const ECG_MM = 28;
const OTHER_MM = 22;

export class Strips {
  constructor(grid, traces, data) {
    this.grid = grid;
    this.traces = traces;
    this.channels = data.channels;
    this.rate = data.rate_hz / data.every;
    this.every = data.every;
    this.kept = Math.ceil(KEPT_S * this.rate);
    this.samples = new Float32Array(this.kept * this.channels.length);
    this.marks = [];
    this.first = 0; // Number of the first frame kept.
    this.end = 0; // Number after the last frame that has come.
    this.drawn = 0; // Number after the last frame drawn.
    this.shown = [];
    this.mm = 96 / 25.4;
    this.gain = 10;
    this.ranges = new Map();
    this.pictures = 0;
    new ResizeObserver(() => this.layout()).observe(grid.parentElement);
    const draw = () => { this.draw(); requestAnimationFrame(draw); };
    requestAnimationFrame(draw);
  }

  // Channels by id, the scale in pixels a millimetre, and the gain in mm/mV.
  show(ids, mm, gain) {
    this.shown = ids.map((id) => this.channels.findIndex((channel) => channel.id === id)).filter((index) => index >= 0);
    this.mm = mm;
    this.gain = gain;
    this.layout();
  }

  // A message of frames: number of the first, how many, samples frame by frame.
  take(buffer) {
    const view = new DataView(buffer);
    const first = view.getFloat64(0, true);
    const count = view.getUint32(8, true);
    const width = this.channels.length;
    const samples = new Float32Array(buffer.slice(12));
    if (first !== this.end) {
      this.first = first;
      this.drawn = first;
    }
    for (let i = 0; i < count; i += 1) {
      const at = ((first + i) % this.kept) * width;
      this.samples.set(samples.subarray(i * width, (i + 1) * width), at);
    }
    this.end = first + count;
    this.first = Math.max(this.first, this.end - this.kept);
  }

  mark(marks) {
    for (const [kind, frame, word] of marks) this.marks.push({ kind, at: Math.floor(frame / this.every), word, drawn: false });
    const old = this.end - this.kept;
    if (this.marks.length > 400) this.marks = this.marks.filter((mark) => mark.at > old);
  }

  sample(frame, channel) { return this.samples[(frame % this.kept) * this.channels.length + channel]; }

  seconds() { return Math.max(1, this.width / (MM_PER_S * this.mm)); }

  layout() {
    const box = this.grid.parentElement;
    this.width = Math.max(100, box.clientWidth);
    let top = 0;
    this.strips = this.shown.map((channel) => {
      const { id, unit } = this.channels[channel];
      const height = (unit === "mV" ? ECG_MM : OTHER_MM) * this.mm;
      const strip = { channel, id, unit, top, height };
      top += height;
      return strip;
    });
    this.height = Math.max(40, Math.round(top));
    this.ratio = window.devicePixelRatio || 1;
    for (const canvas of [this.grid, this.traces]) {
      canvas.width = Math.round(this.width * this.ratio);
      canvas.height = Math.round(this.height * this.ratio);
      canvas.style.height = `${this.height}px`;
    }
    this.traces.setAttribute("aria-label", `Strips of what is played: ${this.strips.map((strip) => strip.id).join(", ")}`);
    this.paper();
    this.again();
  }

  // Draws everything anew from the frames kept.
  again() {
    const context = this.traces.getContext("2d");
    context.setTransform(this.ratio, 0, 0, this.ratio, 0, 0);
    context.clearRect(0, 0, this.width, this.height);
    for (const mark of this.marks) mark.drawn = false;
    const span = Math.floor(this.seconds() * this.rate);
    this.drawn = Math.max(this.first, this.end - span + Math.ceil((GAP_MM / MM_PER_S) * this.rate));
  }

  paper() {
    const style = getComputedStyle(document.documentElement);
    this.ink = style.getPropertyValue("--trace");
    this.soft = style.getPropertyValue("--soft");
    const context = this.grid.getContext("2d");
    context.setTransform(this.ratio, 0, 0, this.ratio, 0, 0);
    context.clearRect(0, 0, this.width, this.height);
    const fine = style.getPropertyValue("--paper-fine");
    const bold = style.getPropertyValue("--paper-bold");
    for (const strip of this.strips) {
      const ecg = strip.unit === "mV";
      const middle = strip.top + strip.height / 2;
      if (ecg) {
        const up = Math.floor(strip.height / 2 / this.mm);
        for (let row = -up; row <= up; row += 1) this.rule(context, 0, middle + row * this.mm, this.width, middle + row * this.mm, row % 5 ? fine : bold);
      } else {
        for (const share of [0, 0.5, 1]) {
          const y = this.y(strip, this.range(strip)[0] + share * (this.range(strip)[1] - this.range(strip)[0]));
          this.rule(context, 0, y, this.width, y, share === 0.5 ? fine : bold);
        }
      }
      const columns = Math.ceil(this.width / this.mm);
      for (let column = 0; column <= columns; column += 1) {
        if (ecg || column % 5 === 0) this.rule(context, column * this.mm, strip.top, column * this.mm, strip.top + strip.height, column % 5 ? fine : bold);
      }
      this.rule(context, 0, strip.top + strip.height, this.width, strip.top + strip.height, this.soft);
      context.fillStyle = this.soft;
      context.font = "600 12px system-ui, sans-serif";
      const [low, high] = this.range(strip);
      context.fillText(ecg ? strip.id : `${strip.id}  ${low} to ${high} ${strip.unit}`, 6, strip.top + 14);
    }
  }

  rule(context, x0, y0, x1, y1, colour) {
    context.strokeStyle = colour;
    context.lineWidth = 1;
    context.beginPath();
    context.moveTo(Math.round(x0) + 0.5, Math.round(y0) + 0.5);
    context.lineTo(Math.round(x1) + 0.5, Math.round(y1) + 0.5);
    context.stroke();
  }

  range(strip) {
    return this.ranges.get(strip.id) || (strip.unit === "ohm" ? [998, 1004] : strip.id === "arterial" ? [0, 200] : [0, 40]);
  }

  y(strip, value) {
    if (strip.unit === "mV") return strip.top + strip.height / 2 - value * this.gain * this.mm;
    const [low, high] = this.range(strip);
    const inside = strip.height - 22;
    return strip.top + strip.height - 3 - ((value - low) / (high - low)) * inside;
  }

  // Chooses ranges that hold what was played in the last seconds.
  fit() {
    let changed = false;
    for (const strip of this.strips) {
      if (strip.unit === "mV" || this.end <= this.first) continue;
      let low = Infinity;
      let high = -Infinity;
      for (let frame = Math.max(this.first, Math.floor(this.end - 6 * this.rate)); frame < this.end; frame += 5) {
        const value = this.sample(frame, strip.channel);
        if (value < low) low = value;
        if (value > high) high = value;
      }
      let range;
      if (strip.unit === "ohm") {
        const bottom = Math.floor(low - 0.3);
        range = [bottom, Math.max(bottom + 3, Math.ceil(high + 0.3))];
      } else {
        const top = [10, 20, 40, 100, 200, 300, 400].find((limit) => high <= limit) || 500;
        range = [low < -1 ? -20 : 0, top];
      }
      const now = this.range(strip);
      const holds = now[0] <= low + 1e-6 && now[1] >= high && now[1] - now[0] <= 3 * (range[1] - range[0]);
      if (!holds) {
        this.ranges.set(strip.id, range);
        changed = true;
      }
    }
    if (changed) {
      this.paper();
      this.again();
    }
  }

  draw() {
    if (!this.strips || this.drawn >= this.end) return;
    // After a pause of drawing, as of a page in the background, one sweep is not enough for what has come.
    if (this.end - this.drawn > 0.9 * this.seconds() * this.rate) this.again();
    if (this.pictures % 60 === 0) this.fit();
    this.pictures += 1;
    const context = this.traces.getContext("2d");
    const span = this.seconds() * this.rate;
    const x = (frame) => ((frame % span) / span) * this.width;
    const from = Math.max(this.first, this.drawn - 1, 0);
    const gap = GAP_MM * this.mm;
    const left = x(this.drawn);
    const wide = ((this.end - this.drawn) / span) * this.width + gap;
    context.clearRect(left, 0, wide, this.height);
    if (left + wide > this.width) context.clearRect(0, 0, left + wide - this.width, this.height);
    context.strokeStyle = this.ink;
    context.lineWidth = 1.4;
    context.lineJoin = "round";
    for (const strip of this.strips) {
      context.save();
      context.beginPath();
      context.rect(0, strip.top, this.width, strip.height);
      context.clip();
      context.beginPath();
      let before = Infinity;
      for (let frame = from; frame < this.end; frame += 1) {
        const at = x(frame);
        const y = this.y(strip, this.sample(frame, strip.channel));
        if (at < before) context.moveTo(at, y);
        else context.lineTo(at, y);
        before = at;
      }
      context.stroke();
      context.restore();
    }
    this.drawn = this.end;
    this.drawMarks(context, x, span);
  }

  drawMarks(context, x, span) {
    const ecg = this.strips.find((strip) => strip.unit === "mV");
    const breath = this.strips.find((strip) => strip.unit === "ohm");
    context.font = "600 12px system-ui, sans-serif";
    // A letter is drawn once the sweep has passed its width, or the next piece would wipe half of it.
    const passed = this.drawn - (14 / this.width) * span;
    for (const mark of this.marks) {
      if (mark.drawn || mark.at >= passed || mark.at < this.drawn - span * 0.9) continue;
      mark.drawn = true;
      const at = x(mark.at);
      context.fillStyle = this.ink;
      if (mark.kind === "beat" && ecg) context.fillText(mark.word, at - 4, ecg.top + ecg.height - 5);
      if (mark.kind === "p" && ecg) context.fillText("\u00b7", at - 2, ecg.top + ecg.height - 5);
      if (mark.kind === "refused" && ecg) {
        const words = `no beat: ${mark.word}`;
        context.fillText(words, Math.max(2, at - context.measureText(words).width), ecg.top + 28);
      }
      if (mark.kind === "pace" && ecg) this.rule(context, at, ecg.top + 18, at, ecg.top + 28, this.ink);
      if (mark.kind === "pace" && ecg && mark.word.includes("?")) context.fillText(mark.word, at + 3, ecg.top + 28);
      if (mark.kind === "breath" && breath) context.fillText("\u2191", at - 4, breath.top + breath.height - 5);
      if (mark.kind === "step") {
        context.setLineDash([4, 4]);
        this.rule(context, at, 0, at, this.height, this.soft);
        context.setLineDash([]);
      }
    }
  }
}
