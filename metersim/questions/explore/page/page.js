/* The page: what was asked for, what came back, and what each button does. */

import { ask, askJson, handOver, Refused } from "./api.js";
import { Asker } from "./asking.js";
import { Disc } from "./disc.js";
import { drawHistogram, drawStrip, histogramWords, stripWords } from "./drawing.js";
import { keep, kept } from "./kept.js";
import { build, find } from "./settings.js";
import { drawWords, element, fillTable, oddCells, placeFaults, sayFirst } from "./words.js";

const $ = (id) => document.getElementById(id);
const ONE_MOVE = 800; // ms within which moves of one setting are one move
const LONG = 500; // ms without an answer, after which the page says so
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
  chosenUnits: null,
  first: null, // cell of the strip, null for a piece with a skip and a double
  chosen: null, // cell on the disc
  back: [],
  last: { key: null, time: 0 }, // of moves
  data: null, // what is shown
  shown: [], // its changes, older than `changes` while a newer setting is worked out
  settings: {}, // its values by key of a setting
  pinned: null, // histogram and seed of the pinned setting
};
let controls = new Map();
let disc;
let touched = 0; // ms, time of the newest event
const asker = new Asker(wanted, took, refused);

/* Results. */

function changes() {
  return [...state.changes.values()];
}

let long = 0;
function wanted() {
  clearTimeout(long);
  long = setTimeout(() => ($("draws").textContent = "The new setting is being worked out."), LONG);
  const { session, seed, units, first } = state;
  return { session, changes: changes(), seed, units, first, cells: innerWidth < NARROW ? 12 : 24 };
}

/** Show a line of an answer; the first one has everything. */
function took(line, request, first) {
  clearTimeout(long);
  $("draws").textContent = drawWords(line);
  if (line.words) sayWords(line.words);
  if (!first) return;
  Object.assign(state, { data: line.data, shown: request.changes, settings: line.settings });
  good();
  const moving = asker.again; // then some controls show what is newer than this answer
  for (const [key, control] of controls) {
    if (moving && !request.changes.includes(state.changes.get(key))) continue;
    control.show(line.settings[key], state.units);
  }
  draw();
  showPin();
  if (!moving && request.total) tried(() => loadMotion(request));
}

function parts() {
  return Object.fromEntries(["headline", "spoils", "outside", "warnings"].map((name) => [name, $(name)]));
}

function sayWords(words) {
  sayFirst(words, parts());
  fillTable($("measures"), words);
  sayLater(words);
}

function draw() {
  const { data, units } = state;
  if (!data) return;
  const pinned = state.pinned?.seed === data.seed ? state.pinned.histogram : null;
  drawHistogram($("histogram"), data.histogram, data.spacing.nominal_m, units, pinned);
  $("histogram-words").textContent = histogramWords(data.histogram, pinned);
  drawRow();
  $("strip-words").textContent = stripWords(data.strip);
  oddCells($("odd"), data.strip.cells, (cell) => disc.seek(cell));
  $("earlier").disabled = data.strip.cells[0].cell === 0;
  $("later").disabled = data.strip.cells.at(-1).cell >= data.counts.cells - 1;
  $("version").textContent = `metersim ${data.version}, ${data.scenario}, random seed ${data.seed}.`;
}

function drawRow() {
  drawStrip($("strip"), state.data.strip, state.units, state.chosen);
}

/** The disc is played for the same piece of the row. */
async function loadMotion({ session, changes, seed }) {
  const { data, units } = state;
  const { cells } = data.strip;
  const first = cells[0].cell;
  const motion = await askJson("motion", { session, changes, seed, first, cells: cells.length });
  if (data !== state.data) return;
  const inside = cells.some((cell) => cell.cell === state.chosen);
  const telling = cells.find((cell) => cell.what !== "usual") ?? cells[0];
  disc.load(motion, inside ? state.chosen : telling.cell, units);
}

/* What is wrong, and what is said aloud. */

/** A request for results was refused; the last good ones stay, marked as old. */
function refused(error) {
  clearTimeout(long);
  $("draws").textContent = "";
  if (error.status === 404) return tryOpen(state.start, { ...moves(), pinned: state.pinned });
  const other = placeFaults(error.faults, controls);
  say(other.length ? other : error.faults, !other.length);
  $("old").hidden = !state.data;
  $("old").closest("main").classList.add("old");
  if (!state.data) sayNothing("This setting cannot be run.");
}

function good() {
  say([]);
  placeFaults([], controls);
  $("old").hidden = true;
  $("old").closest("main").classList.remove("old");
}

/** There is no result of this scenario; what is drawn is that of another. */
function sayNothing(headline) {
  sayFirst({ headline: [headline], spoils: "", outside: [], warnings: [] }, parts());
  $("old").closest("main").classList.add("old");
}

/** Say what is wrong at the head of the page, or aloud alone. */
function say(faults, aloud = false) {
  $("trouble").classList.toggle("unseen", aloud);
  $("trouble").replaceChildren(...faults.map((one) => element("p", {}, one)));
}

/** Do something, and say what is wrong if the program refuses it. */
async function tried(act) {
  try {
    await act();
  } catch (error) {
    if (!(error instanceof Refused)) throw error;
    say(error.faults);
    $("taken").textContent = "";
  }
}

const MOST_FILE = 200_000; // bytes that the program takes of a file
let saying = 0;
function sayLater(words) {
  clearTimeout(saying);
  saying = setTimeout(() => {
    const { headline, spoils, outside, differs } = words;
    $("status").textContent = [...headline, spoils, ...outside, ...differs].join(" ");
  }, QUIET);
}

/* Moves. */

function moves() {
  const { seed, units } = state;
  return { seed, units, changes: new Map(state.changes) };
}

function move(key, act) {
  const one = state.last.key === key && touched - state.last.time < ONE_MOVE;
  state.last = { key, time: touched };
  if (!one) state.back = [...state.back, moves()].slice(-MOST_BACK);
  act();
  showMoves();
  asker.moved(touched);
}

function showMoves() {
  $("back").disabled = !state.back.length;
  $("opened").disabled = !state.changes.size;
  $("seed").value = state.seed;
  $("seed-fault").textContent = "";
  for (const radio of document.getElementsByName("units")) radio.checked = radio.value === state.units;
  remember();
}

function back() {
  if (!state.back.length) return;
  Object.assign(state, state.back.pop());
  state.last.key = null;
  showMoves();
  asker.moved(touched);
}

function onMoved(control, change) {
  const { key } = control.setting;
  move(key, () => {
    if (change === null) state.changes.delete(key);
    else state.changes.set(key, change);
  });
}

function setSeed(typed) {
  const seed = Number(typed);
  const right = /^\d+$/.test(typed.trim()) && Number.isSafeInteger(seed);
  if (right && seed !== state.seed) move("seed", () => (state.seed = seed));
  $("seed-fault").textContent = right ? "" : "Give a whole number, 0 or more.";
}

function setUnits(units) {
  state.units = units;
  state.chosenUnits = units; // they stay when another scenario is opened
  for (const control of controls.values()) if (!control.wrong) control.show(control.held, units);
  showMoves();
  asker.moved();
}

/* Opening, and what stays when the page is loaded anew. */

async function open(start, then = {}) {
  const opened = await askJson("open", start);
  asker.stop();
  Object.assign(state, { session: opened.session, start, name: opened.name, data: null });
  Object.assign(state, { changes: new Map(), back: [], first: null, chosen: null, pinned: null });
  state.units = state.chosenUnits ?? opened.units;
  if (!then.name || then.name === opened.name) Object.assign(state, then);
  if (state.pinned) await askJson("pin", { session: state.session, changes: state.pinned.changes });
  controls = build(opened.settings, onMoved, $("main-settings"), $("groups"));
  for (const control of controls.values()) control.show(control.setting.value, state.units);
  $("title").textContent = opened.title;
  $("shows").textContent = opened.shows;
  document.title = `${opened.title}: explore`;
  const names = new Set([opened.name, ...opened.scenarios.map((one) => one.name)]);
  const options = [...names].sort().map((one) => element("option", { value: one }, one.replaceAll("_", " ")));
  $("scenario").replaceChildren(...options);
  $("scenario").value = opened.name;
  showPin();
  showMoves();
  good();
  sayNothing("The first result is being worked out.");
  asker.moved();
}

/** Open, and say what is wrong if it cannot be opened; what was there stays. */
async function tryOpen(start, then) {
  await tried(() => open(start, then));
  $("scenario").value = state.name;
}

function remember() {
  const { start, name } = state;
  const looks = { large: $("large").checked, grey: $("grey").checked };
  keep({ start, name, ...moves(), changes: [...state.changes], ...looks });
}

/* Pin. */

/** Pin what is shown, so that its histogram is that of the pinned setting. */
async function pin() {
  const { session, data, shown, settings } = state;
  await askJson("pin", { session, changes: shown });
  const { histogram, seed } = data;
  state.pinned = { changes: shown, histogram, seed, held: new Map(Object.entries(settings)) };
  showPin();
  asker.moved();
}

async function unpin() {
  await askJson("unpin", { session: state.session });
  state.pinned = null;
  showPin();
  asker.moved();
}

function showPin() {
  const { pinned } = state;
  $("unpin").hidden = !pinned;
  if (!pinned) return ($("pinned").textContent = "Then move another setting: the table gives the differences.");
  const differ = [...controls].filter(([key, one]) => differs(one.held, pinned.held.get(key)));
  const words = (which) => differ.map(([key, one]) => `${one.setting.label} ${one.worded(one.read(which(key, one)))}`).join(", ");
  $("pinned").textContent = differ.length
    ? `Pinned: ${words((key) => pinned.held.get(key))}. Now: ${words((_, one) => one.held)}.`
    : "This setting is pinned. Move another to compare.";
}

function differs(one, other) {
  return JSON.stringify(one) !== JSON.stringify(other);
}

/* Files to take away. */

async function takeFile(what, more, name) {
  $("taken").textContent = `${name} is being made.`;
  const { session, seed, units } = state;
  const response = await ask(what, { session, changes: changes(), seed, units, ...more });
  handOver(await response.blob(), name);
  $("taken").textContent = `${name} is in your downloads.`;
}

/* Look of the page, and keys. */

function look() {
  for (const one of ["large", "grey"]) document.documentElement.classList.toggle(one, $(one).checked);
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
  const { target, key } = event;
  if (!$("keys-on").checked || event.ctrlKey || event.altKey || event.metaKey) return;
  if (target.closest("select, textarea, input:not([type=range], [type=checkbox], [type=radio])")) return;
  if (key === " " && target.closest("input, button, summary, a")) return;
  if (!KEYS[key]) return;
  event.preventDefault();
  KEYS[key]();
}

function piece(first) {
  Object.assign(state, { first, chosen: null });
  asker.moved();
}

function showMeaning(event) {
  const root = event.target.closest?.(".setting");
  const control = controls.get(root?.dataset.key);
  if (!control) return;
  const [label, meaning] = control.words;
  $("meaning").replaceChildren(element("b", {}, label), meaning);
}

function listen() {
  for (const type of ["input", "change", "click", "keydown"]) {
    document.addEventListener(type, (event) => (touched = event.timeStamp), true);
  }
  const click = (id, act) => $(id).addEventListener("click", () => tried(act));
  click("back", back);
  click("opened", () => move("opened", () => state.changes.clear()));
  click("other-seed", () => move("other seeds", () => (state.seed += 1)));
  click("pin", pin);
  click("unpin", unpin);
  click("save", () => takeFile("save", {}, `${state.name}.toml`));
  const cells = () => state.data.strip.cells;
  click("earlier", () => piece(Math.max(cells()[0].cell - cells().length, 0)));
  click("later", () => piece(cells().at(-1).cell + 1));
  click("eventful", () => piece(null));
  for (const button of document.querySelectorAll("[data-figure], [data-csv]")) {
    const { figure, csv } = button.dataset;
    const more = figure ? { kind: figure } : { what: csv };
    const take = () => takeFile(figure ? "figure" : "csv", more, `${state.name}${figure ? "" : `_${csv}`}.${figure ?? "csv"}`);
    button.addEventListener("click", () => tried(take));
  }
  $("seed").addEventListener("change", () => setSeed($("seed").value));
  for (const type of ["input", "change"]) {
    $("find").addEventListener(type, () => {
      $("found").textContent = find($("find").value, controls, $("groups"));
    });
  }
  $("scenario").addEventListener("change", () => tryOpen({ scenario: $("scenario").value }));
  $("file").addEventListener("change", async () => {
    const [file] = $("file").files;
    if (file?.size > MOST_FILE) say([`${file.name} is too long for a scenario file.`]);
    else if (file) await tryOpen({ text: await file.text(), name: file.name });
    $("file").value = "";
  });
  for (const radio of document.getElementsByName("units")) {
    radio.addEventListener("change", () => setUnits(radio.value));
  }
  for (const id of ["large", "grey"]) $(id).addEventListener("change", look);
  for (const type of ["focusin", "pointerover"]) $("settings").addEventListener(type, showMeaning);
  document.addEventListener("keydown", onKey);
  new ResizeObserver(draw).observe($("results"));
}

function begin() {
  $("more").open = innerWidth >= NARROW;
  const names = ["canvas", "now", "cell", "play", "before", "after", "rate", "view", "noMotion"];
  disc = new Disc(Object.fromEntries(names.map((name) => [name, $(name)])), (cell) => {
    state.chosen = cell;
    drawRow();
  });
  listen();
  const before = kept();
  if (before) {
    $("large").checked = before.large;
    $("grey").checked = before.grey;
    look();
  }
  const { start, name, seed, units, changes: moved } = before ?? {};
  tryOpen(start ?? {}, before ? { name, seed, units, changes: new Map(moved) } : {});
}

begin();
