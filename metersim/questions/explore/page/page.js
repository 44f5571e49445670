/* The page: what was asked for, what came back, and what each button does. */

import { ask, askJson, handOver, lines, Refused } from "./api.js";
import { Disc } from "./disc.js";
import { drawHistogram, drawStrip, histogramWords, stripWords } from "./drawing.js";
import { build, find } from "./settings.js";
import { element, fillTable, intervalWords, oddCells, placeFaults, sayFirst } from "./words.js";

const $ = (id) => document.getElementById(id);
const ONE_MOVE = 800; // ms within which moves of one setting are one move
const QUIET = 700; // ms without a move, after which the headline is said aloud
const NARROW = 640; // px, below which a piece of the row has half the cells
const MOST_BACK = 200; // moves

const state = {
  session: null,
  start: {}, // what was opened
  name: "scenario",
  changes: new Map(), // key of a setting: its change as typed
  seed: 1,
  units: "metric",
  first: null, // cell of the strip, null for a piece with a skip and a double
  chosen: null, // cell on the disc
  back: [],
  last: { key: null, time: 0 }, // of moves
  data: null,
  pinned: null, // histogram and seed of the pinned setting
};
let controls = new Map();
let disc;

/* Asking for results: the newest setting wins, and a drag asks once per finished answer. */

let asking = null; // controller of the running request
let waiting = false; // whether its first line has not come
let again = false; // whether something moved since it was sent
let moved = null; // ms, when the newest move was made

function redraw() {
  if (waiting) {
    again = true;
    return;
  }
  asking?.abort();
  asking = new AbortController();
  waiting = true;
  again = false;
  run(asking, moved).catch((error) => {
    if (error.name !== "AbortError") refuse(error);
  });
  moved = null;
}

async function run(mine, since) {
  const { session, seed, units, first } = state;
  const cells = innerWidth < NARROW ? 12 : 24;
  const asked = { session, changes: [...state.changes.values()], seed, units, first, cells, total: true };
  try {
    for await (const line of lines(await ask("redraw", asked, mine.signal))) {
      if (mine !== asking || line.state === "cancelled") return;
      take(line, asked, since);
      if (!waiting) continue;
      waiting = false;
      if (again) return redraw();
      loadMotion(asked, mine);
    }
  } finally {
    if (mine === asking && waiting) {
      waiting = false;
      if (again) redraw();
    }
  }
}

/** Show one line of an answer. */
function take(line, asked, since) {
  $("intervals").textContent = intervalWords({ ...state.data, ...line });
  if (line.words) {
    sayFirst(line.words, { headline: $("headline"), spoils: $("spoils"), outside: $("outside"), warnings: $("warnings") });
    fillTable($("measures"), line.words);
    sayLater(line.words);
    if (state.pinned) $("pinned").textContent = pinWords(line.words.differs);
  }
  if (!line.data) return;
  state.data = { ...line.data, draws: line.draws ?? line.data.draws };
  good();
  if (!again) for (const [key, control] of controls) showControl(control, line.settings[key], asked.units);
  draw();
  if (since !== null) measureRedraw(since);
}

function showControl(control, value, units) {
  const typing = control.field === document.activeElement && control.field.value !== control.field.defaultValue;
  if (typing && control.root.classList.contains("typing")) return;
  control.show(value, units);
}

function draw() {
  const { data, units } = state;
  if (!data) return;
  const pinned = state.pinned?.seed === data.seed ? state.pinned.histogram : null;
  drawHistogram($("histogram"), data.histogram, data.spacing.nominal_m, units, pinned);
  $("histogram-words").textContent = histogramWords(data.histogram, pinned);
  drawStrip($("strip"), data.strip, units, state.chosen);
  $("strip-words").textContent = stripWords(data.strip);
  oddCells($("odd"), data.strip.cells, (cell) => disc.seek(cell));
  $("earlier").disabled = data.strip.cells[0].cell === 0;
  $("later").disabled = data.strip.cells.at(-1).cell >= data.counts.cells - 1;
  $("version").textContent = `metersim ${data.version}, ${data.scenario}, random seed ${data.seed}.`;
}

/** Time from a move to the picture of it, for whoever measures the page. */
function measureRedraw(since) {
  requestAnimationFrame(() => {
    const channel = new MessageChannel();
    channel.port1.onmessage = () => performance.measure("redraw", { start: since, end: performance.now() });
    channel.port2.postMessage(null);
  });
}

async function loadMotion(asked, mine) {
  const { session, changes, seed } = asked;
  const { cells } = state.data.strip;
  const holes = state.data.disc.angle_rad.length;
  const first = Math.max(cells[0].cell - holes, 0);
  const many = Math.min(cells.at(-1).cell + 1 - first, 200);
  const motion = await askJson("motion", { session, changes, seed, first, cells: many });
  if (mine !== asking) return;
  const inside = cells.some((cell) => cell.cell === state.chosen);
  const telling = cells.find((cell) => cell.what !== "usual") ?? cells[0];
  disc.load(motion, inside ? state.chosen : telling.cell);
}

/* What is wrong, and what is said aloud. */

function refuse(error) {
  if (!(error instanceof Refused)) throw error;
  const other = placeFaults(error.faults, controls);
  $("trouble").replaceChildren(...(other.length ? other : error.faults).map((one) => element("p", {}, one)));
  $("trouble").classList.toggle("unseen", !other.length);
  $("old").hidden = !state.data;
  $("results").classList.add("old");
}

function good() {
  $("trouble").replaceChildren();
  placeFaults([], controls);
  $("old").hidden = true;
  $("results").classList.remove("old");
}

let saying = 0;
function sayLater(words) {
  clearTimeout(saying);
  saying = setTimeout(() => {
    $("status").textContent = [...words.headline, words.spoils, ...words.outside].join(" ");
  }, QUIET);
}

/* Moves. */

function move(key, act) {
  const now = performance.now();
  const one = state.last.key === key && now - state.last.time < ONE_MOVE;
  state.last = { key, time: now };
  if (!one) {
    state.back.push({ changes: new Map(state.changes), seed: state.seed });
    if (state.back.length > MOST_BACK) state.back.shift();
  }
  act();
  showMoves();
  moved = window.event?.timeStamp ?? now;
  redraw();
}

function showMoves() {
  $("back").disabled = !state.back.length;
  $("opened").disabled = !state.changes.size;
  $("seed").value = state.seed;
  remember();
}

function back() {
  const before = state.back.pop();
  if (!before) return;
  Object.assign(state, before);
  state.last.key = null;
  showMoves();
  redraw();
}

function setSeed(typed) {
  const seed = Number(typed);
  const right = /^\d+$/.test(typed.trim()) && Number.isSafeInteger(seed);
  $("seed-fault").textContent = right ? "" : "The random seed must be a whole number, 0 or more.";
  if (right && seed !== state.seed) move("seed", () => (state.seed = seed));
}

/* Opening. */

async function open(start, then = {}) {
  const opened = await askJson("open", start);
  asking?.abort();
  Object.assign(state, { session: opened.session, start, name: opened.name, data: null });
  Object.assign(state, { changes: new Map(), back: [], first: null, chosen: null, pinned: null });
  Object.assign(state, { units: opened.units }, then);
  waiting = again = false;
  controls = build(opened.settings, onMoved, $("main-settings"), $("groups"));
  for (const control of controls.values()) {
    const { value } = control.setting;
    control.show(control.number ? value[state.units] : value, state.units);
  }
  $("title").textContent = opened.title;
  $("shows").textContent = opened.shows;
  document.title = `${opened.title}: explore`;
  const names = opened.scenarios.map((one) => one.name);
  const all = names.includes(opened.name) ? names : [opened.name, ...names];
  $("scenario").replaceChildren(...all.map((one) => element("option", { value: one }, one.replaceAll("_", " "))));
  $("scenario").value = opened.name;
  for (const radio of document.getElementsByName("units")) radio.checked = radio.value === state.units;
  showPin();
  showMoves();
  good();
  redraw();
}

function onMoved(control, change) {
  move(control.setting.key, () => {
    if (change === null) state.changes.delete(control.setting.key);
    else state.changes.set(control.setting.key, change);
  });
}

/** Open, and say what is wrong if it cannot be opened; what was there stays. */
function tryOpen(start, then) {
  return open(start, then).catch((error) => {
    if (!(error instanceof Refused)) throw error;
    $("trouble").classList.remove("unseen");
    $("trouble").replaceChildren(...error.faults.map((one) => element("p", {}, one)));
    $("scenario").value = state.name;
  });
}

const KEPT = "metersim explore"; // so that a page that is loaded again shows the same
function remember() {
  const { start, seed, units } = state;
  const looks = { large: $("large").checked, grey: $("grey").checked };
  try {
    sessionStorage.setItem(KEPT, JSON.stringify({ start, seed, units, changes: [...state.changes], ...looks }));
  } catch {
    // a browser that keeps nothing still explores
  }
}

function remembered() {
  try {
    return JSON.parse(sessionStorage.getItem(KEPT));
  } catch {
    return null;
  }
}

/* Pin. */

async function pin() {
  await askJson("pin", { session: state.session, changes: [...state.changes.values()] });
  state.pinned = { histogram: state.data.histogram, seed: state.data.seed };
  showPin();
  redraw();
}

async function unpin() {
  await askJson("unpin", { session: state.session });
  state.pinned = null;
  showPin();
  redraw();
}

function pinWords(differs) {
  return differs.length ? differs.join(" ") : "This setting is pinned. Move another to compare.";
}

function showPin() {
  $("unpin").hidden = !state.pinned;
  $("pinned").textContent = state.pinned
    ? pinWords([])
    : "Pin a setting, then move another. Table 1 gives the differences.";
}

/* Files to take away. */

async function takeFile(what, more, name) {
  $("taken").textContent = `${name} is being made.`;
  const { session, seed, units } = state;
  const response = await ask(what, { session, changes: [...state.changes.values()], seed, units, ...more });
  handOver(await response.blob(), name);
  $("taken").textContent = `${name} is in your downloads.`;
}

/* Look of the page, and keys. */

function look() {
  document.documentElement.classList.toggle("large", $("large").checked);
  document.documentElement.classList.toggle("grey", $("grey").checked);
  draw();
  remember();
}

const KEYS = {
  " ": () => disc.toggle(),
  n: () => disc.step(1),
  b: () => disc.step(-1),
  p: () => $("pin").click(),
  u: back,
  l: () => $("large").click(),
  "/": () => $("find").focus(),
};

function onKey(event) {
  if (!$("keys-on").checked || event.ctrlKey || event.altKey || event.metaKey) return;
  const { target } = event;
  const types = target.closest("select, textarea") || (target.matches("input") && !/^(range|checkbox|radio)$/.test(target.type));
  if (types || (event.key === " " && target.closest("input, button, summary, a"))) return;
  const act = KEYS[event.key];
  if (!act) return;
  event.preventDefault();
  act();
}

/** Do something, and say what is wrong if the program refuses it. */
const told = (act) => (event) => Promise.resolve(act(event)).catch((error) => {
  if (!(error instanceof Refused)) throw error;
  $("trouble").classList.remove("unseen");
  $("trouble").replaceChildren(...error.faults.map((one) => element("p", {}, one)));
  $("taken").textContent = "";
});

function listen() {
  const click = (id, act) => $(id).addEventListener("click", told(act));
  click("back", back);
  click("opened", () => move("opened", () => state.changes.clear()));
  click("other-seed", () => move("other seeds", () => (state.seed += 1)));
  click("pin", pin);
  click("unpin", unpin);
  click("save", () => takeFile("save", {}, `${state.name}.toml`));
  const piece = (first) => {
    Object.assign(state, { first, chosen: null });
    redraw();
  };
  const cells = () => state.data.strip.cells;
  click("earlier", () => piece(Math.max(cells()[0].cell - cells().length, 0)));
  click("later", () => piece(cells().at(-1).cell + 1));
  click("eventful", () => piece(null));
  for (const button of document.querySelectorAll("[data-figure], [data-csv]")) {
    const { figure, csv } = button.dataset;
    const more = figure ? { kind: figure } : { what: csv };
    const name = figure ? `${state.name}.${figure}` : `${csv}.csv`;
    button.addEventListener("click", told(() => takeFile(figure ? "figure" : "csv", more, name)));
  }
  $("seed").addEventListener("change", () => setSeed($("seed").value));
  $("find").addEventListener("input", () => ($("found").textContent = find($("find").value, controls, $("groups"))));
  $("scenario").addEventListener("change", () => tryOpen({ scenario: $("scenario").value }));
  $("file").addEventListener("change", async () => {
    const [file] = $("file").files;
    if (file) await tryOpen({ text: await file.text(), name: file.name });
    $("file").value = "";
  });
  for (const radio of document.getElementsByName("units")) {
    radio.addEventListener("change", () => {
      state.units = radio.value;
      remember();
      redraw();
    });
  }
  for (const id of ["large", "grey"]) $(id).addEventListener("change", look);
  document.addEventListener("keydown", onKey);
  new ResizeObserver(draw).observe($("results"));
}

function begin() {
  const parts = { canvas: $("canvas"), cell: $("cell"), play: $("play") };
  disc = new Disc({ ...parts, before: $("before"), after: $("after"), rate: $("rate") }, (cell) => {
    state.chosen = cell;
    if (state.data) drawStrip($("strip"), state.data.strip, state.units, cell);
  });
  listen();
  const kept = remembered();
  if (kept) {
    $("large").checked = kept.large;
    $("grey").checked = kept.grey;
    look();
  }
  const then = kept ? { seed: kept.seed, units: kept.units, changes: new Map(kept.changes) } : {};
  tryOpen(kept?.start ?? {}, then);
}

begin();
