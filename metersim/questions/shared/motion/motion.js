/* Plays a disc in motion on a canvas, to scale, from the numbers of metersim/questions/shared/motion/followed.py.
   The other files of `SCRIPTS` there stand before this one.

   metersimMotion.create(canvas, motion, options) gives a player:
     play() pause() toggle() seek(t) step(n) nextOdd(n) rate(x) view(name) setMotion(motion)
     draw() text() cellAtEdge() onFrame(callback) destroy(), and time, start, end, playing
   Colours are variables of the canvas's style: --motion-NAME or --NAME, by the names of COLOURS
   in motionbrush.js.
   options: rate (seconds of the meter per second of the viewer, 0.125), view ("whole", "disc" or
   "edge"), units ("metric" or "us"), time, since (cells are counted from then on), mark (a cell), loop,
   labels (true), onText(text).  Times are those of the run, in s.  metersimMotion.state(motion, t) is what
   sits where at a time; it draws nothing. */
(function () {
  "use strict";

  var M = window.metersimMotion;
  var SHORT = 2.9; // radii of the circle of holes; a shorter tube is a short one

  function create(canvas, motion, options) {
    options = options || {};
    var scene = { // what is drawn, and how it is looked at
      options: options, rate: options.rate || 0.125, view: options.view || "whole",
      motion: null, byCell: null, fall: 0.35,
      cell: function (number) { return M.cellsOf(scene.motion)[number - M.cellsOf(scene.motion)[0].cell]; },
      /* Words beside a short tube need more room; then the ground ends at the tube. */
      isShort: function () { return scene.motion.geometry.tube_m < short(); },
      floor: function () { return -Math.max(scene.motion.geometry.tube_m, short()); },
      tubeX: function () { return -scene.motion.geometry.circle_radius_m; }
    };
    var brush = M.brush(canvas, scene), drawMeter = M.drawnMeter(scene, brush), labels = M.labels(scene, brush);
    var pen = brush.pen, time, playing = false, asked = 0, before = 0, listeners = [], lastSaid = -1e9;

    function short() { return SHORT * scene.motion.geometry.circle_radius_m; }

    function take(given) {
      scene.motion = motion = given;
      scene.byCell = M.seedsByCell(motion);
      var lasts = motion.seeds.filter(function (s) { return s.lands !== null; })
        .map(function (s) { return s.lands - scene.cell(s.cell).cut; }).sort(function (a, b) { return a - b; });
      scene.fall = lasts.length ? lasts[lasts.length >> 1] : 0.35;
    }

    function draw() {
      brush.styled();
      brush.aim();
      brush.clear();
      var now = M.state(motion, time, options.since), camera = brush.camera;
      pen.save();
      pen.beginPath();
      pen.rect(0, camera.top, brush.wide, brush.high - camera.top - camera.bottom);
      pen.clip();
      drawMeter(time, now);
      pen.restore();
      labels.draw(time, now);
      listeners.forEach(function (one) { one(time); });
    }

    function cellAtEdge() { // the cell that met the edge last, with its times beside the rest
      var found = null;
      M.cellsOf(motion).forEach(function (cell) { if (cell.edge <= time) found = cell; });
      return found;
    }

    function text() { return labels.text(time, cellAtEdge()); }

    function tell(always) {
      var clock = performance.now();
      if (!options.onText || (!always && clock - lastSaid < 4000)) return;
      lastSaid = clock;
      options.onText(text());
    }

    function frame(clock) {
      if (!playing) return;
      time += Math.min((clock - before) / 1000, 0.1) * scene.rate;
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
        var edges = M.cellsOf(motion).map(function (cell) { return cell.edge; });
        var k = M.lastAt(edges, time + 1e-9) + n;
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
      rate: function (x) { if (x > 0) scene.rate = x; draw(); return scene.rate; },
      view: function (name) { if (name) { scene.view = name; draw(); } return scene.view; },
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

  M.create = create;
})();
