/* Asking for results: the newest setting wins, and a drag asks once per finished answer. */

import { ask, lines, Refused } from "./api.js";

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
  }

  /** Something moved at a time, or nothing but the view did. */
  moved(since = null) {
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
    const request = this.wanted();
    try {
      const { signal } = mine;
      for await (const line of lines(await ask("redraw", { ...request, total: true }, signal))) {
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
