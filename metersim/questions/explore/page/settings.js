/* Controls of settings: a slider with a field, a list, a box to tick, or a field of text. */

import { element, plain } from "./words.js";

const PAGE_STEPS = 5; // steps of page up and page down

/** A control of one setting.  `moved(setting, text)` is called with its change, or null for none. */
class Control {
  constructor(setting, moved) {
    this.setting = setting;
    this.moved = moved;
    this.value = null; // in the units that are shown
    this.id = `set-${setting.key.replaceAll(".", "-")}`;
    this.root = element("div", { class: "setting", "data-key": setting.key });
    this.label = element("label", { for: this.id }, setting.label);
    this.faults = element("p", { class: "fault", id: `${this.id}-fault` });
    this.was = element("p", { class: "was" });
    this.meaning = element("p", { class: "unseen", id: `${this.id}-meaning` }, setting.meaning);
    this.fill();
    this.root.append(this.was, this.faults, this.meaning);
  }

  /** Words of a value, with its unit. */
  worded(value) {
    if (value === null || value === "") return "not set";
    if (value === true || value === false) return value ? "yes" : "no";
    return `${this.number ? plain(value) : value} ${this.unit}`.trim();
  }

  get number() {
    return this.setting.kind === "number" || this.setting.kind === "whole";
  }

  get unit() {
    return this.setting.unit?.[this.units] ?? "";
  }

  get described() {
    return `${this.id}-meaning ${this.id}-fault`;
  }

  /** Name under which a change is typed. */
  get typed() {
    return this.setting.typed[this.units];
  }

  /** Value with which the scenario was opened. */
  get opened() {
    return this.read(this.setting.value ?? null);
  }

  /** A value as it is held, in the units that are shown. */
  read(held) {
    return this.number && held !== null ? held[this.units] : held;
  }

  /** Send a value as a change; the value that was opened is no change. */
  send(value) {
    this.value = value;
    this.showMoved();
    const empty = value === null || value === "";
    if (empty || value === this.opened) return this.moved(this, null);
    return this.moved(this, `${this.typed}=${this.number ? value : JSON.stringify(value)}`);
  }

  /** Show a value, which for numbers has both systems of units, in one of them. */
  show(value, units) {
    this.held = value ?? null;
    this.units = units;
    this.value = this.read(this.held);
    this.showValue();
    this.showMoved();
  }

  /** Show whether the value differs from that which was opened. */
  showMoved() {
    const moved = this.value !== this.opened;
    this.root.classList.toggle("moved", moved);
    const words = this.worded(this.opened);
    if (moved && this.was.dataset.words === words) return; // a button in use stays
    this.was.dataset.words = moved ? words : "";
    if (!moved) return this.was.replaceChildren();
    const back = element("button", { type: "button", class: "plain" }, "put back");
    back.setAttribute("aria-label", `${this.setting.label}: put back to ${words}`);
    back.addEventListener("click", () => {
      this.send(this.opened);
      this.field.focus();
    });
    this.was.replaceChildren(`opened with ${words}, `, back);
  }

  /** What the setting is, in a sentence. */
  get words() {
    const { label, meaning, spread } = this.setting;
    const range = spread ? ` In this scenario it is ${spread[this.units]}.` : "";
    return [label, `: ${meaning}.${range}`];
  }

  /** Say what is wrong with the value; nothing takes that away. */
  fault(words) {
    this.wrong = Boolean(words);
    this.faults.textContent = words;
    this.root.classList.toggle("wrong", this.wrong);
    if (words) this.field.setAttribute("aria-invalid", "true");
    else this.field.removeAttribute("aria-invalid");
  }

  /** Whether a word is in the name or the meaning. */
  has(word) {
    const { label, key, meaning, group } = this.setting;
    return `${label} ${key} ${meaning} ${group}`.toLowerCase().includes(word);
  }
}

class NumberControl extends Control {
  fill() {
    const at = { id: this.id, type: "text", inputmode: "decimal", autocomplete: "off" };
    this.field = element("input", { ...at, "aria-describedby": this.described });
    this.shownUnit = element("span", { class: "unit" });
    this.slider = element("input", { type: "range", step: "any" });
    this.down = element("button", { type: "button", class: "step" }, "\u2212");
    this.up = element("button", { type: "button", class: "step" }, "+");
    const value = element("span", { class: "value" });
    value.append(this.field, this.shownUnit);
    this.root.append(this.label, value, this.down, this.slider, this.up);
    this.down.addEventListener("click", () => this.step(-1));
    this.up.addEventListener("click", () => this.step(1));
    this.slider.addEventListener("input", () => this.slide());
    this.slider.addEventListener("keydown", (event) => this.key(event, true));
    this.field.addEventListener("keydown", (event) => this.key(event, false));
    this.field.addEventListener("change", () => this.type());
  }

  /** A bound or the step, in the units that are shown. */
  of(what) {
    return this.setting[what][this.units];
  }

  showValue() {
    const { label } = this.setting;
    this.slider.min = this.of("low");
    this.slider.max = this.of("high");
    this.shownUnit.textContent = this.unit;
    this.slider.setAttribute("aria-label", `${label}, slider`);
    const far = `${plain(this.of("step"))} ${this.unit}`.trim();
    this.down.setAttribute("aria-label", `${label}: one step down, ${far}`);
    this.up.setAttribute("aria-label", `${label}: one step up, ${far}`);
    this.down.title = this.up.title = `one step: ${far}`;
    this.mark();
    this.field.value = this.value === null ? "" : plain(this.value);
    this.field.placeholder = this.value === null ? "not set" : "";
  }

  /** Put the slider where the value is. */
  mark() {
    this.slider.value = this.value ?? this.of("low");
    this.slider.setAttribute("aria-valuetext", this.worded(this.value));
    this.slider.classList.toggle("unset", this.value === null);
    this.down.disabled = this.value !== null && this.value <= this.of("low");
    this.up.disabled = this.value !== null && this.value >= this.of("high");
  }

  /** Take a number from slider or buttons. */
  take(number) {
    const value = Number(Math.min(Math.max(number, this.of("low")), this.of("high")).toPrecision(10));
    if (value === this.value) return;
    this.field.value = plain(value);
    this.send(value);
    this.mark();
  }

  step(many) {
    const start = this.value ?? this.of("low");
    this.take(start + many * this.of("step"));
  }

  /** The slider stops at whole steps, and at both ends. */
  slide() {
    const at = Number(this.slider.value);
    const ends = at === this.of("low") || at === this.of("high");
    const step = this.of("step");
    this.take(ends ? at : Math.round(at / step) * step);
    this.slider.value = this.value;
  }

  key(event, slider) {
    if (event.ctrlKey || event.altKey || event.metaKey) return;
    const steps = {
      ArrowUp: 1,
      ArrowDown: -1,
      PageUp: PAGE_STEPS,
      PageDown: -PAGE_STEPS,
      ...(slider && { ArrowRight: 1, ArrowLeft: -1 }),
    }[event.key];
    if (!steps) return;
    event.preventDefault();
    this.step(steps);
  }

  /** Take what was typed as it is; the program says what is wrong with it. */
  type() {
    const typed = this.field.value.trim();
    const number = Number(typed);
    if (typed === "") return this.send(null);
    if (Number.isFinite(number)) {
      this.send(number);
      return this.mark();
    }
    this.value = typed;
    this.showMoved();
    return this.moved(this, `${this.typed}=${typed}`);
  }
}

class ChoiceControl extends Control {
  fill() {
    this.field = element("select", { id: this.id, "aria-describedby": this.described });
    this.root.append(this.label, this.field);
    this.field.addEventListener("change", () => this.send(this.field.value));
  }

  showValue() {
    const words = [...this.setting.choices];
    if (this.opened === null) words.unshift("");
    if (this.value && !words.includes(this.value)) words.push(this.value);
    const options = words.map((word) => element("option", { value: word }, word || "not set"));
    this.field.replaceChildren(...options);
    this.field.value = this.value ?? "";
  }
}

class FlagControl extends Control {
  fill() {
    const at = { id: this.id, type: "checkbox", "aria-describedby": this.described };
    this.field = element("input", at);
    this.root.append(this.label, this.field);
    this.field.addEventListener("change", () => this.send(this.field.checked));
  }

  showValue() {
    this.field.checked = this.value === true;
  }
}

class TextControl extends Control {
  fill() {
    const at = { id: this.id, type: "text", autocomplete: "off", "aria-describedby": this.described };
    this.field = element("input", at);
    this.root.append(this.label, this.field);
    this.root.classList.add("long");
    this.field.addEventListener("change", () => this.send(this.field.value.trim()));
  }

  showValue() {
    this.field.value = this.value ?? "";
  }
}

const KINDS = {
  number: NumberControl,
  whole: NumberControl,
  flag: FlagControl,
  text: TextControl,
};

/** Controls of all settings by key, put into the page: main ones first, others in groups. */
export function build(settings, moved, main, groups) {
  const controls = new Map();
  const folds = new Map();
  main.replaceChildren();
  groups.replaceChildren();
  for (const setting of settings) {
    const kind = setting.choices ? ChoiceControl : KINDS[setting.kind];
    const control = new kind(setting, moved);
    controls.set(setting.key, control);
    if (setting.main) {
      main.append(control.root);
      continue;
    }
    if (!folds.has(setting.group)) {
      const fold = element("details", {});
      fold.append(element("summary", {}, setting.group));
      folds.set(setting.group, fold);
      groups.append(fold);
    }
    folds.get(setting.group).append(control.root);
  }
  return controls;
}

/** Show the settings that a word is about, and say how many; without a word show all, folded. */
export function find(word, controls, groups) {
  const wanted = word.trim().toLowerCase();
  let many = 0;
  for (const control of controls.values()) {
    const fits = !wanted || control.has(wanted);
    control.root.hidden = !fits;
    many += fits;
  }
  if (wanted) groups.parentElement.open = true;
  for (const fold of groups.children) {
    const left = fold.querySelectorAll(".setting:not([hidden])").length;
    fold.hidden = !left;
    fold.open = wanted ? left > 0 : false;
  }
  if (!wanted) return "";
  return many === 1 ? "1 setting" : `${many} settings`;
}
