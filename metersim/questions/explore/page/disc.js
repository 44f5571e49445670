/* The disc in motion, and what befell the cell that is at the singulator's edge. */

import { element } from "./words.js";

const NEAR = 1e-9; // s

/** Plays the motion of one piece of a run on a canvas. */
export class Disc {
  constructor(parts, said) {
    this.parts = parts; // canvas, now, cell, play, before, after, rate, view, noMotion
    this.said = said; // called with the number of the cell at the edge
    this.motion = null;
    this.cells = []; // those that the motion is about
    this.player = null;
    this.playing = false;
    parts.play.addEventListener("click", () => this.toggle());
    parts.before.addEventListener("click", () => this.step(-1));
    parts.after.addEventListener("click", () => this.step(1));
    parts.rate.addEventListener("change", () => this.player?.rate(Number(parts.rate.value)));
    parts.view.addEventListener("change", () => this.player?.view(parts.view.value));
    this.still = matchMedia("(prefers-reduced-motion: reduce)");
    this.still.addEventListener("change", () => this.heed());
    this.heed();
  }

  /** A person who wants no motion steps from cell to cell. */
  heed() {
    const still = this.still.matches;
    this.parts.play.disabled = still;
    this.parts.noMotion.hidden = !still;
    if (still && this.playing) this.pause();
  }

  /** Show a motion with `cell` at the edge. */
  load(motion, cell, units) {
    this.player?.destroy();
    this.motion = motion;
    const { first, many } = motion;
    this.cells = motion.cells.filter((one) => first <= one.cell && one.cell < first + many);
    const { canvas, rate, view } = this.parts;
    this.player = window.metersimMotion.create(canvas, motion, {
      units,
      view: view.value,
      since: this.cells[0].times.cut - NEAR, // then the count is that of the piece
      onText: (text) => (this.parts.now.textContent = text),
    });
    this.player.rate(Number(rate.value));
    this.player.onFrame(() => this.frame());
    this.seek(cell);
    if (this.playing) this.player.play();
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
    if (this.player.time >= this.player.end) this.seek(this.cells[0].cell);
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
    if (this.playing && this.player.time >= this.player.end) return this.pause();
    const cell = this.current;
    if (!cell || (!always && cell === this.last)) return;
    this.last = cell;
    this.parts.cell.replaceChildren(...cellWords(cell, this.motion));
    this.said(cell.cell);
  }
}

/** What happened to a cell by the trace, as a table. */
function cellWords(cell, motion) {
  const table = element("table");
  const caption = `Cell ${cell.cell} in hole ${cell.hole + 1} is at the edge at ${cell.times.edge.toFixed(3)} s.`;
  const body = element("tbody");
  for (const event of motion.events.filter((one) => one.cell === cell.cell)) {
    const row = element("tr");
    row.append(element("td", {}, `${event.time.toFixed(3)} s`), element("td", {}, event.words));
    body.append(row);
  }
  table.append(element("caption", {}, caption), body);
  return [table];
}
