"""Every command speaks the units of its reader: text, figures, scenarios and lots written.

JSON, CSV and traces are SI, so they are the same bytes for either reader.
"""

import re

import pytest
from matplotlib.text import Text

from metersim.machine.seedlot import VALUES, load_lot
from metersim.questions import QUESTIONS
from metersim.questions.shared import page
from tests.questions.test_commands import (
    ALONE,
    COUNT,
    DISC,
    LOG,
    TAPE,
    quick,  # noqa: F401  few states and short runs
)
from tests.questions.test_sheet import short  # noqa: F401  a sheet of few cells

UNITS = ("metric", "us")
NUMBER = r"(?<![\w.])\d[\d,]*(?:\.\d+)? ?"
METRIC = "km/h|m/s|mm|cm|m|kPa|Pa|kg/m3|kg|mg|g|t/ha|per ha|/ha|ha|°C|(?:of a )?hectares?"
US = r"mph|ft/s|ft|inH2O|in|inch(?:es)?|lb/bu|lb|bu/acre|per acre|/acre|acres?"
OF = {
    "metric": re.compile(
        rf"(?:{NUMBER}|\[)(?:{METRIC})(?![\w/])|\b(?:hectare|a kg|a cm|a tonne)\b"
    ),
    "us": re.compile(
        rf"(?:{NUMBER}|\[)(?:{US})(?![\w/])(?! (?:\d|(?:the|a|of|any|each|one|all)\b))"
        r"|\b(?:acre|an inch|a lb|a bushel)\b"
    ),
}
HOLE = re.compile(
    r"[\d.]+ mm \(?[\d.]+ in\b\)?|[\d.]+ in \(?[\d.]+ mm\b\)?|[\d.]+ (?:mm|in)(?=; made for)"
)
"""A hole's diameter, the one thing that is said in both, on a card in two columns."""
BOTH = re.compile(r"[\d.]+ g per m/s|per m/s of travel|CP3|(?<=per )g\b")
"""Units that have no other system, and a measure named by its bounds in cm."""

US_SCENARIO = """title = "own"
extends = "maize_field"
units = "us"
[vacuum]
vacuum_kpa = { low = 3.5, high = 4.5 }
[demand]
speed_mph = 5
"""
METRIC_SCENARIO = """title = "own"
extends = "maize_field"
[vacuum]
vacuum_inh2o = { mean = 16, sd = 1 }
[demand]
row_spacing_in = 30
"""
ODD = """title = "own"
extends = "maize_bench"
[disc]
hole_diameter_mm = 2
[pool]
pool_depth_mm = 9
gate_opening_mm = 70
[vacuum]
vacuum_kpa = 8
[demand]
speed_kmh = 14
"""
SEEDS = "length_mm,width_mm,thickness_mm,mass_mg\n" + "".join(
    f"{10 + k % 3 / 10},{7 + k % 4 / 10},{4.5 + k % 5 / 10},{250 + k}\n" for k in range(12)
)
FILES = {
    "us.toml": US_SCENARIO,
    "metric.toml": METRIC_SCENARIO,
    "odd.toml": ODD,
    "disc.toml": DISC,
    "log.csv": LOG,
    "tape.csv": TAPE,
    "inch.csv": TAPE.replace("spacing_cm", "spacing_in"),
    "seeds.csv": SEEDS,
}
SHEET = "--rate 80000/ha --row-spacing 75cm --speed 6km/h --discs disc.toml"
TYPED = {
    "run": [
        "maize_field --turns 5 --plants --yield 11t/ha --figure f.png --json j.json",
        "us.toml --turns 5 --csv c.csv --trace t.csv --draws 3 --plants",
        "metric.toml --turns 5 --draws 3 --figure f.png",
        "odd.toml --turns 5 --figure f.png",
    ],
    "explain": ["maize_field", "us.toml", "metric.toml", "odd.toml", "canola_small_seed"],
    "compare": [
        "maize_bench --vary notch=0,1 --turns 5 --json j.json",
        "maize_field --vary vacuum_kpa=3,4 --turns 5 --figure f.png --plants",
        "us.toml metric.toml --turns 5 --figure f.png --draws 3",
        "maize_bench --vary hole_diameter_mm=4,4.5 --turns 5",
    ],
    "measured": ["maize_field tape.csv --figure f.png --json j.json", "us.toml inch.csv"],
    "sweep": [
        "maize_bench --vary vacuum_kpa=3:5:3 --turns 4 --out r.csv --figure f.png",
        "us.toml --vary speed_kmh=5,6 --vary hole_diameter_mm=4,4.5 --turns 4 --out r.csv"
        " --figure f.png",
        "maize_bench --vary gate_opening_in=1:3:3 --turns 4 --out r.csv --response spacing.sd"
        " --accept spacing.sd<=0.03 --figure f.png",
    ],
    "steps": ["maize_bench --cells 1000 --figure f.png", "us.toml --cells 1000"],
    "howmany": [
        "maize_bench --cells 1000 --json j.json",
        "us.toml --cells 1000 --step vacuum=-1",
        "maize_field --cells 1000 --vary speed_kmh=6,9",
    ],
    "habits": ["maize_bench --meters 2 --habit=leave\\ alone --figure f.png --paths p.png"],
    "learn": ["maize_bench --from log.csv --machines 30 --json j.json --out m.toml"],
    "next": [f"maize_bench {' '.join(COUNT)} --figure f.png", f"us.toml {' '.join(COUNT)}"],
    "sheet": [f"--lot maize_large_flat {SHEET} --scenario s.toml --out s.pdf --json j.json"],
    "report": ["us.toml --turns 5 --out r.html"],
    "evidence": [],
    "animate": ["maize_bench --turns 60 --out f.html", "us.toml --moment skip --out f.html"],
    "list": ["lots", "discs", "scenarios", "yields", "keys"],
    "lot": [
        "--like soybean --seeds-per-kg 6000 --out own.toml",
        "--like soybean --seeds-per-lb 2700 --out own.toml",
        "--like maize_large_flat --csv seeds.csv --out own.toml",
    ],
}
UNBOUND = {"guide", "gallery", "evidence", "explore", "lesson"}
"""Fixed pages and pictures; published measurements, which keep the units of their source; a page
and a lesson, whose sentences test_explore_server.py and test_lesson.py read in both."""
QUICK = {"run", "explain", "howmany", "list", "lot", "animate"}
"""Commands whose cases take less than a second, but for those with figures."""
DETAILED = set(TYPED) - {"list", "animate", "report"}
CASES = [
    pytest.param(
        name,
        words,
        id=f"{name}-{k}",
        marks=[pytest.mark.slow] * (name not in QUICK or "--figure" in words or "us.toml" in words),
    )
    for name, all_words in TYPED.items()
    for k, words in enumerate(all_words)
]


def mixed(text, units):
    """Lines that hold a unit of the other system."""
    other = OF[UNITS[units == "metric"]]
    return [line for line in text.splitlines() if other.search(BOTH.sub("", HOLE.sub("", line)))]


@pytest.fixture
def place(folder, monkeypatch):
    """A folder with scenarios in either units; the texts of figures are kept, not drawn."""
    for name, text in FILES.items():
        (folder / name).write_text(text)
    texts = []

    def kept(figure, *_):
        for one in figure if isinstance(figure, list | tuple) else [figure]:
            texts.extend(
                " ".join(text.get_text().split("\n"))
                for text in one.findobj(Text)
                if text.get_visible()
            )
        return b"a picture"

    monkeypatch.setattr(page, "encoded", kept)
    monkeypatch.setattr(page, "encoded_pdf", kept)
    return folder, texts


def words_of(name, typed):
    words = [word.replace("\0", " ") for word in typed.replace("\\ ", "\0").split()]
    alone = ("--workers", "1") if name in ALONE else ()
    return [name, *words, *alone, *(("--details",) if name in DETAILED else ())]


@pytest.mark.study
@pytest.mark.usefixtures("quick", "short")
@pytest.mark.parametrize("units", UNITS)
@pytest.mark.parametrize(("name", "typed"), CASES)
def test_no_line_holds_units_of_another_system(name, typed, units, place, done, monkeypatch):
    folder, texts = place
    monkeypatch.setenv("METERSIM_UNITS", "metric" if units == "us" else "us")
    told = done(*words_of(name, typed), "--units", units)
    assert mixed(told, units) == []
    assert mixed("\n".join(texts), units) == []
    for file in ("s.toml", "own.toml"):
        if (folder / file).exists():
            values, _, _ = (folder / file).read_text().partition("[origin]")  # notes on sources
            assert mixed(values, units) == []


def test_every_command_is_read():
    assert set(TYPED) | UNBOUND == set(QUESTIONS)


def test_a_unit_of_the_other_system_is_found():
    assert mixed("at 5 mph\n30 in apart\n34,000 per acre\n3.5 bu/acre", "metric") != []
    assert len(mixed("at 6 km/h\n75 cm apart\n5 mm\nspeed [m/s]\n80,000 per ha", "us")) == 5
    assert mixed("skips: 0 to 6 in 95 of 100\nholes of 4.5 mm (0.177 in)\nCP3", "metric") == []


WRITTEN = {  # commands that write, and what they write in SI
    "run": "maize_field --turns 5 --draws 2 --json j.json --csv c.csv --trace t.csv",
    "compare": "maize_bench --vary vacuum_kpa=3,4 --turns 5 --draws 3 --json j.json",
    "howmany": "maize_bench --cells 1000 --json j.json",
    "measured": "maize_field tape.csv --json j.json",
    "learn": "maize_bench --from log.csv --machines 30 --json j.json --out m.toml",
    "sweep": "maize_bench --vary speed_mph=4,5 --turns 4 --out c.csv",
}


@pytest.mark.study
@pytest.mark.parametrize(
    "name",
    [pytest.param(name, marks=[pytest.mark.slow] * (name not in QUICK)) for name in WRITTEN],
)
def test_data_are_the_same_bytes_in_either_units(name, place, done):
    folder, _ = place
    left = []
    for units in UNITS:
        done(*words_of(name, WRITTEN[name]), "--units", units)
        made = ("j.json", "c.csv", "t.csv", "m.toml")
        left.append([path.read_bytes() for file in made if (path := folder / file).exists()])
        for file in made:
            (folder / file).unlink(missing_ok=True)
    assert left[0] and left[0] == left[1]


SAID = {  # what is wrong, and the range in the reader's units
    "sheet --lot corn --rate 1 --row-spacing 30 --speed 5": "809.4 to 4,046,856 per acre",
    "sheet --lot corn --rate 34000 --row-spacing 30 --speed 99": "0.3107 to 18.64 mph",
    "sheet --lot corn --rate 34000 --row-spacing 30": "give a number from 0.3107 to 18.64 mph",
    "sheet --lot corn --rate 34000 --row-spacing 30 --speed 5 --vacuum-most 99": "60.22 inH2O",
    "sheet --lot corn --rate 34000 --row-spacing 30 --speed 99km/h": "0.5 to 30 km/h",
    "run maize_field --plants --yield 99999": "bu/acre",
    "run maize_field --set speed=99mph": "0.3107 to 18.64 mph",
    "run bare.toml": "give a number from 0 to 60.22 inH2O",
}


@pytest.mark.parametrize("typed", SAID)
def test_a_fault_names_the_range_in_the_units_of_its_reader(typed, folder, told):
    (folder / "bare.toml").write_text('title = "own"\nunits = "us"\n[vacuum]\n')
    units = () if "bare" in typed else ("--units", "us")
    assert any(SAID[typed] in line for line in told(*typed.split(), *units))


def test_a_value_may_carry_its_unit(folder, done):
    (folder / "disc.toml").write_text(DISC)
    words = ("run", "maize_field", "--turns", "5", "--units", "us", "--draws", "3")
    plain = done(*words, "--set", "speed_mph=5", "--set", "hole_diameter_in=0.1875")
    assert done(*words, "--set", "speed=5 mph", "--set", 'hole_diameter=3/16"') == plain
    compared = ("compare", "maize_bench", "--turns", "5", "--draws", "3", "--vary")
    assert done(*compared, "vacuum=12inH2O,16inH2O") == done(*compared, "vacuum_inh2o=12,16")


def test_a_lot_reads_back_from_either_units(folder, done):
    lots = []
    for units in UNITS:
        made = ("lot", "--like", "soybean", "--seeds-per-lb", "2700", "--out", "own.toml")
        done(*made, "--units", units)
        lots.append(load_lot("own.toml", folder))
    for name in VALUES:
        first, second = (getattr(lot, name) for lot in lots)
        assert first == pytest.approx(second, rel=1e-9)
