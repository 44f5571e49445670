/* The page of a hidden fault: the acts of the class, and what the program says to them. */

import { askJson, Refused } from "./api.js";
import { drawPlane } from "./hiddenplane.js";
import { element, percent } from "./words.js";

const $ = (id) => document.getElementById(id);
const KEPT = "metersim hidden"; // so that a page that is loaded again shows the same
const MOST_NUMBER = 999_999;
const BY = { belt: "on the belt", sensor: "by the sensor", tape: "with a tape" };

const game = { number: 1, level: 1, units: "metric", acts: [], state: null };
const fields = new Map(); // key of a setting: its field

/** A text whose numbers stay with their units. */
const bound = (text) => text.replace(/(\d) (%|pp|kPa|mm|km\/h|inH2O|in|mph)(?![a-z])/g, "$1\u00a0$2");

/** Ask for the game after these acts; what was there stays if the program refuses. */
async function play(then) {
  const asked = { number: game.number, level: game.level, units: game.units, acts: game.acts, ...then };
  document.body.setAttribute("aria-busy", "true");
  try {
    game.state = await askJson("hidden", asked);
    Object.assign(game, asked);
    $("trouble").replaceChildren();
    show();
    remember();
  } catch (error) {
    if (!(error instanceof Refused)) throw error;
    $("trouble").replaceChildren(...error.faults.map((one) => element("p", {}, one)));
  } finally {
    document.body.removeAttribute("aria-busy");
  }
}

const act = (one) => play({ acts: [...game.acts, one] });

/* What is shown. */

function show() {
  const { state } = game;
  const [caution, meter, settings, order] = state.said[0];
  $("number").value = state.number;
  $("level").replaceChildren(
    ...state.levels.map((one) => element("option", { value: one.level }, `${one.level}: ${one.words}`)),
  );
  $("level").value = state.level;
  for (const radio of document.getElementsByName("units")) radio.checked = radio.value === state.units;
  $("shows").textContent = meter;
  document.title = `Hidden fault ${state.number}, level ${state.level}`;
  $("caution").textContent = caution;
  $("found").textContent = bound(`${settings} ${order}`);
  showSaid(state);
  showForms(state);
  showTruth(state);
  draw();
  $("counts").tBodies[0].replaceChildren(...state.plane.points.map(countRow));
  $("log").replaceChildren(
    ...state.said.slice(1).map((lines, k) => {
      const made = element("li");
      const shown = state.acts[k].end ? ["The end."] : lines;
      made.append(...shown.map((one) => element("p", {}, bound(one))));
      return made;
    }),
  );
  $("log-head").hidden = !state.acts.length;
}

function showSaid(state) {
  const lines = state.ended
    ? ["The game has ended. Begin with another number."]
    : state.acts.length
      ? state.lines
      : ["Make a count first."];
  $("said").replaceChildren(...lines.map((one) => element("p", {}, bound(one))));
}

function showForms(state) {
  for (const button of document.querySelectorAll("#acts button")) button.disabled = state.ended;
  const ways = state.ways.map((one) => element("option", { value: one.by }, BY[one.by]));
  keep($("by"), ways);
  const causes = () => state.causes.map((one) => element("option", { value: one.name }, `${one.name}: ${one.words}`));
  keep($("cause"), [element("option", { value: "" }, "choose a cause"), ...causes()]);
  keep($("other-cause"), [element("option", { value: "" }, "nothing else"), ...causes()]);
  $("other-label").hidden = state.level !== 4;
  $("left").textContent = state.ended ? "" : `${state.acts_left} acts are left.`;
  showSettings(state);
}

/** Fields of all settings; what was typed and not moved yet stays, unless a game begins. */
function showSettings(state) {
  const last = state.acts.at(-1);
  const typed = !last || last.move ? [] : moves().map(([key, one]) => [key, one.read()]);
  fields.clear();
  $("settings-list").replaceChildren(...state.settings.map(settingRow));
  for (const [key, value] of typed) fields.get(key)?.write(value);
  showMoving();
}

/** Put options into a select that keeps what was chosen. */
function keep(select, options) {
  const chosen = select.value;
  select.replaceChildren(...options);
  if (options.some((one) => one.value === chosen)) select.value = chosen;
}

function settingRow(one) {
  const row = element("div", { class: "setting" });
  const id = `setting-${one.name}`;
  const label = element("label", { for: id }, one.label);
  row.append(label);
  if (one.kind === "flag") {
    const box = element("input", { id, type: "checkbox" });
    box.checked = one.value;
    box.addEventListener("input", showMoving);
    row.append(box);
    fields.set(one.key, { setting: one, row, read: () => box.checked, write: (to) => (box.checked = to) });
    return row;
  }
  const place = element("span", { class: "value" });
  const field = element("input", { id, type: "text", inputmode: "decimal", autocomplete: "off" });
  field.value = one.value;
  const unit = element("span", { class: "unit" }, one.unit);
  place.append(field, unit);
  row.append(place);
  const ends = `${one.low} to ${one.high}${one.unit ? ` ${one.unit}` : ""}, step ${one.step}`;
  const step = (way) => {
    const button = element("button", { type: "button", class: "step", "aria-label": `${one.label}, one step ${way > 0 ? "up" : "down"}` }, way > 0 ? "+" : "\u2212");
    button.addEventListener("click", () => {
      const now = Number.isFinite(Number(field.value)) && field.value.trim() ? Number(field.value) : one.value;
      const to = Math.min(Math.max(now + way * one.step, one.low), one.high);
      field.value = String(Number(to.toPrecision(6)));
      showMoving();
    });
    return button;
  };
  const hint = element("p", { class: "meaning", id: `${id}-ends` }, ends);
  field.setAttribute("aria-describedby", hint.id);
  field.addEventListener("input", showMoving);
  field.addEventListener("keydown", (event) => {
    const way = { ArrowUp: 1, ArrowDown: -1 }[event.key];
    if (!way) return;
    event.preventDefault();
    row.querySelector(`button:nth-of-type(${way > 0 ? 2 : 1})`).click();
  });
  row.append(step(-1), hint, step(1));
  fields.set(one.key, { setting: one, row, read: () => field.value.trim(), write: (to) => (field.value = to) });
  return row;
}

/** Settings whose fields differ from what is set now, as typed. */
function moves() {
  return [...fields].filter(([, one]) => {
    const typed = one.read();
    return typeof typed === "boolean" ? typed !== one.setting.value : typed !== "" && Number(typed) !== one.setting.value;
  });
}

function showMoving() {
  const found = moves();
  for (const [key, one] of fields) one.row.classList.toggle("moved", found.some((pair) => pair[0] === key));
  const ended = game.state.ended;
  $("move").querySelector("[type=submit]").disabled = ended || !found.length;
  const many = found.length;
  $("moving").textContent = ended || !many ? "" : many === 1 ? "One setting moves." : `${many} settings move at once.`;
}

function countRow(one) {
  const row = element("tr");
  const ends = [0, 1].map((k) => {
    const shares = one.region.map((corner) => corner[k]);
    return `${(100 * Math.min(...shares)).toFixed(1)} to ${percent(Math.max(...shares))}`;
  });
  const counted = `${one.cells.toLocaleString("en")} ${one.by === "tape" ? "places" : "cells"} ${BY[one.by]}`;
  const cells = [one.at, counted, `${one.skips} (${percent(one.skip)})`, `${one.doubles} (${percent(one.double)})`, ...ends];
  row.append(element("th", { scope: "row" }, String(one.number)), ...cells.map((text) => element("td", {}, bound(text))));
  return row;
}

function showTruth(state) {
  $("truth").hidden = !state.ended;
  if (!state.ended) return;
  const parts = Object.values(state.end);
  $("truth-words").replaceChildren(
    ...parts.flatMap((part) => [...part.sentences.map((one) => element("p", {}, bound(one))), ...part.tables.map(tableOf)]),
  );
}

function tableOf(one) {
  const table = element("table");
  table.append(element("caption", {}, one.caption));
  const [heads, ...rows] = one.rows;
  const head = table.createTHead().insertRow();
  head.append(...heads.map((text) => element("th", { scope: "col" }, text)));
  const body = table.createTBody();
  for (const [first, ...rest] of rows) {
    const row = body.insertRow();
    row.append(element("th", { scope: "row" }, first), ...rest.map((text) => element("td", {}, bound(text))));
  }
  return table;
}

function draw() {
  const { state } = game;
  if (!state) return;
  drawPlane($("drawing"), state.plane, $("all").checked);
  const many = state.plane.points.length - 1;
  const said = ["A number is a count, an outline its region. Grey ground: count 0, when the meter was in order."];
  if (many) said.push(`Full line: count ${many}.`);
  if (many > 1) said.push(`Dashed: count ${many - 1}.`, "Arrows lead from count to count.");
  if (state.ended) said.push("Marks with words: true shares.");
  $("plane-words").textContent = said.join(" ");
}

/* What is kept, and what is typed. */

function remember() {
  const { number, level, units, acts } = game;
  const looks = { large: $("large").checked, grey: $("grey").checked };
  try {
    sessionStorage.setItem(KEPT, JSON.stringify({ number, level, units, acts, ...looks }));
  } catch {
    // a browser that keeps nothing still plays
  }
}

function remembered() {
  try {
    return JSON.parse(sessionStorage.getItem(KEPT)) ?? {};
  } catch {
    return {};
  }
}

/** A whole number that was typed, or what was typed: the program says what is wrong with it. */
function whole(typed) {
  const plain = typed.trim().replaceAll(",", "");
  return /^\d{1,15}$/.test(plain) ? Number(plain) : typed.trim();
}

function look() {
  document.documentElement.classList.toggle("large", $("large").checked);
  document.documentElement.classList.toggle("grey", $("grey").checked);
  draw();
  remember();
}

function listen() {
  const submit = (id, does) =>
    $(id).addEventListener("submit", (event) => {
      event.preventDefault();
      does();
    });
  const begin = (number) => play({ number, level: Number($("level").value), acts: [] });
  submit("meter", () => begin(whole($("number").value)));
  $("other").addEventListener("click", () => begin(Math.floor(Math.random() * (MOST_NUMBER + 1))));
  submit("count", () => act({ count: whole($("cells").value), by: $("by").value }));
  submit("guess", () => {
    const second = game.level === 4 ? $("other-cause").value : "";
    act({ guess: [$("cause").value, second].filter(Boolean) });
  });
  submit("move", async () => {
    await act({ move: moves().map(([key, one]) => `${key}=${one.read()}`) });
    if (!moves().length) $("count").querySelector("button").focus(); // the button of this form rests
  });
  submit("end", async () => {
    await act({ end: true });
    if (game.state.ended) $("truth").querySelector("h2").focus();
  });
  for (const radio of document.getElementsByName("units")) {
    radio.addEventListener("change", () => play({ units: radio.value }));
  }
  for (const id of ["large", "grey"]) $(id).addEventListener("change", look);
  $("all").addEventListener("change", draw);
  new ResizeObserver(draw).observe($("outcome"));
}

async function begin() {
  listen();
  const { large, grey, ...kept } = remembered();
  $("large").checked = Boolean(large);
  $("grey").checked = Boolean(grey);
  look();
  const asked = new URLSearchParams(location.search);
  const named = asked.has("number") ? { number: whole(asked.get("number")), acts: [] } : {};
  if (asked.has("level")) Object.assign(named, { level: whole(asked.get("level")), acts: [] });
  await play({ ...kept, ...named });
  if (!game.state) await play({ number: 1, level: 1, acts: [] });
}

begin();
