/* The plane of skips against doubles, as SVG: counts with their outlines, and true shares at the end. */

const SVG = "http://www.w3.org/2000/svg";
const TICKS = [0, 0.002, 0.005, 0.01, 0.02, 0.05, 0.1, 0.2, 0.4, 0.7, 1];
const LEAST_TOP = 0.02; // share at which a scale ends at least
const WHO = { "in order": "in order", found: "as found", class: "as you left it", "one step": "one step at a time" };

function shape(name, attributes = {}, text = "") {
  const made = document.createElementNS(SVG, name);
  for (const [key, value] of Object.entries(attributes)) made.setAttribute(key, value);
  if (text !== "") made.textContent = text;
  return made;
}

const share = (value) => `${Number((100 * value).toPrecision(2))} %`;

/** A scale that is wider near 0: the root of a share gives its place. */
function scaleOf(shares, from, to) {
  const top = Math.min(1, 1.08 * Math.max(LEAST_TOP, ...shares));
  const at = (value) => from + (to - from) * Math.sqrt(Math.max(value, 0) / top);
  return { at, ticks: TICKS.filter((one) => one <= top) };
}

/** Draw all counts; of outlines those of the meter in order and of the last two, or all. */
export function drawPlane(svg, plane, all) {
  const letter = Number.parseFloat(getComputedStyle(svg).fontSize);
  const width = Math.max(svg.clientWidth, 260);
  const height = Math.round(Math.min(0.62 * width, 34 * letter));
  svg.setAttribute("viewBox", `0 0 ${width} ${height}`);
  svg.setAttribute("height", height);
  const corners = plane.points.flatMap((one) => [...one.region, [one.skip, one.double]]);
  const shares = [...corners, ...plane.true.map((one) => [one.skip, one.double])];
  const left = 3.6 * letter;
  const foot = height - 2.9 * letter;
  const across = scaleOf(shares.map((one) => one[1]), left + letter, width - 1.5 * letter);
  const upward = scaleOf(shares.map((one) => one[0]), foot - 0.8 * letter, 2.2 * letter);
  const parts = [...axes({ across, upward, left, foot, width, letter })];
  const counted = plane.points.filter((one) => one.number > 0);
  const last = counted.at(-1)?.number;
  for (const one of plane.points) {
    const kind = one.number === 0 ? "order" : one.number === last ? "last" : one.number === last - 1 ? "before" : "";
    if (!kind && !all) continue;
    const way = one.region.map(([skip, double]) => `${across.at(double).toFixed(1)},${upward.at(skip).toFixed(1)}`);
    const outline = shape("polygon", { points: way.join(" "), class: `outline ${kind}` });
    outline.append(shape("title", {}, `region of count ${one.number}: ${one.at}`));
    parts.push(outline);
  }
  const places = counted.map((one) => [across.at(one.double), upward.at(one.skip)]);
  for (let k = 1; k < places.length; k += 1) parts.push(...arrow(places[k - 1], places[k], letter));
  for (const one of plane.true) parts.push(mark(one, across, upward, letter));
  parts.push(...marked(plane.true, across, upward, letter, width));
  for (const one of plane.points) {
    const [x, y] = [across.at(one.double), upward.at(one.skip)];
    const wide = (String(one.number).length * 0.62 + 0.3) * letter;
    parts.push(
      shape("rect", { x: x - wide / 2, y: y - 0.6 * letter, width: wide, height: 1.2 * letter, class: "plate" }),
      shape("text", { x, y: y + 0.36 * letter, class: "middle strong" }, String(one.number)),
    );
  }
  svg.replaceChildren(...parts);
}

function* axes({ across, upward, left, foot, width, letter }) {
  yield shape("path", { d: `M${left} ${1.6 * letter}V${foot}H${width - letter}`, fill: "none", class: "rule" });
  let free = -1;
  for (const one of across.ticks) {
    const x = across.at(one);
    yield shape("path", { d: `M${x} ${foot}v${0.3 * letter}`, class: "rule" });
    const half = 0.28 * letter * share(one).length;
    if (x - half < free) continue;
    free = x + half + 0.4 * letter;
    yield shape("text", { x, y: foot + 1.4 * letter, class: "middle" }, share(one));
  }
  let under = Infinity;
  for (const one of upward.ticks) {
    const y = upward.at(one);
    yield shape("path", { d: `M${left} ${y}h${-0.3 * letter}`, class: "rule" });
    if (y > under - 1.2 * letter) continue;
    under = y;
    yield shape("text", { x: left - 0.5 * letter, y: y + 0.35 * letter, class: "end" }, share(one));
  }
  yield shape("text", { x: width - letter, y: foot + 2.6 * letter, class: "end" }, "doubles, of all cells (wider near 0)");
  yield shape("text", { x: 0, y: letter }, "skips, of all cells (wider near 0)");
}

/** A line from one count to the next, with a head before the next number. */
function* arrow([x, y], [toX, toY], letter) {
  const far = Math.hypot(toX - x, toY - y);
  const free = 0.9 * letter;
  if (far < 2.4 * free) return;
  const [alongX, alongY] = [(toX - x) / far, (toY - y) / far];
  const [tipX, tipY] = [toX - free * alongX, toY - free * alongY];
  const size = 0.55 * letter;
  const [backX, backY] = [tipX - size * alongX, tipY - size * alongY];
  const [sideX, sideY] = [-0.35 * size * alongY, 0.35 * size * alongX];
  yield shape("path", { d: `M${x + free * alongX} ${y + free * alongY}L${backX} ${backY}`, class: "path" });
  yield shape("path", {
    d: `M${tipX} ${tipY}L${backX + sideX} ${backY + sideY}L${backX - sideX} ${backY - sideY}Z`,
    class: "head",
  });
}

/** The true shares of somebody's meter, a mark of its own. */
function mark(one, across, upward, letter) {
  const [x, y, r] = [across.at(one.double), upward.at(one.skip), 0.45 * letter];
  const ways = {
    "in order": `M${x - r} ${y - r}h${2 * r}v${2 * r}h${-2 * r}Z`,
    found: `M${x - r} ${y - r}h${2 * r}L${x} ${y + r}Z`,
    class: `M${x} ${y - 1.2 * r}L${x + 1.2 * r} ${y}L${x} ${y + 1.2 * r}L${x - 1.2 * r} ${y}Z`,
    "one step": `M${x - r} ${y + r}h${2 * r}L${x} ${y - r}Z`,
  };
  return shape("path", { d: ways[one.who], class: "true" });
}

/** Words beside the marks; those that would lie on others go below them. */
function* marked(reached, across, upward, letter, width) {
  const placed = [];
  const sorted = [...reached].sort((one, other) => upward.at(one.skip) - upward.at(other.skip));
  for (const one of sorted) {
    const x = across.at(one.double);
    let y = upward.at(one.skip) + 0.35 * letter;
    for (const [otherX, otherY] of placed) {
      if (Math.abs(x - otherX) < 9 * letter && y < otherY + 1.2 * letter) y = otherY + 1.2 * letter;
    }
    placed.push([x, y]);
    const right = x < width - 9 * letter;
    const place = right ? { x: x + 0.8 * letter } : { x: x - 0.8 * letter, class: "end" };
    yield shape("text", { ...place, y }, WHO[one.who]);
  }
}
