/* Plays a film in its own file: METERSIM_MOTION and METERSIM_FILM stand before it. */
(function () {
  "use strict";
  function get(id) { return document.getElementById(id); }
  var film = METERSIM_FILM, canvas = get("film"), play = get("play"), time = get("time");
  var player = window.metersimMotion.create(canvas, METERSIM_MOTION, {
    rate: 1 / film.slow, time: film.time, since: film.since, mark: film.mark, units: film.units,
    onText: function (text) { get("said").textContent = text; }
  });
  function label() { play.textContent = player.playing ? "Pause" : "Play"; }
  film.slower.forEach(function (slower) {
    var one = document.createElement("option");
    one.value = slower;
    one.textContent = slower === 1 ? "none: true speed" : slower + " times slower";
    one.selected = slower === film.slow;
    get("slow").appendChild(one);
  });
  time.min = player.start;
  time.max = player.end;
  player.onFrame(function (t) {
    time.value = t;
    time.setAttribute("aria-valuetext", t.toFixed(2) + " s");
    label();
  });
  function toggle() { player.toggle(); label(); }
  play.addEventListener("click", toggle);
  canvas.addEventListener("click", toggle);
  canvas.addEventListener("keydown", function (event) {
    if (event.key === " " || event.key === "Enter") toggle();
    else if (event.key === "ArrowRight") player.step(1);
    else if (event.key === "ArrowLeft") player.step(-1);
    else return;
    event.preventDefault();
    label();
  });
  get("back").addEventListener("click", function () { player.step(-1); label(); });
  get("on").addEventListener("click", function () { player.step(1); label(); });
  function odd(way) {
    player.pause();
    if (!player.nextOdd(way)) get("said").textContent = "There is none in this piece of the run.";
    label();
  }
  get("before").addEventListener("click", function () { odd(-1); });
  get("next").addEventListener("click", function () { odd(1); });
  time.addEventListener("input", function () { player.pause(); player.seek(time.value); label(); });
  get("slow").addEventListener("change", function () { player.rate(1 / this.value); });
  get("view").addEventListener("change", function () { player.view(this.value); });
  player.seek(film.time);
})();
