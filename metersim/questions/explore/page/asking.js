/* Asking for results: the newest setting wins, and a drag asks once per finished answer. */

import { ask, lines, Refused } from "./api.js";

const SOON = 400; // ms; moves that follow within it are one drag, which asks for no totals

/** Asks for what is shown, and hands on each line of the answer. */
export class Asker {
  /** `wanted()` gives the newest request, `took(line, request, first)` shows a line of its answer,
   * `refused(error)` says what is wrong with it. */
  constructor(wanted, took, refused) {
    Object.assign(this, { wanted, took, refused });
    this.running = null; // controller of the request that runs
    this.waiting = false; // whether its first line has not come
    this.again = false; // whether something moved since it was sent
    this.since = null; // ms, when the newest move was made that no picture shows
    this.last = -Infinity; // ms, when the newest move was made
    this.dragging = false;
    this.later = 0; // timer that asks for totals after a drag
  }

  /** Something moved at a time, or nothing but the view did. */
  moved(since = null) {
    clearTimeout(this.later);
    this.dragging = since !== null && since - this.last < SOON;
    if (this.dragging) this.later = setTimeout(() => this.moved(), SOON);
    this.last = since ?? this.last;
    this.since = since ?? this.since;
    if (this.waiting) {
      this.again = true;
      return;
    }
    this.send();
  }

  /** Forget the request that runs. */
  stop() {
    this.running?.abort();
    Object.assign(this, { running: null, waiting: false, again: false, since: null });
  }

  send() {
    const { since } = this;
    this.stop();
    this.waiting = true;
    this.running = new AbortController();
    this.run(this.running, since).catch((error) => {
      if (error.name === "AbortError") return;
      if (!(error instanceof Refused)) throw error;
      this.refused(error);
    });
  }

  async run(mine, since) {
    const request = { ...this.wanted(), total: !this.dragging };
    try {
      for await (const line of lines(await ask("redraw", request, mine.signal))) {
        if (mine !== this.running || line.state === "cancelled") return;
        const first = this.waiting;
        this.waiting = false;
        this.took(line, request, first);
        if (first && since !== null) measure(since);
        if (this.again) return this.send();
      }
    } finally {
      if (mine === this.running && this.waiting) {
        this.waiting = false;
        if (this.again) this.send();
      }
    }
  }
}

/** Time from a move to the picture of it, for whoever measures the page. */
function measure(since) {
  requestAnimationFrame(() => {
    const painted = new MessageChannel();
    painted.port1.onmessage = () => {
      performance.measure("redraw", { start: since, end: performance.now() });
    };
    painted.port2.postMessage(null);
  });
}
