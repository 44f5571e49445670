/* Words and tables of the page, and the elements that hold them. */

/** An element with attributes and a text. */
export function element(name, attributes = {}, text = "") {
  const made = document.createElement(name);
  for (const [key, value] of Object.entries(attributes)) made.setAttribute(key, value);
  if (text !== "") made.textContent = text;
  return made;
}

/** A number with four digits, or all those before the point. */
export function plain(value) {
  const number = Number(value);
  return Math.abs(number) < 1000 ? String(Number(number.toPrecision(4))) : number.toFixed(0);
}

/** Percent of a share, with as many digits as the table has. */
export function percent(share) {
  return share === null ? "no value" : `${(100 * share).toFixed(1)} %`;
}

/** A sentence in which a number stays with its unit. */
function unbroken(sentence) {
  return sentence.replace(/(\d) (?=[%A-Za-z])/g, "$1\u00a0");
}

/** Sentences as a list with a word before them; a list without sentences is hidden. */
function list(root, name, sentences) {
  root.replaceChildren(...sentences.map((one) => element("li", {}, unbroken(one))));
  root.firstChild?.prepend(element("b", {}, `${name}: `));
  root.hidden = !sentences.length;
}

/** What the page says first. */
export function sayFirst(words, parts) {
  parts.headline.replaceChildren(...words.headline.map((one) => element("p", {}, unbroken(one))));
  parts.spoils.textContent = unbroken(words.spoils);
  list(parts.outside, "Outside the evidence", words.outside);
  list(parts.warnings, "Warning", words.warnings);
}

/** Table of measures; with a pinned setting it has a column of differences. */
export function fillTable(table, words) {
  const paired = words.table.some((row) => row[3] !== null);
  const columns = paired ? 4 : 3;
  table.closest(".pair").classList.toggle("paired", paired);
  const head = element("tr");
  const heads = words.heads.slice(1, columns);
  head.append(element("td"), ...heads.map((one) => element("th", { scope: "col" }, one)));
  table.tHead.replaceChildren(head);
  const rows = words.table.map(([measure, ...cells]) => {
    const row = element("tr");
    row.append(element("th", { scope: "row" }, measure));
    row.append(...cells.slice(0, columns - 1).map(tableCell));
    return row;
  });
  table.tBodies[0].replaceChildren(...rows);
}

/** A cell of the table, which breaks before an interval alone. */
function tableCell(words) {
  const cell = element("td");
  const [value, interval] = (words ?? "").split(" (");
  cell.append(element("span", {}, value));
  if (interval) cell.append(" ", element("span", {}, `(${interval}`));
  return cell;
}

/** How far the draws for all uncertainty are. */
export function drawWords(line) {
  if (line.state === "updating") return `All uncertainty is updating, ${line.done} of ${line.draws}.`;
  if (line.state === "faults") return `All uncertainty cannot be given: ${line.faults.join(" ")}`;
  return line.state === "total" ? "" : "All uncertainty follows.";
}

/** Cells of the strip that released none or several, each a button that shows it on the disc. */
export function oddCells(root, cells, choose) {
  const groups = new Map();
  for (const { cell, what, why } of cells) {
    if (what === "usual") continue;
    const name = what === "skip" ? `Skip, ${why}` : capital(what);
    groups.set(name, [...(groups.get(name) ?? []), cell]);
  }
  if (!groups.size) root.textContent = "Every cell of this piece released one seed.";
  else root.replaceChildren(...[...groups].map(([name, odd]) => group(name, odd, choose)));
}

function group(name, odd, choose) {
  const line = element("span", {}, `${name}: cell${odd.length > 1 ? "s" : ""} `);
  odd.forEach((cell, k) => {
    const button = element("button", { type: "button", class: "plain" }, String(cell));
    button.setAttribute("aria-label", `show cell ${cell} on the disc`);
    button.addEventListener("click", () => choose(cell));
    line.append(button, k < odd.length - 1 ? ", " : ". ");
  });
  return line;
}

function capital(word) {
  return word[0].toUpperCase() + word.slice(1);
}

const WHERE = /^(?:[^\s:=]+(?:: |=))+/; // what a line of faults is about

/** Faults beside the settings that they are about; gives those that are about none. */
export function placeFaults(faults, controls) {
  const other = [];
  const found = new Map();
  for (const line of faults) {
    const control = [...controls.values()].find((one) => isAbout(line, one.setting));
    const said = line.replace(WHERE, "");
    if (control) found.set(control, [...(found.get(control) ?? []), said]);
    else other.push(line);
  }
  for (const control of controls.values()) control.fault((found.get(control) ?? []).join(" "));
  return other;
}

/** Whether a line of faults begins with a name of the setting. */
function isAbout(line, setting) {
  const names = [setting.key, ...Object.values(setting.typed)].map((one) => one.split(".").at(-1));
  const where = (line.match(WHERE)?.[0] ?? "").split(/[^A-Za-z0-9_]+/);
  return names.some((name) => where.includes(name));
}
