/* Draws the meter and its seeds at a time, with the brush of motionbrush.js. */
(function () {
  "use strict";

  var M = window.metersimMotion;
  var GRAVITY = 9.80665;
  var RIM = 1.09; // radius of the disc over that of its circle of holes (assumption)
  var TUBE = 0.036; // m, inner width of the tube as drawn (assumption)
  var BELOW = 0.05; // m from the tube's end to the ground, as in machine/tube.py

  M.drawnMeter = function (scene, brush) {
    var pen = brush.pen, colours = brush.colours, px = brush.px, py = brush.py, place = brush.place;
    var arc = brush.arc, hatch = brush.hatch, line = brush.line, words = brush.words,
      cross = brush.cross, diamond = brush.diamond, seedAt = brush.seedAt;

    function drawDisc(now) {
      var g = scene.motion.geometry, r = g.circle_radius_m, rim = RIM * r;
      pen.beginPath();
      pen.arc(px(0), py(0), brush.camera.scale * rim, 0, 2 * Math.PI);
      pen.fillStyle = colours.face;
      pen.fill();
      pen.lineWidth = 1;
      pen.strokeStyle = colours.pale;
      pen.stroke();
      // the pool: what of the disc lies below its level
      var surface = now.level - r, half = Math.acos(Math.min(Math.max(-surface / rim, -1), 1));
      pen.save();
      pen.beginPath();
      pen.arc(px(0), py(0), brush.camera.scale * rim, Math.PI / 2 - half, Math.PI / 2 + half);
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
      pen.arc(px(0), py(0), brush.camera.scale * 0.12 * r, 0, 2 * Math.PI);
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
      var g = scene.motion.geometry, step = Math.max(1.25 * g.seed_length_m, 7 / brush.camera.scale);
      pen.strokeStyle = colours.pale;
      pen.lineWidth = 0.7;
      for (var row = 0; -rim + row * step < surface; row++) {
        for (var x = -rim; x < rim; x += step) {
          var j = Math.round(x / step), y = -rim + row * step;
          var a = M.scattered(j, row), b = M.scattered(row + 7, j);
          pen.beginPath();
          pen.ellipse(px(x + 0.5 * a * step), py(y + 0.5 * b * step), 0.36 * brush.camera.scale * step,
            0.25 * brush.camera.scale * step, 3.1 * a, 0, 2 * Math.PI);
          pen.stroke();
        }
      }
    }

    function drawStations() {
      var g = scene.motion.geometry, r = g.circle_radius_m, k;
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
    function drawTube(t) {
      var g = scene.motion.geometry, x = scene.tubeX(), top = -0.03, end = -g.tube_m + BELOW;
      if (g.delivery !== "none" && end < top) {
        [-1, 1].forEach(function (side) {
          line([[x + (side * TUBE) / 2, top], [x + (side * TUBE) / 2, end]], colours.ink, 1.6);
        });
        if (g.delivery === "conveyor") {
          for (var y = top; y > end; y -= 0.03) line([[x - TUBE / 2, y], [x + TUBE / 2, y]], colours.pale, 1);
        }
      }
      var beam = -g.tube_m + g.beam_m, lit = null;
      scene.motion.seeds.forEach(function (s) {
        if (s.beam !== null && s.beam <= t && t < s.beam + 0.25 * scene.rate) lit = s;
      });
      line([[x - 0.034, beam], [x + 0.034, beam]], colours.ink, lit ? 3 : 1, lit && lit.seen ? [] : [3, 3]);
      if (lit && !lit.seen) words("no pulse of its own", px(x + 0.04), py(beam) - brush.size, { weight: "bold", plate: true });
    }

    function drawRow(t) {
      var g = scene.motion.geometry, y = -g.tube_m, here = M.between(scene.motion.way.time, scene.motion.way.place, t);
      var left = -brush.camera.x0 / brush.camera.scale, right = (brush.wide - brush.camera.x0) / brush.camera.scale, x;
      if (py(y) > brush.high - brush.camera.bottom + 2) return;
      if (scene.isShort()) right = scene.tubeX() + 0.05;
      pen.fillStyle = colours.ground;
      pen.fillRect(px(left), py(y), px(right) - px(left), 0.02 * brush.camera.scale);
      line([[left, y], [right, y]], colours.ink, 1.4);
      var first = Math.ceil((here + left - scene.tubeX()) / scene.motion.spacing_m);
      for (var k = first; (x = k * scene.motion.spacing_m - here + scene.tubeX()) < right; k++) {
        line([[x, y - 0.004], [x, y - 0.016]], colours.ink, 1);
      }
      M.cellsOf(scene.motion).forEach(function (cell) {
        var due = cell.cut + scene.fall;
        if (cell.kind !== "skip" || due > t) return;
        var at = M.between(scene.motion.way.time, scene.motion.way.place, due) - here + scene.tubeX();
        if (at > left && at < right) cross(px(at), py(y + 0.008), 4.5);
      });
      scene.motion.seeds.forEach(function (s) {
        if (s.lands === null || s.lands > t) return;
        var at = s.x - here + scene.tubeX();
        if (at > left - 0.02 && at < right) seedAt(px(at), py(y + 0.004), s, looks(s));
      });
    }

    function looks(seed) { return scene.cell(seed.cell).released > 1 ? "several" : "single"; }

    function holePlace(seed, t, many, rank) { // of a seed on its hole: further seeds lie beside the first
      var g = scene.motion.geometry, pitch = (2 * Math.PI) / g.holes;
      var turned = M.angleAt(scene.motion, t) - seed.cell * pitch, r = g.circle_radius_m;
      var aside = many > 1 ? 0.5 * g.seed_width_m * brush.camera.larger : 0;
      var around = rank * ((2 * Math.PI) / Math.max(many, 1)) + 0.7;
      return place(turned + (aside * Math.cos(around)) / r, r + aside * Math.sin(around));
    }

    function drawHoles(t) {
      var g = scene.motion.geometry, r = g.circle_radius_m, pitch = (2 * Math.PI) / g.holes;
      var angle = M.angleAt(scene.motion, t), last = M.cellsOf(scene.motion)[M.cellsOf(scene.motion).length - 1].cell;
      var newest = Math.floor(angle / pitch), hole = Math.max((brush.camera.scale * g.hole_diameter_m) / 2, 1.4);
      for (var n = newest; n > newest - g.holes; n--) {
        var turned = angle - n * pitch, spot = place(turned, r), x = px(spot[0]), y = py(spot[1]);
        pen.beginPath();
        pen.arc(x, y, hole, 0, 2 * Math.PI);
        pen.fillStyle = colours.paper;
        pen.strokeStyle = turned < g.cut_off_rad ? colours.ink : colours.pale;
        pen.lineWidth = 1;
        pen.fill();
        pen.stroke();
        if (n < M.cellsOf(scene.motion)[0].cell || n > last) continue;
        var cell = scene.cell(n), on = [], coming = [];
        scene.byCell[n].forEach(function (s) {
          if (s.joined <= t && t < M.offHole(s)) on.push(s);
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
          diamond(x, y, 0.75 * brush.camera.scale * brush.camera.larger * g.seed_length_m + 5);
        }
      }
    }

    function drawFlights(t) {
      var g = scene.motion.geometry, r = g.circle_radius_m;
      scene.motion.seeds.forEach(function (s) {
        if (s.lost && s.lost.time <= t && t < s.lost.time + 0.6) {
          // thrown as its hole moved, then in free fall to the pool; the housing leads it there
          var p = holePlace(s, s.lost.time, 1, 0), q = holePlace(s, s.lost.time + 0.002, 1, 0);
          var dt = t - s.lost.time, y = p[1] + ((q[1] - p[1]) / 0.002) * dt - (GRAVITY * dt * dt) / 2;
          var down = Math.min(Math.max((p[1] - y) / r, 0), 1);
          var x = p[0] + (Math.sign(p[0]) * 0.05 * Math.min(dt / 0.05, 1) - Math.sign(p[0]) * 0.45 * down) * r;
          var tick = Math.max(M.lastAt(scene.motion.pool.time, t), 0);
          if (y > scene.motion.pool.level[tick] - r) seedAt(px(x), py(y), s, "lost");
        } else if (s.leaves_hole !== null && s.leaves_hole <= t && t < s.lands) {
          var at = holePlace(s, s.leaves_hole, 1, 0);
          seedAt(px(alongFall(s, at, t)), py(at[1] + (depthOf(s, at, t) * (-g.tube_m - at[1])) / g.tube_m), s, looks(s));
        }
      });
    }

    /* Depth of a falling seed: it passes hole, beam and ground at its own times, evenly accelerated in
       between from the speed at which it got there (assumption); a belt carries it at one speed. */
    function depthOf(s, at, t) {
      var g = scene.motion.geometry, belt = g.delivery === "conveyor", beam = g.tube_m - g.beam_m;
      var before = M.angleAt(scene.motion, s.leaves_hole - 0.01);
      var launch = ((M.angleAt(scene.motion, s.leaves_hole) - before) / 0.01) * g.circle_radius_m;
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
      var g = scene.motion.geometry, depth = depthOf(s, at, t), end = Math.max(g.tube_m - BELOW, 0.01);
      if (depth < end) return at[0] + (scene.tubeX() - at[0]) * Math.min(depth / 0.05, 1);
      var there = s.x - M.between(scene.motion.way.time, scene.motion.way.place, s.lands) + scene.tubeX();
      return scene.tubeX() + (there - scene.tubeX()) * Math.min((depth - end) / (g.tube_m - end), 1);
    }

    return function (t, now) {
      if (scene.view === "whole") {
        drawTube(t);
        drawRow(t);
      }
      drawDisc(now);
      drawStations();
      drawHoles(t);
      drawFlights(t);
    };
  };
})();
