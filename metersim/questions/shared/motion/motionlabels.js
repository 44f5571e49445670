/* Labels, counts and sentences of a disc in motion, with the brush of motionbrush.js. */
(function () {
  "use strict";

  var M = window.metersimMotion;
  var NAMES = { skip: "skip", single: "one seed", double: "double", more: "three or more" };

  M.labels = function (scene, brush) {
    var pen = brush.pen, colours = brush.colours, px = brush.px, py = brush.py, place = brush.place;
    var glyph = brush.glyph, inLines = brush.inLines, seedAt = brush.seedAt, words = brush.words;

    function drawWords(t, now) {
      var g = scene.motion.geometry, r = g.circle_radius_m, us = scene.options.units === "us", far = scene.view === "whole";
      if (scene.options.labels !== false) {
        var edge = place(g.edge_rad, far ? 1.2 * r : 0.8 * r), cut = place(g.cut_off_rad, far ? 1.2 * r : 0.76 * r);
        var outside = { plate: true, align: far ? "left" : "right" };
        words("edge: sends", px(edge[0]), py(edge[1]) - 0.7 * brush.size, outside);
        words("extra seeds back", px(edge[0]), py(edge[1]) + 0.6 * brush.size, outside);
        if (scene.view !== "edge") {
          var aside = { plate: true, align: far ? "right" : "left" };
          words("cut-off: vacuum ends,", px(cut[0]), py(cut[1]) - 0.7 * brush.size, aside);
          words("seeds drop", px(cut[0]), py(cut[1]) + 0.6 * brush.size, aside);
          if (!far || now.level > 0.9 * g.carry_line_m) words("carry line", px(0), py(g.carry_line_m - r) - 0.6 * brush.size, { align: "center", plate: true });
          if (!far) words("vacuum (dashed)", px(0), py(0.55 * r), { align: "center", plate: true, colour: colours.vacuum });
          words("pool: " + now.pool + " seeds", px(0), py(-r - 0.13 * r) + brush.size * 0.9, { align: "center", plate: true });
          var slid = slide(t);
          if (slid && !now.arched) words("slide: " + slid + " seeds come in", far ? px(scene.tubeX() + 0.028) : px(-0.5 * r), py(-1.13 * r) + 2.2 * brush.size, { weight: "bold" });
          if (now.arched) words("arch: no seed comes in", far ? px(scene.tubeX() + 0.028) : px(-0.5 * r), py(-1.13 * r) + 2.2 * brush.size, { weight: "bold" });
        }
        if (far) {
          var x = scene.tubeX();
          words({ tube: "tube", conveyor: "belt with compartments", none: "no tube" }[g.delivery],
            px(x - 0.03), py(-0.45 * g.tube_m), { align: "right" });
          words("sensor's beam", px(x - 0.042), py(-g.tube_m + g.beam_m), { align: "right" });
          if (scene.isShort()) words("the machine moves this way \u2192", 8, py(-g.tube_m - 0.02) + brush.size, { plate: true });
          else {
            var moves = words("the machine moves this way \u2192", px(x + 0.05), py(-g.tube_m) - brush.size);
            var after = px(x + 0.05) + moves + 0.5 * brush.size, ticks = "(ticks: nominal spacing)";
            if (after + pen.measureText(ticks).width + 3 < brush.wide) words(ticks, after, py(-g.tube_m) - brush.size);
          }
        }
      }
      var marked = scene.options.mark === null || scene.options.mark === undefined ? null : scene.cell(scene.options.mark);
      if (marked && marked.enters <= t && t < marked.cut) {
        var inside = place(M.angleAt(scene.motion, t) - (marked.cell * 2 * Math.PI) / g.holes, 0.52 * r);
        words("cell " + marked.cell, px(inside[0]), py(inside[1]), { weight: "bold", align: "center", plate: true });
      }
      var usual = scene.rate >= 1 ? "at true speed" : "slow motion: 1 s lasts " + +(1 / scene.rate).toPrecision(3) + " s";
      words(t.toFixed(2) + " s", 8, brush.size, { weight: "bold", size: 1.1 });
      words(usual, brush.wide - 8, brush.size, { align: "right" });
      // one scale bar
      var length = us ? 0.0508 : 0.05, bar = brush.camera.scale * length;
      if (scene.view === "edge") { length = us ? 0.0127 : 0.01; bar = brush.camera.scale * length; }
      var bx = brush.wide - 10 - bar, by = brush.high - brush.camera.bottom - 10;
      if (far) by = py(scene.floor()) - 3.2 * brush.size;
      pen.strokeStyle = colours.ink;
      pen.lineWidth = 2;
      pen.beginPath();
      pen.moveTo(bx, by - 4); pen.lineTo(bx, by); pen.lineTo(bx + bar, by); pen.lineTo(bx + bar, by - 4);
      pen.stroke();
      var said = us ? (scene.view === "edge" ? "1/2 in" : "2 in") : scene.view === "edge" ? "1 cm" : "5 cm";
      words(said, bx + bar, by - 0.9 * brush.size, { align: "right", plate: true });
      if (brush.camera.larger > 1.05) {
        words("seeds drawn " + brush.camera.larger.toFixed(1) + " times as large", brush.wide - 8, by + 0.9 * brush.size, { align: "right", plate: true });
      }
      drawCount(now, far, r);
      var happened = latest(t);
      if (!happened) return;
      inLines(happened.words, brush.wide - 40).forEach(function (part, k) {
        words(part, 8, brush.high - (2.1 - 1.25 * k) * brush.size, { weight: happened.weight === "odd" ? "bold" : "normal" });
      });
    }

    function drawCount(now, far, r) {
      var x = far ? px(-0.35 * r) : 14, y = far ? py(-1.13 * r) + 4.2 * brush.size : brush.high - 3.7 * brush.size, step = 1.5 * brush.size;
      if (far && y + 4.5 * step > py(scene.floor()) - 3.6 * brush.size) step = 1.2 * brush.size;
      if (far) words("Cells past the cut-off so far:", x - 0.5 * brush.size, y, { weight: "bold" });
      else x += words("Past the cut-off:", 8, y, { weight: "bold" }) + 0.8 * brush.size;
      M.KINDS.slice(1, 2).concat(["skip", "double", "more"]).forEach(function (kind) {
        if (kind === "more" && !now.counted.more && !far) return;
        if (far) {
          y += step;
          glyph(kind, x + 0.3 * brush.size, y, 0.42 * brush.size);
          words(now.counted[kind] + "", x + 3.2 * brush.size, y, { align: "right", weight: "bold" });
          words(NAMES[kind], x + 3.7 * brush.size, y);
        } else {
          glyph(kind, x, y, 0.42 * brush.size);
          x += 1.1 * brush.size + words(now.counted[kind] + " " + NAMES[kind], x + 1.1 * brush.size, y) + 1.4 * brush.size;
        }
      });
      if (far) drawMeanings(x, y + 0.3 * step, step);
    }

    function slide(t) { // seeds that came in through the gate a moment ago, 0 if few
      for (var k = M.lastAt(scene.motion.pool.time, t); k > 0 && t - scene.motion.pool.time[k] < Math.min(4 * scene.rate, 0.6); k--) {
        if (scene.motion.pool.inflow[k] >= Math.max(0.01 * scene.motion.pool.seeds[k], 5)) return scene.motion.pool.inflow[k];
      }
      return 0;
    }

    function drawMeanings(x, y, step) { // what the other two marks say
      if (y + 3 * step > py(scene.floor()) - (scene.isShort() ? 0 : 4.4) * brush.size) return;
      [["coming", "coming to a hole"], ["lost", "sent back to the pool"]].forEach(function (mark) {
        y += step;
        seedAt(x + 0.3 * brush.size, y, { cell: 0, nth: 0, size: (0.9 * brush.size) / (brush.camera.scale * brush.camera.larger * scene.motion.geometry.seed_length_m) }, mark[0]);
        words(mark[1], x + 1.4 * brush.size, y);
      });
      y += step;
      pen.strokeStyle = colours.vacuum;
      pen.lineWidth = 2;
      pen.setLineDash([5, 3]);
      pen.beginPath();
      pen.moveTo(x - 0.3 * brush.size, y); pen.lineTo(x + 1.1 * brush.size, y);
      pen.stroke();
      pen.setLineDash([]);
      words("vacuum holds seeds", x + 1.4 * brush.size, y);
    }

    function latest(t) { // what a viewer is told: the last odd event if it is fresh, else the last one
      var plain = null;
      for (var k = scene.motion.events.length - 1; k >= 0; k--) {
        var one = scene.motion.events[k];
        if (one.time > t || (scene.view === "edge" && one.at !== "pool" && one.at !== "edge")) continue;
        if (t - one.time > 8 * scene.rate) break;
        if (one.weight === "odd" && t - one.time < 6 * scene.rate) return one;
        if (!plain && one.at === "edge") plain = one;
      }
      return plain;
    }

    function text(time, cell) {
      var now = M.state(scene.motion, time, scene.options.since), g = scene.motion.geometry, ones = 0, several = 0, none = 0;
      M.cellsOf(scene.motion).forEach(function (one) {
        if (one.edge > time || time >= one.cut) return;
        var many = (now.holes[one.cell] || []).length;
        if (!many) none += 1; else if (many === 1) ones += 1; else several += 1;
      });
      var said = "At " + time.toFixed(2) + " s, between edge and cut-off: " + ones + " cells carry one seed, " +
        several + " carry more, " + none + " carry none. Pool: " + now.pool + " seeds. Past the cut-off: " +
        M.KINDS.map(function (kind) { return now.counted[kind] + " " + NAMES[kind]; }).join(", ") + ".";
      var happened = latest(time);
      if (cell) said += " Last at the edge: cell " + cell.cell + ", hole " + (cell.hole + 1) + " of " + g.holes + ".";
      return happened ? said + " " + happened.words : said;
    }

    return { draw: drawWords, text: text };
  };
})();
