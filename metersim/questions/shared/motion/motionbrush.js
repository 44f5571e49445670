/* A brush for the disc in motion: what is in m on the meter is drawn in px on a canvas. */
(function () {
  "use strict";

  var M = window.metersimMotion;
  var LEAST = 3.4; // px, least half length of a drawn seed
  var COLOURS = {
    ink: "#222222", paper: "#ffffff", face: "#f3f1ec", pool: "#d8cfbf", pale: "#767676",
    single: "#0072B2", double: "#56B4E9", warm: "#D55E00", vacuum: "#007a58", ground: "#cfc4b2"
  };

  var SHARED = { single: "normal", double: "multiple" }; // names in the style sheet of all pages

  /* `scene` holds the motion and the view; the brush has `size` of letters, `wide`, `high` and
     `camera`, which `styled` and `aim` set anew. */
  M.brush = function (canvas, scene) {
    var pen = canvas.getContext("2d"), colours = {}, dense = 1, hatches = {};
    var brush = { pen: pen, colours: colours, size: 13, wide: 0, high: 0, camera: null };

    function styled() {
      var css = getComputedStyle(canvas);
      Object.keys(COLOURS).forEach(function (name) {
        colours[name] = css.getPropertyValue("--motion-" + name).trim() ||
          css.getPropertyValue("--" + (SHARED[name] || name)).trim() || COLOURS[name];
      });
      brush.size = Math.max(parseFloat(css.fontSize) * 0.82 || 13, 10);
      hatches = {};
      var room = canvas.getBoundingClientRect();
      brush.wide = Math.max(room.width || canvas.width, 120);
      brush.high = Math.max(room.height || canvas.height, 120);
      dense = Math.min(window.devicePixelRatio || 1, 3);
      var across = Math.round(brush.wide * dense), down = Math.round(brush.high * dense);
      if (canvas.width !== across || canvas.height !== down) {
        canvas.width = across;
        canvas.height = down;
      }
    }

    function aim() { // the window on the meter, in m, and what it is in px
      var g = scene.motion.geometry, r = g.circle_radius_m, box;
      var foot = 0.03 - scene.floor();
      if (scene.view === "disc") box = [-1.5 * r, -1.3 * r, 1.5 * r, 1.2 * r];
      else if (scene.view === "edge") {
        var spot = place(g.edge_rad, r);
        box = [spot[0] - 0.55 * r, spot[1] - 0.5 * r, spot[0] + 0.35 * r, spot[1] + 0.35 * r];
      } else box = [-2.1 * r, -foot, 2.1 * r, 1.2 * r];
      var top = 1.9 * brush.size, bottom = (scene.view === "whole" ? 3.1 : 4.8) * brush.size;
      var scale = Math.min(brush.wide / (box[2] - box[0]), (brush.high - top - bottom) / (box[3] - box[1]));
      brush.camera = {
        scale: scale, box: box, top: top, bottom: bottom,
        x0: brush.wide / 2 - (scale * (box[0] + box[2])) / 2,
        y0: top + (brush.high - top - bottom) / 2 + (scale * (box[1] + box[3])) / 2
      };
      var usual = (scale * g.seed_length_m) / 2;
      var most = (0.42 * 2 * Math.PI * r) / g.holes / (g.seed_length_m / 2); // neighbours stay apart
      brush.camera.larger = Math.max(Math.min(LEAST / usual, most), 1);
    }

    function place(turned, radius) { // on the face of the disc, counter-clockwise from the pool's entry
      var a = turned - scene.motion.geometry.pool_exit_rad / 2 - Math.PI / 2;
      return [radius * Math.cos(a), radius * Math.sin(a)];
    }
    function px(x) { return brush.camera.x0 + brush.camera.scale * x; }
    function py(y) { return brush.camera.y0 - brush.camera.scale * y; }

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
      var g = scene.motion.geometry, k = (brush.camera.scale * brush.camera.larger * seed.size) / 2;
      pen.save();
      pen.translate(x, y);
      if (look !== "lost") pen.rotate(Math.PI * M.scattered(seed.cell, seed.nth));
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
      pen.font = (how.weight || "normal") + " " + (how.size || 1) * brush.size + "px " +
        (getComputedStyle(canvas).fontFamily || "sans-serif");
      pen.textAlign = "left";
      pen.textBaseline = "middle";
      var w = pen.measureText(text).width, h = 1.25 * brush.size;
      var left = how.align === "right" ? x - w : how.align === "center" ? x - w / 2 : x;
      left = Math.max(Math.min(left, brush.wide - w - 3), 3);
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
      pen.font = "bold " + brush.size + "px " + (getComputedStyle(canvas).fontFamily || "sans-serif");
      var lines = [""];
      text.split(" ").forEach(function (word) {
        var longer = lines[lines.length - 1] + (lines[lines.length - 1] && " ") + word;
        if (pen.measureText(longer).width <= room) lines[lines.length - 1] = longer;
        else lines.push(word);
      });
      return lines.length > 2 ? [lines[0], lines[1] + " ..."] : lines;
    }

    function arc(radius, from, to) { // of turned angles
      var g = scene.motion.geometry, shift = -g.pool_exit_rad / 2 - Math.PI / 2;
      pen.beginPath();
      pen.arc(px(0), py(0), brush.camera.scale * radius, -(from + shift), -(to + shift), true);
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

    function clear() {
      pen.setTransform(dense, 0, 0, dense, 0, 0);
      pen.fillStyle = colours.paper;
      pen.fillRect(0, 0, brush.wide, brush.high);
    }

    return Object.assign(brush, {
      styled: styled, aim: aim, clear: clear, place: place, px: px, py: py, hatch: hatch, arc: arc,
      line: line, seedAt: seedAt, cross: cross, diamond: diamond, glyph: glyph, words: words, inLines: inLines
    });
  };
})();
