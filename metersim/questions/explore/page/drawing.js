/* Drawings of the page as SVG: the histogram of spacings, and a piece of the row. */

import { percent, plain } from "./words.js";

const SVG = "http://www.w3.org/2000/svg";
const CLOSE = 0.5; // bounds of the classes of spacings, over the nominal one
const MISSED = 1.5;
const UNITS = {
  metric: { length: 0.01, name: "cm", far: 1, farName: "m" },
  us: { length: 0.0254, name: "in", far: 0.3048, farName: "ft" },
};

/** An SVG element with attributes and a text. */
function shape(name, attributes = {}, text = "") {
  const made = document.createElementNS(SVG, name);
  for (const [key, value] of Object.entries(attributes)) made.setAttribute(key, value);
  if (text !== "") made.textContent = text;
  return made;
}

function letterOf(svg) {
  return Number.parseFloat(getComputedStyle(svg).fontSize);
}

function widthOf(svg) {
  return Math.max(svg.clientWidth, 240);
}

/** Empty a drawing and give it a size. */
function clear(svg, width, height) {
  svg.setAttribute("viewBox", `0 0 ${width} ${height}`);
  svg.setAttribute("height", height);
  svg.replaceChildren();
}

/** Round numbers from low to high, about `many` of them. */
function ticks(low, high, many) {
  const rough = (high - low) / many;
  const size = 10 ** Math.floor(Math.log10(rough));
  const step = [1, 2, 5, 10].map((one) => one * size).find((one) => one >= rough);
  const first = Math.ceil(low / step - 1e-9);
  const last = Math.floor(high / step + 1e-9);
  return Array.from({ length: last - first + 1 }, (_, k) => Number(((first + k) * step).toPrecision(9)));
}

/** Hatches of the three classes, so that they differ in grey. */
function hatches() {
  const found = shape("defs");
  const size = { width: 6, height: 6, patternUnits: "userSpaceOnUse" };
  const close = shape("pattern", { id: "close", ...size });
  close.append(
    shape("rect", { width: 6, height: 6, class: "close-ground" }),
    shape("path", { d: "M-1 7L7 -1M-1 1L1 -1M5 7L7 5", class: "hatch" }),
  );
  const missed = shape("pattern", { id: "missed", ...size });
  missed.append(
    shape("rect", { width: 6, height: 6, class: "missed-ground" }),
    shape("path", { d: "M0 0L6 6M6 0L0 6", class: "hatch" }),
  );
  found.append(close, missed);
  return found;
}

function fillOf(middle) {
  if (middle <= CLOSE) return "url(#close)";
  return middle > MISSED ? "url(#missed)" : "var(--normal)";
}

/** Draw spacings by class; `pinned` is the histogram of the pinned setting, or null. */
export function drawHistogram(svg, shown, nominal, units, pinned) {
  const letter = letterOf(svg);
  const width = widthOf(svg);
  const height = 18 * letter;
  clear(svg, width, height);
  const { length, name } = UNITS[units];
  const box = { left: 2.6 * letter, right: width - 0.5 * letter, top: 3.1 * letter, bottom: height - 2.9 * letter };
  const last = shown.edges.at(-1);
  const x = (ratio) => box.left + (ratio / last) * (box.right - box.left);
  const shares = (one) => one.counts.map((count) => count / Math.max(one.spacings, 1));
  const drawn = shares(shown);
  const other = pinned ? shares(pinned) : [];
  const highest = Math.max(...drawn, ...other, 0.01);
  const top = [0.02, 0.05, 0.1, 0.15, 0.2, 0.3, 0.4, 0.5, 0.75, 1].find((one) => one >= highest);
  const y = (share) => box.bottom - (share / top) * (box.bottom - box.top);
  svg.append(hatches());

  for (const share of [0, top / 2, top]) {
    const at = y(share);
    svg.append(
      shape("line", { x1: box.left, x2: box.right, y1: at, y2: at, class: share ? "thin" : "rule" }),
      shape("text", { x: box.left - 5, y: at + 0.35 * letter, class: "end" }, plain(100 * share)),
    );
  }
  svg.append(shape("text", { x: 0, y: letter }, "%"));
  drawn.forEach((share, k) => {
    if (!share) return;
    const [low, high] = [x(shown.edges[k]), x(shown.edges[k + 1])];
    const fill = fillOf((shown.edges[k] + shown.edges[k + 1]) / 2);
    const at = y(share);
    const bar = { x: low + 0.5, width: high - low - 1, y: at, height: box.bottom - at, fill, class: "bar" };
    svg.append(shape("rect", bar));
  });
  if (pinned) svg.append(shape("path", { d: outline(other, pinned.edges, x, y), class: "pinned" }));

  const bounds = [0, CLOSE, MISSED, last];
  const words = [
    ["close", shown.multiple],
    ["normal", shown.quality],
    ["missed", shown.miss],
  ];
  words.forEach(([word, share], k) => {
    const middle = (x(bounds[k]) + x(bounds[k + 1])) / 2;
    svg.append(
      shape("text", { x: middle, y: letter, class: "middle strong" }, word),
      shape("text", { x: middle, y: 2.3 * letter, class: "middle" }, percent(share)),
    );
  });
  for (const bound of [CLOSE, MISSED]) {
    svg.append(shape("line", { x1: x(bound), x2: x(bound), y1: 0, y2: box.bottom, class: "bound" }));
  }
  const scale = nominal / length;
  for (const tick of ticks(0, last * scale, width / (5 * letter))) {
    const at = x(tick / scale);
    svg.append(
      shape("line", { x1: at, x2: at, y1: box.bottom, y2: box.bottom + 4, class: "rule" }),
      shape("text", { x: at, y: box.bottom + 1.3 * letter, class: "middle" }, plain(tick)),
    );
  }
  const middle = (box.left + box.right) / 2;
  const axis = `spacing, ${name} (one seed every ${plain(Number(scale.toPrecision(4)))} ${name})`;
  svg.append(shape("text", { x: middle, y: height - 0.3 * letter, class: "middle" }, axis));
  if (shown.beyond) {
    const far = { x: box.right, y: box.bottom - 0.5 * letter, class: "end" };
    svg.append(shape("text", far, `${shown.beyond} farther`));
  }
}

/** Steps over the tops of bars, as a path. */
function outline(shares, edges, x, y) {
  const steps = shares.map((share, k) => `V${y(share).toFixed(1)}H${x(edges[k + 1]).toFixed(1)}`);
  return `M${x(edges[0]).toFixed(1)} ${y(0).toFixed(1)}${steps.join("")}V${y(0).toFixed(1)}`;
}

/** Words of the histogram, for its caption and for those who do not see it. */
export function histogramWords(shown, pinned) {
  if (!shown.spacings) return "There are no spacings.";
  const words =
    `Of ${shown.spacings.toLocaleString("en")} spacings, ${percent(shown.multiple)} are close ` +
    `(hatched), ${percent(shown.quality)} normal (plain) and ${percent(shown.miss)} missed (crossed).`;
  return pinned ? `${words} Broken line: the pinned setting.` : words;
}

/** Line of the word above each odd cell, 0 the lowest, so that words stay apart. */
function wordLines(cells, x, letter) {
  const ends = []; // of the last word on each line
  return new Map(
    cells.map(({ cell, place_m: place, what }) => {
      const half = 0.29 * letter * what.length + 2;
      let line = ends.findIndex((end) => end < x(place) - half);
      if (line < 0) line = ends.length;
      ends[line] = x(place) + half;
      return [cell, line];
    }),
  );
}

/** Draw a piece of the row to scale, with the cell `chosen` marked. */
export function drawStrip(svg, strip, units, chosen) {
  const letter = letterOf(svg);
  const width = widthOf(svg);
  const { far, farName } = UNITS[units];
  const x = (place) => 4 + ((place - strip.low_m) / (strip.high_m - strip.low_m)) * (width - 8);
  const lines = wordLines(strip.cells.filter((cell) => cell.what !== "usual"), x, letter);
  const top = 1.2 * Math.max(...lines.values(), 0) * letter;
  const places = top + 1.9 * letter;
  const row = top + 3.3 * letter;
  const soil = top + 4.2 * letter;
  clear(svg, width, soil + 2.1 * letter);

  svg.append(shape("line", { x1: 0, x2: width, y1: soil, y2: soil, class: "rule" }));
  for (const { cell, place_m: place, what } of strip.cells) {
    const at = x(place);
    const [y1, y2] = [places - 0.4 * letter, places + 0.4 * letter];
    svg.append(shape("line", { x1: at, x2: at, y1, y2, class: cell === chosen ? "place chosen" : "place" }));
    if (what === "usual") continue;
    const y = top + (1 - 1.2 * lines.get(cell)) * letter;
    svg.append(shape("text", { x: at, y, class: "middle" }, what));
    if (what === "skip") svg.append(cross(at, row, 0.36 * letter));
  }
  const kinds = new Map(strip.cells.map((cell) => [cell.cell, cell]));
  for (const seed of strip.seeds) {
    const at = x(seed.position_m);
    const inside = kinds.get(seed.cell);
    if (inside) svg.append(shape("line", { x1: x(inside.place_m), y1: places + 0.4 * letter, x2: at, y2: row, class: "thin" }));
    const several = seed.what && seed.what !== "usual";
    svg.append(several ? diamond(at, row, 0.48 * letter) : lone(at, row, 0.4 * letter, !inside));
  }
  for (const tick of ticks(strip.low_m / far, strip.high_m / far, width / (8 * letter))) {
    const at = x(tick * far);
    if (at < 2 * letter || at > width - 3 * letter) continue;
    svg.append(
      shape("line", { x1: at, x2: at, y1: soil, y2: soil + 4, class: "rule" }),
      shape("text", { x: at, y: soil + 1.5 * letter, class: "middle" }, `${plain(tick)} ${farName}`),
    );
  }
}

function lone(x, y, size, beside) {
  return shape("ellipse", { cx: x, cy: y, rx: size, ry: 0.8 * size, class: beside ? "seed beside" : "seed" });
}

function diamond(x, y, size) {
  const d = `M${x - size} ${y}L${x} ${y - size}L${x + size} ${y}L${x} ${y + size}Z`;
  return shape("path", { d, fill: "url(#close)", class: "several" });
}

function cross(x, y, size) {
  const d = `M${x - size} ${y - size}L${x + size} ${y + size}M${x - size} ${y + size}L${x + size} ${y - size}`;
  return shape("path", { d, class: "skip" });
}

/** Words of the piece of the row. */
export function stripWords(strip) {
  const { cells, seeds } = strip;
  const beside = seeds.some((seed) => !seed.what) ? "Rings: seeds of cells beside this piece. " : "";
  return (
    `Cells ${cells[0].cell} to ${cells.at(-1).cell} in the order in which they drop. Short strokes: ` +
    "theoretical places, each with a thin line to its seed. Dots: lone seeds. Hatched diamonds: seeds " +
    `of doubles. Crosses: skips. ${beside}Distances are to scale; seeds are drawn larger.`
  );
}
