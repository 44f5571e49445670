/* Numbers of a disc in motion: what sits where at a time, by metersim/questions/shared/motion/followed.py. */
(function () {
  "use strict";

  var KINDS = ["skip", "single", "double", "more"];

  function between(xs, ys, x) {
    var low = 0, high = xs.length - 1;
    if (x <= xs[0]) return ys[0];
    if (x >= xs[high]) return ys[high];
    while (high - low > 1) {
      var middle = (low + high) >> 1;
      if (xs[middle] <= x) low = middle; else high = middle;
    }
    var width = xs[high] - xs[low];
    return width > 0 ? ys[low] + ((ys[high] - ys[low]) * (x - xs[low])) / width : ys[high];
  }

  function lastAt(times, t) { // index of the last time up to t, or -1
    var low = 0, high = times.length;
    while (low < high) {
      var middle = (low + high) >> 1;
      if (times[middle] <= t) low = middle + 1; else high = middle;
    }
    return low - 1;
  }

  function seedsByCell(motion) {
    var found = {};
    cellsOf(motion).forEach(function (cell) { found[cell.cell] = []; });
    motion.seeds.forEach(function (seed) { found[seed.cell].push(seed); });
    return found;
  }

  var known = new WeakMap();
  function cellsOf(motion) { // all cells on the disc in order, with their times beside the rest
    if (!known.has(motion)) {
      var all = motion.cells.concat(motion.around).map(function (cell) {
        return Object.assign({}, cell, cell.times);
      });
      known.set(motion, all.sort(function (a, b) { return a.cell - b.cell; }));
    }
    return known.get(motion);
  }

  function offHole(seed) { return seed.lost ? seed.lost.time : seed.leaves_hole; }

  /* What sits where at a time; the same as Motion.on_hole, in_pool and counted in Python. */
  function state(motion, t, from) {
    var holes = {}, falling = [], tick = Math.max(lastAt(motion.pool.time, t), 0);
    var since = motion.pool.time[tick], pool = motion.pool.seeds[tick];
    motion.seeds.forEach(function (seed) {
      if (seed.joined <= t && t < offHole(seed)) {
        (holes[seed.cell] = holes[seed.cell] || []).push(seed.nth);
      }
      if (seed.leaves_hole !== null && seed.leaves_hole <= t && t < seed.lands) falling.push(seed);
      if (since < seed.joined && seed.joined <= t) pool -= 1;
      if (seed.lost && since < seed.lost.time && seed.lost.time <= t) pool += 1;
    });
    var counted = { skip: 0, single: 0, double: 0, more: 0 };
    cellsOf(motion).forEach(function (cell) {
      if ((from === undefined ? motion.start : from) < cell.cut && cell.cut <= t) counted[cell.kind] += 1;
    });
    return { holes: holes, falling: falling, pool: pool, level: motion.pool.level[tick],
      arched: motion.pool.arched[tick], counted: counted, angle: angleAt(motion, t) };
  }

  function angleAt(motion, t) { return between(motion.way.time, motion.way.angle, t); }

  function scattered(a, b) { // a fixed number from 0 to 1 for two whole numbers
    var x = Math.sin(a * 127.1 + b * 311.7 + 0.5) * 43758.5453;
    return x - Math.floor(x);
  }

  window.metersimMotion = {
    KINDS: KINDS, between: between, lastAt: lastAt, seedsByCell: seedsByCell, cellsOf: cellsOf,
    offHole: offHole, state: state, angleAt: angleAt, scattered: scattered
  };
})();
