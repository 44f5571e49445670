/* Requests to the program that serves this page. */

/** The program refused a request; `faults` has one line a thing that is wrong. */
export class Refused extends Error {
  constructor(faults, status = 0) {
    super(faults.join("\n"));
    this.faults = faults;
    this.status = status; // 0 without an answer
  }
}

const GONE = "The program does not answer. Start it again with: metersim explore";

/** A connection broke off, unless the page itself ended it. */
function broken(error) {
  throw error.name === "AbortError" ? error : new Refused([GONE]);
}

/** Ask the program; gives its response, or throws what is wrong. */
export async function ask(what, body, signal) {
  let response;
  try {
    response = await fetch(`/api/${what}`, {
      method: "POST",
      headers: { "Content-Type": "application/json" },
      body: JSON.stringify(body),
      signal,
    });
  } catch (error) {
    broken(error);
  }
  if (response.ok) return response;
  let faults;
  try {
    faults = (await response.json()).faults;
  } catch {
    // an answer without faults in JSON is said below
  }
  throw new Refused(faults ?? [`The program refused that (${response.status}).`], response.status);
}

/** JSON that the program gives. */
export async function askJson(what, body) {
  return (await ask(what, body)).json();
}

/** Objects of a response that has one a line, as they come. */
export async function* lines(response) {
  const reader = response.body.pipeThrough(new TextDecoderStream()).getReader();
  let rest = "";
  for (;;) {
    const { value, done } = await reader.read().catch(broken);
    rest += value ?? "";
    const whole = rest.split("\n");
    rest = done ? "" : whole.pop();
    for (const line of whole) if (line) yield JSON.parse(line);
    if (done) return;
  }
}

/** Hand a file to the person. */
export function handOver(blob, name) {
  const link = document.createElement("a");
  link.href = URL.createObjectURL(blob);
  link.download = name;
  link.click();
  setTimeout(() => URL.revokeObjectURL(link.href), 10_000);
}
