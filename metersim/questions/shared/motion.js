/* Draws a disc in motion on a canvas, to scale, from the numbers of metersim/questions/shared/motion.py.

   metersimMotion.create(canvas, motion, options) gives a player:
     play() pause() toggle() seek(t) step(n) nextOdd(n) rate(x) view(name) setMotion(motion)
     draw() text() cellAtEdge() onFrame(callback) destroy(), and time, start, end, playing
   Colours are variables of the canvas's style: --motion-NAME or --NAME, by the names of COLOURS.
   options: rate (seconds of the meter per second of the viewer, 0.125), view ("whole", "disc" or
   "edge"), units ("metric" or "us"), time, since (cells are counted from then on), mark (a cell), loop,
   labels (true), onText(text).  Times are those of the run, in s.  metersimMotion.state(motion, t) is what
   sits where at a time; it draws nothing. */
(function () {
  "use strict";

  var GRAVITY = 9.80665;
  var RIM = 1.09; // radius of the disc over that of its circle of holes (assumption)
  var TUBE = 0.036; // m, inner width of the tube as drawn (assumption)
  var BELOW = 0.05; // m from the tube's end to the ground, as in machine/tube.py
  var SHORT = 2.9; // radii of the circle of holes; a shorter tube is a short one
  var LEAST = 3.4; // px, least half length of a drawn seed
  var KINDS = ["skip", "single", "double", "more"];
  var NAMES = { skip: "skip", single: "one seed", double: "double", more: "three or more" };
  var COLOURS = {
    ink: "#222222", paper: "#ffffff", face: "#f3f1ec", pool: "#d8cfbf", pale: "#767676",
    single: "#0072B2", double: "#56B4E9", warm: "#D55E00", vacuum: "#007a58", ground: "#cfc4b2"
  };

  var SHARED = { single: "normal", double: "multiple" }; // names in the style sheet of all pages

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

  function create(canvas, motion, options) {
    options = options || {};
    var pen = canvas.getContext("2d"), colours = {}, size = 13, wide = 0, high = 0, dense = 1;
    var time, playing = false, asked = 0, before = 0, listeners = [], lastSaid = -1e9, hatches = {};
    var rate = options.rate || 0.125, view = options.view || "whole", camera = null, byCell, fall;

    function take(given) {
      motion = given;
      byCell = seedsByCell(motion);
      var lasts = motion.seeds.filter(function (s) { return s.lands !== null; })
        .map(function (s) { return s.lands - motionCell(s.cell).cut; }).sort(function (a, b) { return a - b; });
      fall = lasts.length ? lasts[lasts.length >> 1] : 0.35;
    }

    function motionCell(number) { return cellsOf(motion)[number - cellsOf(motion)[0].cell]; }

    function styled() {
      var css = getComputedStyle(canvas);
      Object.keys(COLOURS).forEach(function (name) {
        colours[name] = css.getPropertyValue("--motion-" + name).trim() ||
          css.getPropertyValue("--" + (SHARED[name] || name)).trim() || COLOURS[name];
      });
      size = Math.max(parseFloat(css.fontSize) * 0.82 || 13, 10);
      hatches = {};
      var room = canvas.getBoundingClientRect();
      wide = Math.max(room.width || canvas.width, 120);
      high = Math.max(room.height || canvas.height, 120);
      dense = Math.min(window.devicePixelRatio || 1, 3);
      var across = Math.round(wide * dense), down = Math.round(high * dense);
      if (canvas.width !== across || canvas.height !== down) {
        canvas.width = across;
        canvas.height = down;
      }
    }

    function aim() { // the window on the meter, in m, and what it is in px
      var g = motion.geometry, r = g.circle_radius_m, box;
      var foot = Math.max(g.tube_m, SHORT * r) + 0.03;
      if (view === "disc") box = [-1.5 * r, -1.3 * r, 1.5 * r, 1.2 * r];
      else if (view === "edge") {
        var spot = place(g.edge_rad, r);
        box = [spot[0] - 0.55 * r, spot[1] - 0.5 * r, spot[0] + 0.35 * r, spot[1] + 0.35 * r];
      } else box = [-2.1 * r, -foot, 2.1 * r, 1.2 * r];
      var top = 1.9 * size, bottom = (view === "whole" ? 3.1 : 4.8) * size;
      var scale = Math.min(wide / (box[2] - box[0]), (high - top - bottom) / (box[3] - box[1]));
      camera = {
        scale: scale, box: box, top: top, bottom: bottom,
        x0: wide / 2 - (scale * (box[0] + box[2])) / 2,
        y0: top + (high - top - bottom) / 2 + (scale * (box[1] + box[3])) / 2
      };
      var usual = (scale * g.seed_length_m) / 2;
      var most = (0.42 * 2 * Math.PI * r) / g.holes / (g.seed_length_m / 2); // neighbours stay apart
      camera.larger = Math.max(Math.min(LEAST / usual, most), 1);
    }

    function place(turned, radius) { // on the face of the disc, counter-clockwise from the pool's entry
      var a = turned - motion.geometry.pool_exit_rad / 2 - Math.PI / 2;
      return [radius * Math.cos(a), radius * Math.sin(a)];
    }
    function px(x) { return camera.x0 + camera.scale * x; }
    function py(y) { return camera.y0 - camera.scale * y; }

    function hatch(base, line) { // a pattern that is read without colour
      var key = base + line;
      if (!hatches[key]) {
        var tile = document.createElement("canvas"), n = Math.round(4 * dense);
        tile.width = tile.height = n;
        var p = tile.getContext("2d");
        p.fillStyle = base;
        p.fillRect(0, 0, n, n);
        p.strokeStyle = line;
        p.lineWidth = dense;
        p.beginPath();
        [-n, 0, n].forEach(function (x) { p.moveTo(x, n); p.lineTo(x + n, 0); });
        p.stroke();
        hatches[key] = pen.createPattern(tile, "repeat");
      }
      return hatches[key];
    }

    function seedAt(x, y, seed, look) { // a seed in px: "single", "several", "coming" or "lost"
      var g = motion.geometry, k = (camera.scale * camera.larger * seed.size) / 2;
      pen.save();
      pen.translate(x, y);
      if (look !== "lost") pen.rotate(Math.PI * scattered(seed.cell, seed.nth));
      pen.beginPath();
      pen.ellipse(0, 0, k * g.seed_length_m, Math.max(k * g.seed_width_m, 2), 0, 0, 2 * Math.PI);
      pen.lineWidth = look === "single" ? 0.8 : 1.4;
      pen.strokeStyle = look === "lost" ? colours.warm : colours.ink;
      if (look === "coming") pen.setLineDash([2, 2]);
      pen.fillStyle = { single: colours.single, several: hatch(colours.double, colours.ink),
        coming: colours.paper, lost: colours.paper }[look];
      pen.fill();
      pen.stroke();
      if (look === "lost") {
        var d = Math.max(0.6 * k * g.seed_width_m, 2);
        pen.setLineDash([]);
        pen.beginPath();
        pen.moveTo(-d, -d); pen.lineTo(d, d); pen.moveTo(-d, d); pen.lineTo(d, -d);
        pen.stroke();
      }
      pen.restore();
    }

    function cross(x, y, d) {
      pen.save();
      pen.lineCap = "round";
      [[colours.paper, 4.5], [colours.warm, 2.4]].forEach(function (how) {
        pen.strokeStyle = how[0];
        pen.lineWidth = how[1];
        pen.beginPath();
        pen.moveTo(x - d, y - d); pen.lineTo(x + d, y + d);
        pen.moveTo(x - d, y + d); pen.lineTo(x + d, y - d);
        pen.stroke();
      });
      pen.restore();
    }

    function diamond(x, y, d) {
      pen.beginPath();
      pen.moveTo(x, y - d); pen.lineTo(x + d, y); pen.lineTo(x, y + d); pen.lineTo(x - d, y);
      pen.closePath();
      pen.strokeStyle = colours.ink;
      pen.lineWidth = 1.5;
      pen.stroke();
    }

    function glyph(kind, x, y, d) { // the marks of the count
      if (kind === "skip") return cross(x, y, 0.6 * d);
      pen.beginPath();
      pen.ellipse(x, y, d, 0.7 * d, 0, 0, 2 * Math.PI);
      pen.fillStyle = kind === "single" ? colours.single : hatch(colours.double, colours.ink);
      pen.strokeStyle = colours.ink;
      pen.lineWidth = 1;
      pen.fill();
      pen.stroke();
      if (kind !== "single") diamond(x, y, 1.5 * d);
      if (kind === "more") words("+", x + 1.7 * d, y, { weight: "bold" });
    }

    function words(text, x, y, how) { // moved sideways where they would leave the canvas; gives their width
      how = how || {};
      pen.font = (how.weight || "normal") + " " + (how.size || 1) * size + "px " +
        (getComputedStyle(canvas).fontFamily || "sans-serif");
      pen.textAlign = "left";
      pen.textBaseline = "middle";
      var w = pen.measureText(text).width, h = 1.25 * size;
      var left = how.align === "right" ? x - w : how.align === "center" ? x - w / 2 : x;
      left = Math.max(Math.min(left, wide - w - 3), 3);
      if (how.plate) {
        pen.globalAlpha = 0.86;
        pen.fillStyle = colours.paper;
        pen.fillRect(left - 2, y - h / 2, w + 4, h);
        pen.globalAlpha = 1;
      }
      pen.fillStyle = how.colour || colours.ink;
      pen.fillText(text, left, y);
      return w;
    }

    function inLines(text, room) { // two lines of some px at most; the second is shortened
      pen.font = "bold " + size + "px " + (getComputedStyle(canvas).fontFamily || "sans-serif");
      var lines = [""];
      text.split(" ").forEach(function (word) {
        var longer = lines[lines.length - 1] + (lines[lines.length - 1] && " ") + word;
        if (pen.measureText(longer).width <= room) lines[lines.length - 1] = longer;
        else lines.push(word);
      });
      return lines.length > 2 ? [lines[0], lines[1] + " ..."] : lines;
    }

    function arc(radius, from, to) { // of turned angles
      var g = motion.geometry, shift = -g.pool_exit_rad / 2 - Math.PI / 2;
      pen.beginPath();
      pen.arc(px(0), py(0), camera.scale * radius, -(from + shift), -(to + shift), true);
    }

    function drawDisc(now) {
      var g = motion.geometry, r = g.circle_radius_m, rim = RIM * r;
      pen.beginPath();
      pen.arc(px(0), py(0), camera.scale * rim, 0, 2 * Math.PI);
      pen.fillStyle = colours.face;
      pen.fill();
      pen.lineWidth = 1;
      pen.strokeStyle = colours.pale;
      pen.stroke();
      // the pool: what of the disc lies below its level
      var surface = now.level - r, half = Math.acos(Math.min(Math.max(-surface / rim, -1), 1));
      pen.save();
      pen.beginPath();
      pen.arc(px(0), py(0), camera.scale * rim, Math.PI / 2 - half, Math.PI / 2 + half);
      pen.closePath();
      if (now.pool > 0) {
        pen.fillStyle = colours.pool;
        pen.fill();
        pen.clip();
        heap(surface, rim);
      }
      pen.restore();
      if (now.pool > 0) {
        var reach = Math.sqrt(Math.max(rim * rim - surface * surface, 0));
        line([[-reach, surface], [reach, surface]], colours.ink, 1.2);
      }
      var carry = g.carry_line_m - r;
      if (carry < rim) {
        var ends = Math.sqrt(rim * rim - carry * carry);
        line([[-ends, carry], [ends, carry]], colours.pale, 1, [2, 4]);
      }
      // spokes turn with the disc, so that its motion is seen
      for (var k = 0; k < 6; k++) {
        var turned = now.angle + (k * Math.PI) / 3;
        line([place(turned, 0.12 * r), place(turned, 0.3 * r)], colours.pale, k ? 1 : 3);
      }
      pen.beginPath();
      pen.arc(px(0), py(0), camera.scale * 0.12 * r, 0, 2 * Math.PI);
      pen.strokeStyle = colours.pale;
      pen.stroke();
      // which way it turns
      pen.lineWidth = 1.6;
      pen.strokeStyle = colours.ink;
      arc(0.4 * r, g.pool_exit_rad + 0.9, g.pool_exit_rad + 2.2);
      pen.stroke();
      var tip = place(g.pool_exit_rad + 2.28, 0.4 * r);
      line([place(g.pool_exit_rad + 2.05, 0.44 * r), tip, place(g.pool_exit_rad + 2.05, 0.36 * r)], colours.ink, 1.6);
      // vacuum behind the holes
      arc(0.86 * r, 0, g.cut_off_rad);
      pen.strokeStyle = colours.vacuum;
      pen.lineWidth = 2;
      pen.setLineDash([7, 3]);
      pen.stroke();
      pen.setLineDash([]);
    }

    function heap(surface, rim) { // seeds of the pool, which lie still (assumption)
      var g = motion.geometry, step = Math.max(1.25 * g.seed_length_m, 7 / camera.scale);
      pen.strokeStyle = colours.pale;
      pen.lineWidth = 0.7;
      for (var row = 0; -rim + row * step < surface; row++) {
        for (var x = -rim; x < rim; x += step) {
          var j = Math.round(x / step), y = -rim + row * step;
          var a = scattered(j, row), b = scattered(row + 7, j);
          pen.beginPath();
          pen.ellipse(px(x + 0.5 * a * step), py(y + 0.5 * b * step), 0.36 * camera.scale * step,
            0.25 * camera.scale * step, 3.1 * a, 0, 2 * Math.PI);
          pen.stroke();
        }
      }
    }

    function line(points, colour, width, dash) {
      pen.beginPath();
      points.forEach(function (p, k) { pen[k ? "lineTo" : "moveTo"](px(p[0]), py(p[1])); });
      pen.strokeStyle = colour;
      pen.lineWidth = width;
      pen.setLineDash(dash || []);
      pen.stroke();
      pen.setLineDash([]);
    }

    function drawStations() {
      var g = motion.geometry, r = g.circle_radius_m, k;
      line([place(g.cut_off_rad, 0.78 * r), place(g.cut_off_rad, 1.22 * r)], colours.ink, 2.5);
      line([place(g.pool_exit_rad, 0.92 * r), place(g.pool_exit_rad, 1.16 * r)], colours.pale, 1);
      // the edge: a comb of teeth outside the holes, at its gap
      var inner = r + Math.max(g.edge_gap_m, 0), outer = inner + 0.07 * r, teeth = 4;
      pen.beginPath();
      for (k = 0; k <= 2 * teeth; k++) {
        var at = place(g.edge_rad + (k / teeth - 1) * 0.16, k % 2 ? inner : inner + 0.022 * r);
        pen[k ? "lineTo" : "moveTo"](px(at[0]), py(at[1]));
      }
      for (k = 2 * teeth; k >= 0; k--) {
        var back = place(g.edge_rad + (k / teeth - 1) * 0.16, outer);
        pen.lineTo(px(back[0]), py(back[1]));
      }
      pen.closePath();
      pen.fillStyle = hatch(colours.paper, colours.ink);
      pen.fill();
      pen.strokeStyle = colours.ink;
      pen.lineWidth = 1.4;
      pen.stroke();
    }

    /* Words beside a short tube need more room; then the ground ends at the tube. */
    function isShort() { return motion.geometry.tube_m < SHORT * motion.geometry.circle_radius_m; }
    function floor() { return -Math.max(motion.geometry.tube_m, SHORT * motion.geometry.circle_radius_m); }
    function tubeX() { return -motion.geometry.circle_radius_m; }

    function drawTube(t) {
      var g = motion.geometry, x = tubeX(), top = -0.03, end = -g.tube_m + BELOW;
      if (g.delivery !== "none" && end < top) {
        [-1, 1].forEach(function (side) {
          line([[x + (side * TUBE) / 2, top], [x + (side * TUBE) / 2, end]], colours.ink, 1.6);
        });
        if (g.delivery === "conveyor") {
          for (var y = top; y > end; y -= 0.03) line([[x - TUBE / 2, y], [x + TUBE / 2, y]], colours.pale, 1);
        }
      }
      var beam = -g.tube_m + g.beam_m, lit = null;
      motion.seeds.forEach(function (s) {
        if (s.beam !== null && s.beam <= t && t < s.beam + 0.25 * rate) lit = s;
      });
      line([[x - 0.034, beam], [x + 0.034, beam]], colours.ink, lit ? 3 : 1, lit && lit.seen ? [] : [3, 3]);
      if (lit && !lit.seen) words("no pulse of its own", px(x + 0.04), py(beam) - size, { weight: "bold", plate: true });
    }

    function drawRow(t) {
      var g = motion.geometry, y = -g.tube_m, here = between(motion.way.time, motion.way.place, t);
      var left = -camera.x0 / camera.scale, right = (wide - camera.x0) / camera.scale, x;
      if (py(y) > high - camera.bottom + 2) return;
      if (isShort()) right = tubeX() + 0.05;
      pen.fillStyle = colours.ground;
      pen.fillRect(px(left), py(y), px(right) - px(left), 0.02 * camera.scale);
      line([[left, y], [right, y]], colours.ink, 1.4);
      var first = Math.ceil((here + left - tubeX()) / motion.spacing_m);
      for (var k = first; (x = k * motion.spacing_m - here + tubeX()) < right; k++) {
        line([[x, y - 0.004], [x, y - 0.016]], colours.ink, 1);
      }
      cellsOf(motion).forEach(function (cell) {
        var due = cell.cut + fall;
        if (cell.kind !== "skip" || due > t) return;
        var at = between(motion.way.time, motion.way.place, due) - here + tubeX();
        if (at > left && at < right) cross(px(at), py(y + 0.008), 4.5);
      });
      motion.seeds.forEach(function (s) {
        if (s.lands === null || s.lands > t) return;
        var at = s.x - here + tubeX();
        if (at > left - 0.02 && at < right) seedAt(px(at), py(y + 0.004), s, looks(s));
      });
    }

    function looks(seed) { return motionCell(seed.cell).released > 1 ? "several" : "single"; }

    function holePlace(seed, t, many, rank) { // of a seed on its hole: further seeds lie beside the first
      var g = motion.geometry, pitch = (2 * Math.PI) / g.holes;
      var turned = angleAt(motion, t) - seed.cell * pitch, r = g.circle_radius_m;
      var aside = many > 1 ? 0.5 * g.seed_width_m * camera.larger : 0;
      var around = rank * ((2 * Math.PI) / Math.max(many, 1)) + 0.7;
      return place(turned + (aside * Math.cos(around)) / r, r + aside * Math.sin(around));
    }

    function drawHoles(t) {
      var g = motion.geometry, r = g.circle_radius_m, pitch = (2 * Math.PI) / g.holes;
      var angle = angleAt(motion, t), last = cellsOf(motion)[cellsOf(motion).length - 1].cell;
      var newest = Math.floor(angle / pitch), hole = Math.max((camera.scale * g.hole_diameter_m) / 2, 1.4);
      for (var n = newest; n > newest - g.holes; n--) {
        var turned = angle - n * pitch, spot = place(turned, r), x = px(spot[0]), y = py(spot[1]);
        pen.beginPath();
        pen.arc(x, y, hole, 0, 2 * Math.PI);
        pen.fillStyle = colours.paper;
        pen.strokeStyle = turned < g.cut_off_rad ? colours.ink : colours.pale;
        pen.lineWidth = 1;
        pen.fill();
        pen.stroke();
        if (n < cellsOf(motion)[0].cell || n > last) continue;
        var cell = motionCell(n), on = [], coming = [];
        byCell[n].forEach(function (s) {
          if (s.joined <= t && t < offHole(s)) on.push(s);
          else if (s.drawn <= t && t < s.joined) coming.push(s);
        });
        if (!on.length && !coming.length && cell.leaves <= t && t < cell.cut) cross(x, y, Math.max(1.2 * hole, 4.5));
        var all = on.concat(coming), past = cell.edge <= t;
        all.forEach(function (s, k) {
          var p = holePlace(s, t, all.length, k);
          var look = coming.length && s.drawn <= t && t < s.joined ? "coming" : on.length > 1 ? "several" : "single";
          seedAt(px(p[0]), py(p[1]), s, look);
        });
        if (on.length > 1 && past) {
          diamond(x, y, 0.75 * camera.scale * camera.larger * g.seed_length_m + 5);
        }
      }
    }

    function drawFlights(t) {
      var g = motion.geometry, r = g.circle_radius_m;
      motion.seeds.forEach(function (s) {
        if (s.lost && s.lost.time <= t && t < s.lost.time + 0.6) {
          // thrown as its hole moved, then in free fall to the pool; the housing leads it there
          var p = holePlace(s, s.lost.time, 1, 0), q = holePlace(s, s.lost.time + 0.002, 1, 0);
          var dt = t - s.lost.time, y = p[1] + ((q[1] - p[1]) / 0.002) * dt - (GRAVITY * dt * dt) / 2;
          var down = Math.min(Math.max((p[1] - y) / r, 0), 1);
          var x = p[0] + (Math.sign(p[0]) * 0.05 * Math.min(dt / 0.05, 1) - Math.sign(p[0]) * 0.45 * down) * r;
          var tick = Math.max(lastAt(motion.pool.time, t), 0);
          if (y > motion.pool.level[tick] - r) seedAt(px(x), py(y), s, "lost");
        } else if (s.leaves_hole !== null && s.leaves_hole <= t && t < s.lands) {
          var at = holePlace(s, s.leaves_hole, 1, 0);
          seedAt(px(alongFall(s, at, t)), py(at[1] + (depthOf(s, at, t) * (-g.tube_m - at[1])) / g.tube_m), s, looks(s));
        }
      });
    }

    /* Depth of a falling seed: it passes hole, beam and ground at its own times, evenly accelerated in
       between from the speed at which it got there (assumption); a belt carries it at one speed. */
    function depthOf(s, at, t) {
      var g = motion.geometry, belt = g.delivery === "conveyor", beam = g.tube_m - g.beam_m;
      var pitch = (2 * Math.PI) / g.holes, before = angleAt(motion, s.leaves_hole - 0.01);
      var launch = ((angleAt(motion, s.leaves_hole) - before) / 0.01) * g.circle_radius_m;
      var first = part(0, beam, s.leaves_hole, s.beam, launch, t, belt);
      if (t <= s.beam) return first.depth;
      return part(beam, g.tube_m, s.beam, s.lands, first.speed, t, belt).depth;
    }
    function part(from, to, start, end, speed, t, belt) {
      var whole = end - start, way = to - from;
      if (!(whole > 0) || !(way > 0)) return { depth: to, speed: speed };
      var k = belt ? 1 : Math.min(Math.max((speed * whole) / way, 0), 2);
      var f = Math.min(Math.max((t - start) / whole, 0), 1);
      return { depth: from + way * (k * f + (1 - k) * f * f), speed: (way / whole) * (2 - k) };
    }
    function alongFall(s, at, t) { // from its hole into the tube, then to its place in the row
      var g = motion.geometry, depth = depthOf(s, at, t), end = Math.max(g.tube_m - BELOW, 0.01);
      if (depth < end) return at[0] + (tubeX() - at[0]) * Math.min(depth / 0.05, 1);
      var there = s.x - between(motion.way.time, motion.way.place, s.lands) + tubeX();
      return tubeX() + (there - tubeX()) * Math.min((depth - end) / (g.tube_m - end), 1);
    }

    function drawWords(t, now) {
      var g = motion.geometry, r = g.circle_radius_m, us = options.units === "us", far = view === "whole";
      if (options.labels !== false) {
        var edge = place(g.edge_rad, far ? 1.2 * r : 0.8 * r), cut = place(g.cut_off_rad, far ? 1.2 * r : 0.76 * r);
        var outside = { plate: true, align: far ? "left" : "right" };
        words("edge: sends", px(edge[0]), py(edge[1]) - 0.7 * size, outside);
        words("extra seeds back", px(edge[0]), py(edge[1]) + 0.6 * size, outside);
        if (view !== "edge") {
          var aside = { plate: true, align: far ? "right" : "left" };
          words("cut-off: vacuum ends,", px(cut[0]), py(cut[1]) - 0.7 * size, aside);
          words("seeds drop", px(cut[0]), py(cut[1]) + 0.6 * size, aside);
          if (!far || now.level > 0.9 * g.carry_line_m) words("carry line", px(0), py(g.carry_line_m - r) - 0.6 * size, { align: "center", plate: true });
          if (!far) words("vacuum (dashed)", px(0), py(0.55 * r), { align: "center", plate: true, colour: colours.vacuum });
          words("pool: " + now.pool + " seeds", px(0), py(-r - 0.13 * r) + size * 0.9, { align: "center", plate: true });
          var slid = slide(t);
          if (slid && !now.arched) words("slide: " + slid + " seeds come in", far ? px(tubeX() + 0.028) : px(-0.5 * r), py(-1.13 * r) + 2.2 * size, { weight: "bold" });
          if (now.arched) words("arch: no seed comes in", far ? px(tubeX() + 0.028) : px(-0.5 * r), py(-1.13 * r) + 2.2 * size, { weight: "bold" });
        }
        if (far) {
          var x = tubeX();
          words({ tube: "tube", conveyor: "belt with compartments", none: "no tube" }[g.delivery],
            px(x - 0.03), py(-0.45 * g.tube_m), { align: "right" });
          words("sensor's beam", px(x - 0.042), py(-g.tube_m + g.beam_m), { align: "right" });
          if (isShort()) words("the machine moves this way \u2192", 8, py(-g.tube_m - 0.02) + size, { plate: true });
          else {
            var moves = words("the machine moves this way \u2192", px(x + 0.05), py(-g.tube_m) - size);
            var after = px(x + 0.05) + moves + 0.5 * size, ticks = "(ticks: nominal spacing)";
            if (after + pen.measureText(ticks).width + 3 < wide) words(ticks, after, py(-g.tube_m) - size);
          }
        }
      }
      var marked = options.mark === null || options.mark === undefined ? null : motionCell(options.mark);
      if (marked && marked.enters <= t && t < marked.cut) {
        var inside = place(angleAt(motion, t) - (marked.cell * 2 * Math.PI) / g.holes, 0.7 * r);
        words("cell " + marked.cell, px(inside[0]), py(inside[1]), { weight: "bold", align: "center", plate: true });
      }
      var usual = rate >= 1 ? "at true speed" : "slow motion: 1 s lasts " + +(1 / rate).toPrecision(3) + " s";
      words(t.toFixed(2) + " s", 8, size, { weight: "bold", size: 1.1 });
      words(usual, wide - 8, size, { align: "right" });
      // one scale bar
      var length = us ? 0.0508 : 0.05, bar = camera.scale * length;
      if (view === "edge") { length = us ? 0.0127 : 0.01; bar = camera.scale * length; }
      var bx = wide - 10 - bar, by = high - camera.bottom - 10;
      if (far) by = py(floor()) - 3.2 * size;
      pen.strokeStyle = colours.ink;
      pen.lineWidth = 2;
      pen.beginPath();
      pen.moveTo(bx, by - 4); pen.lineTo(bx, by); pen.lineTo(bx + bar, by); pen.lineTo(bx + bar, by - 4);
      pen.stroke();
      var said = us ? (view === "edge" ? "1/2 in" : "2 in") : view === "edge" ? "1 cm" : "5 cm";
      words(said, bx + bar, by - 0.9 * size, { align: "right", plate: true });
      if (camera.larger > 1.05) {
        words("seeds drawn " + camera.larger.toFixed(1) + " times as large", wide - 8, by + 0.9 * size, { align: "right", plate: true });
      }
      drawCount(now, far, r);
      var happened = latest(t);
      if (!happened) return;
      inLines(happened.words, wide - 40).forEach(function (part, k) {
        words(part, 8, high - (2.1 - 1.25 * k) * size, { weight: happened.weight === "odd" ? "bold" : "normal" });
      });
    }

    function drawCount(now, far, r) {
      var x = far ? px(-0.35 * r) : 14, y = far ? py(-1.13 * r) + 4.2 * size : high - 3.7 * size, step = 1.5 * size;
      if (far && y + 4.5 * step > py(floor()) - 3.6 * size) step = 1.2 * size;
      if (far) words("Cells past the cut-off so far:", x - 0.5 * size, y, { weight: "bold" });
      else x += words("Past the cut-off:", 8, y, { weight: "bold" }) + 0.8 * size;
      KINDS.slice(1, 2).concat(["skip", "double", "more"]).forEach(function (kind) {
        if (kind === "more" && !now.counted.more && !far) return;
        if (far) {
          y += step;
          glyph(kind, x + 0.3 * size, y, 0.42 * size);
          words(now.counted[kind] + "", x + 3.2 * size, y, { align: "right", weight: "bold" });
          words(NAMES[kind], x + 3.7 * size, y);
        } else {
          glyph(kind, x, y, 0.42 * size);
          x += 1.1 * size + words(now.counted[kind] + " " + NAMES[kind], x + 1.1 * size, y) + 1.4 * size;
        }
      });
      if (far) drawMeanings(x, y + 0.3 * step, step);
    }

    function slide(t) { // seeds that came in through the gate a moment ago, 0 if few
      for (var k = lastAt(motion.pool.time, t); k > 0 && t - motion.pool.time[k] < Math.min(4 * rate, 0.6); k--) {
        if (motion.pool.inflow[k] >= Math.max(0.01 * motion.pool.seeds[k], 5)) return motion.pool.inflow[k];
      }
      return 0;
    }

    function drawMeanings(x, y, step) { // what the other two marks say
      if (y + 3 * step > py(floor()) - (isShort() ? 0 : 4.4) * size) return;
      [["coming", "coming to a hole"], ["lost", "sent back to the pool"]].forEach(function (mark) {
        y += step;
        seedAt(x + 0.3 * size, y, { cell: 0, nth: 0, size: (0.9 * size) / (camera.scale * camera.larger * motion.geometry.seed_length_m) }, mark[0]);
        words(mark[1], x + 1.4 * size, y);
      });
      y += step;
      pen.strokeStyle = colours.vacuum;
      pen.lineWidth = 2;
      pen.setLineDash([5, 3]);
      pen.beginPath();
      pen.moveTo(x - 0.3 * size, y); pen.lineTo(x + 1.1 * size, y);
      pen.stroke();
      pen.setLineDash([]);
      words("vacuum holds seeds", x + 1.4 * size, y);
    }

    function latest(t) { // what a viewer is told: the last odd event if it is fresh, else the last one
      var plain = null;
      for (var k = motion.events.length - 1; k >= 0; k--) {
        var one = motion.events[k];
        if (one.time > t || (view === "edge" && one.at !== "pool" && one.at !== "edge")) continue;
        if (t - one.time > 8 * rate) break;
        if (one.weight === "odd" && t - one.time < 6 * rate) return one;
        if (!plain && one.at === "edge") plain = one;
      }
      return plain;
    }

    function draw() {
      styled();
      aim();
      var now = state(motion, time, options.since);
      pen.setTransform(dense, 0, 0, dense, 0, 0);
      pen.fillStyle = colours.paper;
      pen.fillRect(0, 0, wide, high);
      pen.save();
      pen.beginPath();
      pen.rect(0, camera.top, wide, high - camera.top - camera.bottom);
      pen.clip();
      if (view === "whole") drawTube(time);
      if (view === "whole") drawRow(time);
      drawDisc(now);
      drawStations();
      drawHoles(time);
      drawFlights(time);
      pen.restore();
      drawWords(time, now);
      listeners.forEach(function (one) { one(time); });
    }

    function cellAtEdge() { // the cell that met the edge last, with its times beside the rest
      var found = null;
      cellsOf(motion).forEach(function (cell) { if (cell.edge <= time) found = cell; });
      return found;
    }

    function text() {
      var now = state(motion, time, options.since), cell = cellAtEdge(), g = motion.geometry, ones = 0, several = 0, none = 0;
      cellsOf(motion).forEach(function (one) {
        if (one.edge > time || time >= one.cut) return;
        var many = (now.holes[one.cell] || []).length;
        if (!many) none += 1; else if (many === 1) ones += 1; else several += 1;
      });
      var said = "At " + time.toFixed(2) + " s, between edge and cut-off: " + ones + " cells carry one seed, " +
        several + " carry more, " + none + " carry none. Pool: " + now.pool + " seeds. Past the cut-off: " +
        KINDS.map(function (kind) { return now.counted[kind] + " " + NAMES[kind]; }).join(", ") + ".";
      var happened = latest(time);
      if (cell) said += " Last at the edge: cell " + cell.cell + ", hole " + (cell.hole + 1) + " of " + g.holes + ".";
      return happened ? said + " " + happened.words : said;
    }

    function tell(always) {
      var clock = performance.now();
      if (!options.onText || (!always && clock - lastSaid < 4000)) return;
      lastSaid = clock;
      options.onText(text());
    }

    function frame(clock) {
      if (!playing) return;
      time += Math.min((clock - before) / 1000, 0.1) * rate;
      before = clock;
      if (time >= motion.end) {
        time = options.loop ? motion.start : motion.end;
        playing = !!options.loop;
      }
      draw();
      tell(!playing);
      if (playing) asked = requestAnimationFrame(frame);
    }

    function pause() {
      playing = false;
      cancelAnimationFrame(asked);
      tell(true);
    }

    var player = {
      play: function () {
        if (playing) return;
        if (time >= motion.end) time = motion.start;
        playing = true;
        before = performance.now();
        asked = requestAnimationFrame(frame);
      },
      pause: pause,
      toggle: function () { if (playing) pause(); else player.play(); },
      seek: function (t) {
        time = Math.min(Math.max(+t || 0, motion.start), motion.end);
        draw();
        if (!playing) tell(true);
      },
      step: function (n) { // to the next cell at the edge, or the one before
        pause();
        var edges = cellsOf(motion).map(function (cell) { return cell.edge; });
        var k = lastAt(edges, time + 1e-9) + n;
        player.seek(edges[Math.min(Math.max(k, 0), edges.length - 1)]);
      },
      nextOdd: function (n) { // to the next odd event, or the one before; whether there is one
        var odd = motion.events.filter(function (one) {
          return one.weight === "odd" && (n > 0 ? one.time > time + 1e-6 : one.time < time - 1e-6);
        });
        if (!odd.length) return false;
        player.seek(odd[n > 0 ? 0 : odd.length - 1].time);
        return true;
      },
      rate: function (x) { if (x > 0) rate = x; draw(); return rate; },
      view: function (name) { if (name) { view = name; draw(); } return view; },
      setMotion: function (given) { take(given); time = given.start; draw(); tell(true); },
      draw: draw,
      text: text,
      cellAtEdge: cellAtEdge,
      onFrame: function (callback) { listeners.push(callback); },
      destroy: function () {
        pause();
        listeners = [];
        if (watcher) watcher.disconnect();
      },
      get time() { return time; },
      get start() { return motion.start; },
      get end() { return motion.end; },
      get playing() { return playing; }
    };
    take(motion);
    time = options.time === undefined ? motion.start : options.time;
    var watcher = window.ResizeObserver ? new ResizeObserver(function () { draw(); }) : null;
    if (watcher) watcher.observe(canvas);
    draw();
    return player;
  }

  window.metersimMotion = { create: create, state: state };
})();
