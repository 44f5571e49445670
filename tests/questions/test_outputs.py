"""Files that a run leaves: they hold all, agree, repeat, and come whole or not at all."""

import csv
import errno
import itertools
import json
import math
import os
import resource
import signal
from collections import Counter, defaultdict
from contextlib import contextmanager

import pytest

from metersim.cli import main
from metersim.files.whole import write_all
from metersim.machine.reading import load_scenario
from metersim.measures.estimates import measure
from metersim.measures.indices import BY_KEY, SI_SUFFIX
from metersim.questions.run.text import as_json, as_trace
from metersim.questions.shared.emptying import Row
from metersim.questions.shared.rowcsv import SEED_COLUMNS, as_csv
from metersim.run.simulation import simulate

# A field run with doubles that loses seeds in every way: a heap over the carry line,
# the singulator, shaking, and a hopper that runs empty.
ROUGH = [
    "turns=25",
    "gate_opening_mm=68",
    "gate_width_mm=100",
    "notch=0",
    "vacuum_kpa=2",
    "hopper_kg=0.2",
    "vacuum_kpa=1.5",
    "hole_diameter_mm=5.0",
    "shock_per_speed_g_per_m_s=1",
    "detection_percent=90",
]


@pytest.fixture(scope="module")
def runs():
    """Two replicates of the rough run, with a trace."""
    scenario = load_scenario("maize_field", ROUGH)
    return [simulate(scenario, seed=5, replicate=k, trace=True) for k in (0, 1)]


@pytest.fixture(scope="module")
def made(runs):
    """What the three files of both replicates hold: JSON, rows of the CSV and of the trace."""
    return (
        json.loads(as_json(Row(measure(runs))), parse_constant=pytest.fail),
        list(csv.DictReader(as_csv(runs).splitlines())),
        list(csv.DictReader(as_trace(runs).splitlines())),
    )


def estimates(table, path=()):
    """Every value with its interval, by dotted place."""
    if set(table) == {"value", "low", "high"}:
        yield ".".join(path), table
        return
    for key, part in table.items():
        if isinstance(part, dict):
            yield from estimates(part, (*path, key))


def by_seed(rows):
    """Rows by replicate, cell and place."""
    found = defaultdict(list)
    for row in rows:
        if row["place"]:
            found[row["replicate"], row["cell"], row["place"]].append(row)
    return found


# ---------------------------------------------------------------- JSON


@pytest.mark.slow
def test_every_measure_stands_in_the_json_with_an_interval_round_it(made):
    found = dict(estimates(made[0]))
    suffixed = {key + SI_SUFFIX.get(measure.kind, ""): measure for key, measure in BY_KEY.items()}
    assert set(found) == set(suffixed)
    for key, estimate in found.items():
        value, low, high = (estimate[part] for part in ("value", "low", "high"))
        assert low <= value <= high, key
        assert math.isfinite(low) and math.isfinite(high)
        if suffixed[key].kind == "share" and key != "precision":
            assert 0 <= low <= high <= 1, key


def test_the_json_has_its_parts(made):
    parts = "provenance interval_level counts cells per_place per_spacing precision spacing"
    parts += (
        " drop_time placed sensor skip_reasons limits cautions turns_at_least hopper_emptied spilt"
    )
    assert set(made[0]) == set(parts.split())
    assert made[0]["interval_level"] == 0.95


@pytest.mark.parametrize(
    "parts",
    [
        ("per_place.multiple", "per_place.single", "per_place.miss"),
        ("per_spacing.multiple", "per_spacing.quality", "per_spacing.miss"),
        ("cells.skip", "cells.single", "cells.double", "cells.triple"),
    ],
)
def test_shares_of_one_family_add_up_to_one(parts, made):
    found = dict(estimates(made[0]))
    assert math.fsum(found[part]["value"] for part in parts) == pytest.approx(1, rel=1e-12)


def test_counts_add_up(made):
    counts = made[0]["counts"]
    assert counts["cells"] == 2 * 25 * 30
    loads = [counts[key] for key in ("skips", "singles", "doubles", "triples")]
    assert sum(loads) == counts["cells"]
    assert sum(load * seeds for seeds, load in enumerate(loads)) == counts["seeds"]
    assert sum(counts["classes"]) == counts["spacings"]
    assert sum(made[0]["skip_reasons"].values()) == counts["skips"] > 0
    assert 0 < counts["pulses"] < counts["seeds"]


@pytest.mark.slow
def test_provenance_is_enough_to_repeat_the_run(runs, made):
    origin = made[0]["provenance"]
    changes = {
        f"{section}__{name}": value
        for section, part in origin["settings_si"].items()
        for name, value in part.items()
        if not isinstance(value, dict)  # the range of the lot, whose middle the lot has
    }
    again = load_scenario("maize_bench").replace(**changes)
    assert (origin["scenario"], origin["replaced_stations"]) == ("maize_field", {})
    repeated = [
        simulate(again, seed=origin["seed"], replicate=k, engine="events")
        for k in range(origin["replicates"])
    ]
    assert as_csv(repeated) == as_csv(runs)


def test_a_run_without_seeds_has_null_for_what_nothing_tells():
    run = simulate(load_scenario("maize_bench", ["turns=1", "cells=4", "vacuum_kpa=0"]))
    made = json.loads(as_json(Row(measure(run))), parse_constant=pytest.fail)
    assert made["counts"]["seeds"] == made["counts"]["spacings"] == 0
    assert made["counts"]["skips"] == 4 and made["cells"]["skip"]["value"] == 1
    nothing = {"value": None, "low": None, "high": None}
    assert made["spacing"]["mean_m"] == made["drop_time"]["mean_s"] == nothing
    assert len(as_csv([run]).splitlines()) == 1


# ---------------------------------------------------------------- CSV


def test_the_csv_has_a_row_a_seed_and_agrees_with_the_counts(made):
    told, rows, _ = made
    assert tuple(rows[0]) == SEED_COLUMNS
    loads = Counter(Counter((row["replicate"], row["cell"]) for row in rows).values())
    counts = told["counts"]
    assert len(rows) == counts["seeds"]
    assert loads == Counter({1: counts["singles"], 2: counts["doubles"], 3: counts["triples"]})
    assert min(counts["skips"], counts["singles"], counts["doubles"]) > 0
    assert sum(row["sensor_pulse"] == "True" for row in rows) == counts["pulses"]


def test_the_csv_gives_the_spacings_of_the_json(made):
    told, rows, _ = made
    spacings = []
    for replicate in ("0", "1"):
        row = sorted(float(r["position_m"]) for r in rows if r["replicate"] == replicate)
        spacings += [after - before for before, after in itertools.pairwise(row)]
    nominal = told["spacing"]["nominal_m"]
    assert len(spacings) == told["counts"]["spacings"]
    mean = math.fsum(spacings) / len(spacings)
    assert told["spacing"]["mean_m"]["value"] == pytest.approx(mean, rel=1e-9)
    close = sum(spacing <= nominal / 2 for spacing in spacings) / len(spacings)
    assert told["per_spacing"]["multiple"]["value"] == pytest.approx(close, rel=1e-12)
    far = sum(spacing > nominal * 1.5 for spacing in spacings) / len(spacings)
    assert told["per_spacing"]["miss"]["value"] == pytest.approx(far, rel=1e-12)


def test_the_csv_gives_the_drop_times_of_the_json(made):
    told, rows, _ = made
    drops = [float(row["landing_time_s"]) - float(row["release_time_s"]) for row in rows]
    mean = math.fsum(drops) / len(drops)
    assert told["drop_time"]["mean_s"]["value"] == pytest.approx(mean, rel=1e-9)


# ---------------------------------------------------------------- trace


def test_the_trace_follows_every_seed_of_the_csv_from_the_pool_to_the_furrow(made):
    _, rows, trace = made
    stories = by_seed(trace)
    for row in rows:
        story = stories[row["replicate"], row["cell"], row["place"]]
        steps = [event["event"] for event in story]
        way = ["joined", "passed", "reached the cut-off", "released", "landed", "at rest"]
        assert [step for step in steps if step in way] == way
        assert steps.count("seen") + steps.count("not seen") == 1
        assert ("seen" in steps) == (row["sensor_pulse"] == "True")
        assert steps.count("touched the wall") == int(row["wall_contacts"])
        when = {event["event"]: float(event["time_s"]) for event in story}
        assert when["released"] == pytest.approx(float(row["release_time_s"]), abs=1e-9)
        assert when["at rest"] == pytest.approx(float(row["landing_time_s"]), abs=1e-9)


def test_the_trace_ends_the_way_of_every_seed_that_joined(made):
    _, rows, trace = made
    ends = Counter()
    for story in by_seed(trace).values():
        (end,) = {"knocked off", "swept off", "shaken off", "at rest"} & {e["event"] for e in story}
        ends[end] += 1
    assert ends["at rest"] == len(rows)
    assert min(ends["knocked off"], ends["swept off"], ends["shaken off"]) > 0


def test_the_trace_explains_every_cell(made):
    told, _, trace = made
    explained = {
        (row["replicate"], row["cell"])
        for row in trace
        if row["station"] == "pickup" and row["event"] in ("joined", "cell empty") and row["why"]
    }
    assert explained == {(r, str(cell)) for r in "01" for cell in range(25 * 30)}
    reasons = Counter(row["why"] for row in trace if row["event"] == "cell empty")
    assert reasons.total() > 0
    assert all(told["skip_reasons"][why] == count for why, count in reasons.items())


def test_the_trace_tells_how_the_hopper_ran_empty(made):
    events = [(row["replicate"], row["event"]) for row in made[2] if row["station"] == "gate"]
    assert events.count(("0", "hopper ran empty")) == events.count(("1", "hopper ran empty")) == 1


def test_the_trace_runs_forward_in_time(made):
    for replicate in ("0", "1"):
        times = [float(row["time_s"]) for row in made[2] if row["replicate"] == replicate]
        assert times == sorted(times)


# ---------------------------------------------------------------- the command


def written(folder, *options, names=("a.json", "a.csv", "a.trace")):
    """Bytes of the files that a run writes."""
    words = ["run", "maize_field", "--turns", "3", *options]
    for option, name in zip(("--json", "--csv", "--trace"), names, strict=True):
        words += [option, str(folder / name)]
    assert main(words) == 0
    return [(folder / name).read_bytes() for name in names]


@pytest.mark.slow
def test_the_same_scenario_and_seed_give_the_same_bytes(tmp_path):
    first = written(tmp_path, "--seed", "7", "--replicates", "2")
    assert first == written(tmp_path, "--seed", "7", "--replicates", "2", names=("x", "y", "z"))
    other = written(tmp_path, "--seed", "8", "--replicates", "2")
    assert all(a != b for a, b in zip(first, other, strict=True))


@pytest.mark.slow
def test_a_file_does_not_depend_on_the_others(tmp_path, capsys):
    whole = written(tmp_path)
    for option, content in zip(("--json", "--csv", "--trace"), whole, strict=True):
        path = tmp_path / "alone"
        assert main(["run", "maize_field", "--turns", "3", option, str(path)]) == 0
        assert path.read_bytes() == content
    capsys.readouterr()
    assert main(["run", "maize_field", "--turns", "3", "--json", "-"]) == 0
    assert capsys.readouterr().out.encode() == whole[0]


@pytest.mark.parametrize("option", ["--json", "--csv", "--trace", "--figure"])
def test_what_was_there_is_replaced_and_nothing_else_is_left(option, tmp_path):
    path = tmp_path / "x.svg"
    path.write_text("old")
    path.chmod(0o640)
    assert main(["run", "maize_bench", "--turns", "1", option, str(path)]) == 0
    assert path.read_bytes() != b"old"
    assert path.stat().st_mode & 0o777 == 0o640
    assert list(tmp_path.iterdir()) == [path]


def test_a_link_stays_a_link(tmp_path):
    (tmp_path / "link").symlink_to("there")
    (tmp_path / "there").write_text("old")
    write_all([(str(tmp_path / "link"), "new")])
    assert (tmp_path / "link").is_symlink()
    assert (tmp_path / "there").read_text() == "new"


# ---------------------------------------------------------------- whole or not at all


def refuse(*_, **__):
    raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))


@contextmanager
def files_up_to(size):
    """A disk on which no file can grow past so many bytes."""
    before = resource.getrlimit(resource.RLIMIT_FSIZE)
    handler = signal.signal(signal.SIGXFSZ, signal.SIG_IGN)
    resource.setrlimit(resource.RLIMIT_FSIZE, (size, before[1]))
    try:
        yield
    finally:
        resource.setrlimit(resource.RLIMIT_FSIZE, before)
        signal.signal(signal.SIGXFSZ, handler)


@pytest.fixture(params=["write", "replace"])
def failing_disk(request, monkeypatch):
    """A disk on which no file can grow past 50 bytes, or on which nothing can be renamed."""
    if request.param == "replace":
        monkeypatch.setattr(os, "replace", refuse)
        yield
    else:
        with files_up_to(50):
            yield


@pytest.mark.parametrize("old", ["old", None])
@pytest.mark.parametrize("option", ["--json", "--csv", "--trace", "--figure"])
def test_a_disk_that_fails_leaves_what_was_there(option, old, failing_disk, tmp_path, capsys):
    path = tmp_path / "x.svg"
    if old:
        path.write_text(old)
    assert main(["run", "maize_bench", "--turns", "1", option, str(path)]) == 2
    out, err = capsys.readouterr()
    assert out == "" and err.startswith("metersim: ") and "x.svg: cannot be written: " in err
    assert err.count("\n") == 1
    assert [file.read_text() for file in tmp_path.iterdir()] == ([old] if old else [])


@pytest.mark.parametrize("old", ["old", None])
def test_a_lot_on_a_disk_that_fails_leaves_what_was_there(old, failing_disk, tmp_path, capsys):
    path = tmp_path / "x.toml"
    if old:
        path.write_text(old)
    words = ["lot", "--like", "canola", "--seeds-per-kg", "300000", "--out", str(path)]
    assert main(words) == 2
    assert "x.toml: cannot be written: " in capsys.readouterr().err
    assert [file.read_text() for file in tmp_path.iterdir()] == ([old] if old else [])


def test_a_gallery_counts_its_figures_and_lists_them_with_details(monkeypatch, tmp_path, capsys):
    drawn = [tmp_path / f"{k}.png" for k in range(30)]
    monkeypatch.setattr("metersim.questions.gallery.command.draw_gallery", lambda folder: drawn)
    assert main(["gallery", "--out", str(tmp_path)]) == 0
    lines = capsys.readouterr().out.splitlines()
    assert lines[0] == f"30 figures in {tmp_path}." and len(lines) <= 24
    assert main(["gallery", "--out", str(tmp_path), "--details"]) == 0
    assert capsys.readouterr().out.splitlines()[-30:] == [str(path) for path in drawn]


@pytest.mark.slow
def test_a_gallery_on_a_disk_that_fails_is_told(monkeypatch, tmp_path, capsys):
    monkeypatch.setattr(os, "replace", refuse)
    monkeypatch.setattr(
        "metersim.questions.run.figure.shipped_scenarios", lambda: {"x": "maize_bench"}
    )
    monkeypatch.setattr(
        "metersim.run.simulation.simulate",
        lambda scenario, **luck: simulate(scenario.replace(run__turns=1), **luck),
    )
    assert main(["gallery", "--out", str(tmp_path)]) == 2
    assert capsys.readouterr().err.startswith("metersim: ")
    assert not list(tmp_path.iterdir())


@pytest.fixture
def all_outputs(tmp_path):
    """Option and path of every output of a run."""
    names = {"--figure": "x.svg", "--csv": "x.csv", "--trace": "x.trace", "--json": "x.json"}
    return {option: str(tmp_path / name) for option, name in names.items()}


@pytest.mark.slow
@pytest.mark.skipif(not os.path.exists("/dev/full"), reason="has no disk that is always full")
@pytest.mark.parametrize("full", ["--csv", "--trace", "--json"])
def test_when_one_output_fails_none_is_written(full, all_outputs, tmp_path, capsys):
    words = [word for pair in (all_outputs | {full: "/dev/full"}).items() for word in pair]
    assert main(["run", "maize_bench", "--turns", "1", *words]) == 2
    assert capsys.readouterr().err.count("\n") == 1
    assert not list(tmp_path.iterdir())


def test_when_the_disk_fills_half_way_none_is_written(all_outputs, tmp_path, capsys):
    del all_outputs["--figure"]
    words = [word for pair in all_outputs.items() for word in pair]
    assert main(["run", "maize_bench", "--turns", "2", *words]) == 0
    sizes = sorted(path.stat().st_size for path in tmp_path.iterdir())
    for path in tmp_path.iterdir():
        path.unlink()
    with files_up_to((sizes[0] + sizes[-1]) // 2):
        assert main(["run", "maize_bench", "--turns", "2", *words]) == 2
    assert capsys.readouterr().err.count("\n") == 1
    assert not list(tmp_path.iterdir())


# ---------------------------------------------------------------- the ends of the ranges


@pytest.mark.parametrize(
    "changes",
    [
        ["turns=1", "cells=4"],
        ["turns=1", "cells=4", "vacuum_kpa=0"],
        ["turns=1", "cells=400", "circle_radius_mm=300"],
        ["turns=2", "speed_kmh=0.5"],
        ["turns=2", "speed_kmh=30", "rate_per_ha=1e7", "row_spacing_cm=200"],
        ["turns=2", "vacuum_kpa=15"],
        ["turns=9", "hopper_kg=0.09", "gate_width_mm=100"],
        ["turns=2", "tube_length_mm=20", "sensor_height_mm=10"],
        ["turns=2", "tube_length_mm=20", "sensor_height_mm=0"],
        ["turns=2", "sensor_height_mm=449.9"],
        ["turns=2", "ripple_percent=50", "ripples_per_turn=200", "start_ramp_s=60"],
        ["turns=2", "size_cv_percent=0"],
        ["turns=2", "size_cv_percent=40"],
        ["turns=2", "size_factor=2"],
        ["turns=2", "tick=0.01"],
        ["turns=2", "detection_percent=0", "tick=1"],
        ["turns=2", "gate_opening_mm=1", "carry_line_mm=5"],
    ],
    ids=" ".join,
)
@pytest.mark.parametrize("name", ["maize_bench", "maize_field"])
def test_the_ends_of_the_ranges_run_and_leave_files_without_nan(name, changes, tmp_path, capsys):
    words = [word for change in changes for word in ("--set", change)]
    paths = [tmp_path / part for part in ("x.json", "x.csv", "x.trace")]
    files = [
        word
        for option, path in zip(("--json", "--csv", "--trace"), paths, strict=True)
        for word in (option, str(path))
    ]
    assert main(["run", name, *words, *files, "--draws", "3"]) == 0
    assert main(["explain", name, *words]) == 0
    out, err = capsys.readouterr()
    assert err == ""
    for text in [out, *(path.read_text() for path in paths)]:
        words = text.replace(",", " ").split()
        assert not {"nan", "inf", "-inf", "NaN", "Infinity"} & set(words)


@pytest.mark.parametrize(
    "vary", ["cells=4,100", "cells=100,4", "vacuum_kpa=0,4", "hopper_kg=0.2,20"]
)
def test_what_is_hard_to_compare_is_compared(vary, capsys):
    few = ("--turns", "2", "--draws", "3")
    assert main(["compare", "maize_bench", *few, "--vary", vary]) == 0
    out, err = capsys.readouterr()
    assert err == "" and "nan" not in out.split()
