// Kit: each piece with its number, its place and its picture; taken out before, brought back after.

import { field, make } from "./dom.js";
import { Photos, picture } from "./photos.js";

/** A piece before the check. */
export class PieceOut {
  constructor(line, number, check) {
    Object.assign(this, { line, number, check });
    this.id = make("input", { type: "text", autocomplete: "off" });
    this.place = make("input", { type: "text", autocomplete: "off" });
    this.photos = new Photos(`kit.${number}`, "Picture", check);
    this.row = make("div", { className: "piece" }, check.tickOf(line, "out", number), field("Number", this.id), field("Place", this.place), this.photos.part);
    this.row.setAttribute("role", "group");
    this.row.setAttribute("aria-label", line);
    const send = () => check.play({ do: "piece", number, id: this.id.value.trim(), place: this.place.value.trim() });
    for (const input of [this.id, this.place]) input.addEventListener("change", send);
  }

  show(record) {
    const { id = "", place = "" } = record.kit?.[this.number] || {};
    for (const [input, value] of [[this.id, id], [this.place, place]]) {
      input.disabled = !record.open;
      if (document.activeElement !== input) input.value = record.open ? value : "";
    }
    this.photos.button.disabled = !record.open;
    const name = record.pieces?.find((piece) => piece.line === this.line)?.picture || "";
    if (this.picture === name) return;
    this.picture = name;
    this.photos.shown.replaceChildren(...(name ? [picture(name, `Picture of: ${this.line}`)] : []));
  }
}

/** A piece after the check: with its number, and where it goes. */
export class PieceBack {
  constructor(line, number, check) {
    Object.assign(this, { number });
    this.where = make("small", {});
    this.row = check.tickOf(line, "back", number);
    this.row.append(this.where);
  }

  show(record) {
    const { id, place, out } = record.kit?.[this.number] || {};
    this.where.textContent = !record.open ? "" : [id, place && `to ${place}`, !out && "not taken out"].filter(Boolean).join(", ");
  }
}
