"""The files that a film can be written to, and a film as one HTML file that plays by itself."""

from __future__ import annotations

import json
import shutil
from importlib import resources
from pathlib import Path
from typing import Any

from metersim.files.faults import Parameter, bad
from metersim.questions.animate.study import Film
from metersim.questions.shared.html import STYLE, document, element, group, paragraphs
from metersim.questions.shared.motion.followed import SCRIPTS

GIF, HTML, MP4 = ENDINGS = (".gif", ".html", ".mp4")
FFMPEG = "needs the program ffmpeg, which is not found; install it, or give .gif or .html"


def check_ending(name: str) -> None:
    """Refuse a file that no film can be written to.

    Raises
    ------
    BadInput
        For another ending, and for MP4 where there is no ffmpeg.
    """
    ending = Path(name).suffix.lower()
    if ending not in ENDINGS:
        raise bad(Parameter("out"), name, f"must end in {', '.join(ENDINGS[:-1])} or {ENDINGS[-1]}")
    if ending == MP4 and not shutil.which("ffmpeg"):
        raise bad(Parameter("out"), name, FFMPEG)


CANVAS = (
    '<canvas id="film" role="img" tabindex="0" '
    'aria-label="The disc in motion; the text beside it says what it shows."></canvas>'
)
CONTROLS = """
<div class="row"><button type="button" id="play">Play</button>
<label for="slow">Slow motion</label> <select id="slow"></select></div>
<div class="row"><label for="time">Time in the run</label>
<input type="range" id="time" step="0.01"></div>
<div class="row"><button type="button" id="back">One cell back</button>
<button type="button" id="on">One cell on</button></div>
<div class="row"><button type="button" id="before">Event before</button>
<button type="button" id="next">Next event</button></div>
<div class="row"><label for="view">Show</label>
<select id="view"><option value="whole">from pool to row</option>
<option value="disc">the disc</option><option value="edge">the edge</option></select></div>
<p id="said" aria-live="polite"></p>
""".strip()
LOOK = """
body { max-width: 82rem; padding: .5rem 1rem } h1 { font-size: 1.25rem; margin: 0 0 .4rem }
.player { display: grid; grid-template-columns: minmax(0, 1fr) 23rem; gap: 0 1.2rem }
canvas { display: block; width: 100%; height: calc(100vh - 4.5rem); min-height: 24rem;
  max-height: 54rem; border: 1px solid #8a8a8a; font: inherit }
.row { display: flex; flex-wrap: wrap; gap: .4rem .6rem; align-items: center; margin: .5rem 0 }
.row input { flex: 1 1 9rem } button, select { font: inherit; padding: .25rem .6rem }
@media (max-width: 60rem) { .player { display: block } canvas { height: 68vh } }
@media print { .row { display: none } }
"""
SLOWER = (1, 2, 4, 8, 16, 32)


def as_html(film: Film, lines: list[str], assumes: str, units: str = "metric") -> str:
    """One file that plays the film in a browser, without a network; the same film, the same bytes.

    Parameters
    ----------
    film : Film
        The film; its file has some time before and after it, too.
    lines : list of str
        What the film shows, a sentence each.
    assumes : str
        What the picture assumes.
    units : {'metric', 'us'}
        Unit of the scale bar.
    """
    settings: dict[str, Any] = {
        "time": film.start,
        "since": film.start,
        "mark": film.moment.cell if film.moment.marked else None,
        "slow": film.slow,
        "slower": sorted({*SLOWER, film.slow}),
        "units": units,
    }
    shared = resources.files("metersim.questions.shared.motion")
    own = resources.files("metersim.questions.animate")
    scripts = [
        *((shared / name).read_text("utf-8") for name in SCRIPTS),
        f"var METERSIM_MOTION = {_inside(film.motion.to_dict())};\n"
        f"var METERSIM_FILM = {_inside(settings)};",
        (own / "film.js").read_text("utf-8"),
    ]
    run = film.run
    origin = ", ".join((run.scenario.name, *run.scenario.changes, f"random seed {run.seed}"))
    return document(
        film.motion.title,
        [
            element("h1", film.motion.title),
            group(
                "player",
                CANVAS,
                group(
                    "beside",
                    CONTROLS,
                    paragraphs(lines),
                    paragraphs(
                        [f"Assumes: {assumes}", f"metersim {run.version}: {origin}."], "quiet"
                    ),
                ),
            ),
            *(f"<script>\n{script}\n</script>" for script in scripts),
        ],
        style=STYLE + LOOK,
    )


def _inside(value: Any) -> str:
    """JSON that can stand in a script: no text in it ends the script."""
    return json.dumps(value, separators=(",", ":")).replace("<", "\\u003c")
