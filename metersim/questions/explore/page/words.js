/* Words and tables of the page, and the elements that hold them. */

/** An element with attributes and a text. */
export function element(name, attributes = {}, text = "") {
  const made = document.createElement(name);
  for (const [key, value] of Object.entries(attributes)) made.setAttribute(key, value);
  if (text !== "") made.textContent = text;
  return made;
}

/** A number with the digits that it needs, and no more than six. */
export function plain(value) {
  return String(Number(Number(value).toPrecision(6)));
}

/** Percent of a share, with as many digits as the table has. */
export function percent(share) {
  return share === null ? "no value" : `${(100 * share).toFixed(1)} %`;
}

/** Lines of a list; a list without lines is hidden. */
export function list(root, sentences) {
  root.replaceChildren(...sentences.map((one) => element("li", {}, one)));
  root.hidden = !sentences.length;
}

/** What the page says first. */
export function sayFirst(words, parts) {
  parts.headline.replaceChildren(...words.headline.map((one) => element("p", {}, one)));
  parts.spoils.textContent = words.spoils;
  list(parts.outside, words.outside);
  list(parts.warnings, words.warnings);
}

/** Table of measures; with a pinned setting it has a column of differences. */
export function fillTable(table, words) {
  const paired = words.table.some((row) => row[3]);
  const heads = ["", "expected", "90 % interval", ...(paired ? ["difference from the pin"] : [])];
  const head = element("tr");
  head.append(element("td"), ...heads.slice(1).map((one) => element("th", { scope: "col" }, one)));
  table.tHead.replaceChildren(head);
  table.tBodies[0].replaceChildren(
    ...words.table.map(([measure, value, interval, difference]) => {
      const row = element("tr");
      row.append(element("th", { scope: "row" }, measure));
      const cells = [value, interval, ...(paired ? [difference ?? ""] : [])];
      row.append(...cells.map((one) => element("td", {}, one)));
      return row;
    }),
  );
}

/** What the intervals of the table hold, as the draws go on. */
export function intervalWords(line) {
  if (line.state === "total") return "Intervals hold all uncertainty: sampling, inputs and model.";
  const sampling = "Intervals hold the sampling error alone";
  if (!line.draws) return `${sampling}.`;
  if (line.done === undefined) return `${sampling}; the total follows.`;
  return `${sampling}; the total is updating, ${line.done} of ${line.draws}.`;
}

/** Cells of the strip that released none or several, each a button that shows it on the disc. */
export function oddCells(root, cells, choose) {
  const odd = cells.filter((cell) => cell.what !== "usual");
  if (!odd.length) {
    root.textContent = "Every cell of this piece released one seed.";
    return;
  }
  const parts = odd.flatMap((cell) => {
    const button = element("button", { type: "button", class: "plain" }, `Cell ${cell.cell}`);
    button.title = "show this cell on the disc";
    button.addEventListener("click", () => choose(cell.cell));
    const why = cell.what === "skip" ? `, ${cell.why}` : "";
    return [button, `: ${cell.what}${why}. `];
  });
  root.replaceChildren(...parts);
}

/** Faults beside the settings that they are about; gives those that are about none. */
export function placeFaults(faults, controls) {
  const other = [];
  const found = new Map();
  for (const line of faults) {
    const said = line.replace(/^changes: /, "");
    const control = [...controls.values()].find((one) => isAbout(said, one.setting));
    if (control) found.set(control, [...(found.get(control) ?? []), said]);
    else other.push(said);
  }
  for (const control of controls.values()) control.fault((found.get(control) ?? []).join(" "));
  return other;
}

/** Whether a line of faults begins with a name of the setting. */
function isAbout(line, setting) {
  const { typed, key } = setting;
  const names = [key, ...(typeof typed === "string" ? [typed] : Object.values(typed))];
  const where = line.split(/: |=| is not /, 2).join(" ").split(/[^A-Za-z0-9_]+/);
  return names.some((name) => where.includes(name.split(".").at(-1)));
}
