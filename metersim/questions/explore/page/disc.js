/* The disc in motion, and what befell the cell that is at the singulator's edge. */

import { element } from "./words.js";

const NEAR = 1e-9; // s

/** Plays the motion of one piece of a run on a canvas. */
export class Disc {
  constructor(parts, said) {
    this.parts = parts; // canvas, words, cell, play, before, after, rate
    this.said = said; // called with the number of the cell at the edge
    this.motion = null;
    this.player = null;
    this.playing = false;
    parts.play.addEventListener("click", () => this.toggle());
    parts.before.addEventListener("click", () => this.step(-1));
    parts.after.addEventListener("click", () => this.step(1));
    parts.rate.addEventListener("change", () => this.player?.rate(Number(parts.rate.value)));
    this.still = matchMedia("(prefers-reduced-motion: reduce)");
    this.still.addEventListener("change", () => this.still.matches && this.pause());
  }

  /** Show a motion with `cell` at the edge. */
  load(motion, cell) {
    this.player?.destroy();
    this.motion = motion;
    this.player = window.metersimMotion?.create(this.parts.canvas, motion, {}) ?? null;
    for (const name of ["play", "before", "after", "rate"]) this.parts[name].disabled = !this.player;
    if (!this.player) return;
    this.player.rate(Number(this.parts.rate.value));
    this.player.onFrame(() => this.frame());
    this.seek(cell);
    if (this.playing) this.player.play();
  }

  get cells() {
    return this.motion?.cells ?? [];
  }

  /** The cell that passed the edge last, among those of the motion. */
  get current() {
    const now = this.player?.time ?? 0;
    let found = this.cells[0];
    for (const cell of this.cells) if (cell.times.edge <= now + NEAR) found = cell;
    return found;
  }

  /** Turn the disc until a cell is at the edge. */
  seek(number) {
    const cell = this.cells.find((one) => one.cell === number) ?? this.cells[0];
    if (!cell || !this.player) return;
    this.player.seek(cell.times.edge);
    this.frame(true);
  }

  toggle() {
    if (this.playing) this.pause();
    else this.play();
  }

  play() {
    if (!this.player || this.still.matches) return;
    if (this.current === this.cells.at(-1)) this.seek(this.cells[0].cell);
    this.playing = true;
    this.player.play();
    this.parts.play.textContent = "Pause";
    this.parts.cell.setAttribute("aria-live", "off");
  }

  pause() {
    this.playing = false;
    this.player?.pause();
    this.parts.play.textContent = "Play";
    this.parts.cell.setAttribute("aria-live", "polite");
    this.frame(true);
  }

  /** Stop with the next cell, or the one before, at the edge. */
  step(many) {
    if (!this.player) return;
    if (this.playing) this.pause();
    const at = this.cells.indexOf(this.current) + many;
    if (this.cells[at]) this.seek(this.cells[at].cell);
  }

  /** Called with each picture of the motion. */
  frame(always = false) {
    const cell = this.current;
    if (!cell || (!always && cell === this.last)) return;
    this.last = cell;
    this.parts.cell.replaceChildren(...cellWords(cell, this.motion));
    this.said(cell.cell);
    if (cell === this.cells.at(-1) && this.playing) this.pause();
  }
}

function plural(many, word) {
  return `${many} ${word}${many === 1 ? "" : "s"}`;
}

/** What the trace has of a cell, as a heading and a table. */
function cellWords(cell, motion) {
  const lost = motion.seeds.filter((seed) => seed.cell === cell.cell && seed.lost);
  const released = `${cell.released ? plural(cell.released, "seed") : "skip"}`;
  const rows = [
    ["joined in the pool", plural(cell.joined, "seed"), cell.times.leaves],
    ...lost.map((seed) => [`lost: ${seed.lost.why}`, "1 seed", seed.lost.time]),
    ["released at the cut-off", cell.released ? released : `none: ${cell.why}`, cell.times.cut],
  ];
  const body = element("tbody");
  for (const [what, many, time] of rows) {
    const row = element("tr");
    row.append(element("th", { scope: "row" }, what), element("td", {}, many));
    row.append(element("td", {}, `${time.toFixed(3)} s`));
    body.append(row);
  }
  const caption = `Cell ${cell.cell} at the edge, hole ${cell.hole + 1}, ${cell.times.edge.toFixed(3)} s`;
  const table = element("table");
  table.append(element("caption", {}, caption), body);
  return [table];
}
