"""Bad input: exit status 2, one line a fault, all faults at once, and never a traceback."""

import os
import subprocess
import sys
import threading
from pathlib import Path

import pytest

import metersim.cli
from metersim.machine.reading import shipped_scenarios
from metersim.machine.seedlot import shipped_lots

pytestmark = pytest.mark.usefixtures("folder")

OWN = 'extends = "maize_bench"\ntitle = "own"\n'
LOT = shipped_lots()["maize_large_flat"].read_text(encoding="utf-8")


def own(folder, change="", name="own.toml"):
    """A scenario file that changes the bench."""
    path = folder / name
    path.write_text(OWN + change, encoding="utf-8")
    return path


# ---------------------------------------------------------------- one wrong value

NUMBERS = {
    "nan": "nan",
    "inf": "inf",
    "-inf": "-inf",
    "1e400": "inf",
    "true": "true",
    '"4"': "'4'",
    "-1": "-1",
    "0.29": "0.29",
    "15.1": "15.1",
    "[4]": "[4]",
    "2020-01-02": "datetime.date(2020, 1, 2)",
    "9" * 400: "9" * 37 + "...",
}


@pytest.mark.parametrize("value", NUMBERS)
def test_what_is_no_number_in_the_range_is_refused_with_range_unit_and_meaning(value, told, folder):
    path = own(folder, f"[disc]\nhole_diameter_mm = {value}\n")
    assert told("explain", path) == [
        f"{path}: disc.hole_diameter_mm: {NUMBERS[value]} is not allowed; "
        "give a number from 0.3 to 15 mm (diameter of a hole)"
    ]


@pytest.mark.parametrize(
    ("change", "key", "words"),
    [
        ("[disc]\ncells = 3", "disc.cells", "3 is not allowed; give a whole number from 4 to 400"),
        ("[disc]\ncells = 401", "disc.cells", "a whole number from 4 to 400"),
        ("[disc]\ncells = 30.0", "disc.cells", "30.0 is not allowed; give a whole number"),
        ("[disc]\ncells = true", "disc.cells", "true is not allowed; give a whole number"),
        ("[vacuum]\nvacuum_inh2o = 61", "vacuum.vacuum_inh2o", "a number from 0 to 60.22 inH2O"),
        ("[demand]\nspeed_mph = 19", "demand.speed_mph", "a number from 0.3107 to 18.64 mph"),
        ("[guide]\ninner_guide = 1", "guide.inner_guide", "give true or false"),
        ('[guide]\ninner_guide = "true"', "guide.inner_guide", "give true or false"),
        ('[furrow]\nsurface = "road"', "furrow.surface", 'give "bench" or "field"'),
        ("[furrow]\nsurface = 3", "furrow.surface", 'give "bench" or "field"'),
        ('[seed]\nlot = ""', "seed.lot", "give a text in quotes"),
        ("[seed]\nlot = 3", "seed.lot", "give a text in quotes"),
        ('[seed]\nlot = { among = ["maize"] }', "seed.lot", "this key takes no range"),
        ("[run]\nturns = { low = 1, high = 9 }", "run.turns", "this key takes no range"),
        ("[run]\ntick = { among = [1] }", "run.tick", "this key takes no range"),
        ("[[disc]]\ncells = 30", "disc", "must be a table, [disc]"),
        ("disc = 30", "disc", "must be a table, [disc]"),
        ("shows = 3", "shows", "give a text in quotes"),
        ("[disc]\ncell = 30", "disc.cell", "unknown key; did you mean 'cells'?"),
        (
            "[vacuum]\nvacuum_psi = 1",
            "vacuum.vacuum_psi",
            "unknown key; units of vacuum: vacuum_kpa or vacuum_inh2o",
        ),
        ("[diskk]\ncells = 30", "diskk", "unknown key; did you mean 'disc'?"),
        ("[zzz]", "zzz", "unknown key; known: conditions, cutoff, demand"),
        (
            "[disc]\nhole_diameter_mm = 4.5\nhole_diameter_in = 0.18",
            "disc.hole_diameter_in",
            "states the same as hole_diameter_mm; give only one of them",
        ),
        (
            "[demand]\nspeed_kmh = 6\nspeed_m_s = 2",
            "demand.speed_m_s",
            "states the same as speed_kmh; give only one of them",
        ),
    ],
)
def test_one_fault_is_one_line_with_file_key_and_remedy(change, key, words, told, folder):
    path = own(folder, change + "\n")
    (line,) = told("explain", path)
    assert line.startswith(f"{path}: {key}: ")
    assert words in line


@pytest.mark.parametrize(
    "value",
    ["0x" + "f" * 5000, "{ " + "a." * 300 + "b = 1 }", "[" * 300 + "]" * 300],
    ids=["long whole number", "deep table", "deep list"],
)
@pytest.mark.parametrize("key", ["cells", "hole_diameter_mm"])
def test_values_that_python_cannot_write_are_refused_in_a_short_line(key, value, told, folder):
    path = own(folder, f"[disc]\n{key} = {value}\n")
    (line,) = told("explain", path)
    assert line.startswith(f"{path}: disc.{key}: ") and len(line) < len(str(path)) + 200


@pytest.mark.slow
def test_a_value_deeper_than_python_recurses_is_refused(told, folder):
    path = own(folder, "[disc]\ncells." + "a." * 5000 + "b = 1\n")
    (line,) = told("explain", path)
    assert line.startswith(f"{path}: disc.cells: ")


def test_a_key_with_a_line_end_makes_one_line(told, folder):
    assert len(told("explain", own(folder, '[disc]\n"a\\nb" = 1\n'))) == 1


# ---------------------------------------------------------------- contradictions, with a control


@pytest.mark.parametrize(
    ("over", "within", "key", "words"),
    [
        # the lot is 7.26 mm wide
        ("hole_diameter_mm=7.26", "hole_diameter_mm=7.25", "disc.hole_diameter_mm", "width 7.26"),
        # 2 pi 110 mm over 4.5 mm is 153.6
        ("cells=154", "cells=153", "disc.cells", "below the hole diameter 4.5 mm"),
        # 10 notches of 0.9 mm would need a gap above 9 mm
        ("notch=5.45", "notch=5.44", "singulator.notch", "fewer than 5.44"),
        ("sensor_height_mm=450", "sensor_height_mm=440", "sensor.sensor_height_mm", "450 mm"),
    ],
)
def test_what_contradicts_itself_is_refused(over, within, key, words, told, done):
    (line,) = told("explain", "maize_bench", "--set", over)
    assert f": {key}: " in line and words in line
    done("explain", "maize_bench", "--set", within)


def test_a_hopper_must_fill_the_pool(told, done):
    (line,) = told("explain", "maize_bench", "--set", "hopper_kg=0.05")
    words = "pool.hopper_kg: 0.05 kg cannot fill the pool; give at least "
    assert words in line
    least = float(line.partition(words)[2].split()[0])
    told("explain", "maize_bench", "--set", f"hopper_kg={least * 0.999}")
    done("explain", "maize_bench", "--set", f"hopper_kg={least * 1.001}")


def test_a_pitch_below_the_seeds_length_is_allowed_with_a_warning(done):
    # 2 pi 110 mm over 10.54 mm is 65.6
    assert "neighbours touch" in done("explain", "maize_bench", "--set", "cells=66")
    assert "neighbours touch" not in done("explain", "maize_bench", "--set", "cells=65")


@pytest.mark.parametrize(
    ("over", "within", "key", "words"),
    [
        # geometry gives pi/6 10.54 7.26 4.57 mm3 of 1425 kg/m3, 260.9 mg (derived)
        ("seed_mass_mg = 523", "seed_mass_mg = 521", "values.seed_mass", "allowed is 0.5 to 2"),
        ("seed_mass_mg = 130", "seed_mass_mg = 131", "values.seed_mass", "allowed is 0.5 to 2"),
        # the drag coefficient is 0.587 (11 / v)^2 (derived)
        (
            "terminal_velocity_m_s = 5.9",
            "terminal_velocity_m_s = 6.0",
            "values.terminal_velocity",
            "drag coefficient of 2.04; allowed is up to 2",
        ),
        ("bulk_density_kg_m3 = 1200", "bulk_density_kg_m3 = 900", "", ""),
        ("length_mm = 7.2", "length_mm = 7.3", "values.length", "must not increase"),
        ("size_cv_percent = nan", "size_cv_percent = 0", "values.size_cv_percent", "from 0 to 40"),
        ("width_mm = 7\nwidth_in = 0.3", "width_in = 0.29", "values.width_in", "only one"),
    ],
)
def test_a_lot_that_contradicts_itself_is_refused(over, within, key, words, told, done, folder):
    path = own(folder, '[seed]\nlot = "lot.toml"\n')
    field = over.partition(" ")[0]
    (old,) = (line for line in LOT.splitlines() if line.startswith(f"{field} ="))
    lot = folder / "lot.toml"
    if key:
        lot.write_text(LOT.replace(old, over), encoding="utf-8")
        (line,) = told("explain", path)
        assert line.startswith(f"{lot}: {key}: ") and words in line
    lot.write_text(LOT.replace(old, within), encoding="utf-8")
    done("explain", path)


def test_a_heap_cannot_be_denser_than_its_seeds(told, folder):
    lot = LOT.replace("kernel_density_kg_m3 = 1425", "kernel_density_kg_m3 = 762")
    (folder / "lot.toml").write_text(lot.replace("= 261", "= 140"), encoding="utf-8")
    (line,) = told("explain", own(folder, '[seed]\nlot = "lot.toml"\n'))
    assert "values.bulk_density: 763 kg/m3 is not below the kernel density 762 kg/m3" in line


# ---------------------------------------------------------------- all at once


def test_all_faults_of_a_file_and_its_lot_are_told_at_once(told, folder):
    path = own(
        folder,
        'shows = 1\nnothing = 2\n[seed]\nlot = "lot.toml"\n[disc]\ncells = 2\ncell = 3\n'
        "hole_diameter_mm = nan\n[vacuum]\nvacuum_kpa = 99\nvacuum_inh2o = 2\n",
    )
    (folder / "lot.toml").write_text(LOT.replace("= 261", "= 0").replace('"maize"', "5"))
    lines = told("explain", path, "--set", "speed_kmh=99", "--set", "no=1", "--set", "notch")
    keys = [": ".join(line.split(": ")[:2]) for line in lines]
    lot = folder / "lot.toml"
    assert sorted(keys) == sorted(
        [
            f"{path}: shows",
            f"{path}: nothing",
            f"{path}: disc.cells",
            f"{path}: disc.cell",
            f"{path}: disc.hole_diameter_mm",
            f"{path}: vacuum.vacuum_kpa",
            f"{path}: vacuum.vacuum_inh2o",
            "--set: demand.speed_kmh",
            "--set: no",
            "--set: notch",
            f"{lot}: crop",
            f"{lot}: values.seed_mass_mg",
        ]
    )


def test_all_contradictions_are_told_at_once(told):
    changes = ["hole_diameter_mm=14", "cells=400", "hopper_kg=0.01", "notch=9", "tube_length_mm=99"]
    words = [word for change in changes for word in ("--set", change)]
    assert len(told("explain", "maize_bench", *words)) == 5


def test_a_file_that_states_nothing_lacks_every_key_that_has_no_default(told, folder):
    path = folder / "empty.toml"
    path.touch()
    lines = told("explain", path)
    assert f"{path}: disc.hole_diameter_mm: missing; give a number from 0.3 to 15 mm" in lines
    assert f"{path}: title: missing or not a text; give a text in quotes" in lines
    assert len(lines) == 18
    assert len(set(lines)) == len(lines)


# ---------------------------------------------------------------- files that are none


@pytest.mark.parametrize(
    "content",
    [
        b"\xff\xfe[\x00",
        bytes(range(256)),
        b"a = \n",
        b"[disc",
        b"a = 1\na = 2",
        b"\x00",
        b"[" * 5000,
    ],
    ids=["utf-16", "binary", "no value", "no bracket", "twice", "NUL", "deep"],
)
@pytest.mark.parametrize("kind", ["scenario", "lot", "extended"])
def test_what_is_not_toml_is_refused_by_name(kind, content, told, folder):
    spoilt = folder / "spoilt.toml"
    spoilt.write_bytes(content)
    path = {
        "scenario": spoilt,
        "lot": own(folder, '[seed]\nlot = "spoilt.toml"\n'),
        "extended": own(folder, name="own2.toml"),
    }[kind]
    if kind == "extended":
        path.write_text('extends = "spoilt.toml"\ntitle = "own"\n')
    assert any(f"{spoilt}: is not valid TOML: " in line for line in told("explain", path))


@pytest.mark.parametrize("name", ["", ".", "no", "no.toml", "no/no.toml", "a" * 300, "a\0b"])
@pytest.mark.parametrize("kind", ["scenario", "lot", "extended"])
def test_a_file_that_is_not_there_is_refused(kind, name, told, folder):
    path = name
    if kind != "scenario":
        text = name.replace("\0", "\\u0000")
        path = own(folder, f'[seed]\nlot = "{text}"\n')
        if kind == "extended":
            path.write_text(f'extends = "{text}"\ntitle = "own"\n')
    assert told("explain", path)


def test_a_pipe_in_place_of_a_lot_is_refused_not_waited_for(told, folder):
    pipe = folder / "pipe.toml"
    os.mkfifo(pipe)
    writer = threading.Thread(target=pipe.write_text, args=("title = 1\n",), daemon=True)
    path = own(folder, '[seed]\nlot = "pipe.toml"\n')
    writer.start()  # so that a program that does wait comes to an end
    try:
        (line,) = told("explain", path)
    finally:
        reader = os.open(pipe, os.O_RDONLY | os.O_NONBLOCK)
        writer.join()
        os.close(reader)
    assert "pipe.toml" in line


@pytest.mark.parametrize("length", [1, 2, 3])
def test_files_that_extend_one_another_in_a_circle_are_refused(length, told, folder):
    for k in range(length):
        text = f'extends = "c{(k + 1) % length}.toml"\n'
        (folder / f"c{k}.toml").write_text(text, encoding="utf-8")
    assert any("extends: files extend one another" in line for line in told("explain", "c0.toml"))


def test_a_lot_in_place_of_a_scenario_is_told_by_what_it_is(told, folder):
    """One line, not one for each key that a lot lacks; also below another file."""
    (folder / "own.toml").write_text(LOT, encoding="utf-8")
    (line,) = told("run", "own.toml")
    assert line.startswith("own.toml: is a seed lot, not a scenario") and "--set lot=" in line
    below = folder / "over.toml"
    below.write_text('extends = "own.toml"\n', encoding="utf-8")
    assert "is a seed lot, not a scenario" in told("run", below)[0]


@pytest.mark.parametrize("value", ["3", "true", '["maize_bench"]', "{ a = 1 }", "nan"])
def test_extends_must_be_a_text(value, told, folder):
    path = folder / "own.toml"
    path.write_text(f'extends = {value}\ntitle = "x"\n', encoding="utf-8")
    lines = told("explain", path)
    assert f"{path}: extends: must be the path or name of a scenario, in quotes" in lines


@pytest.mark.parametrize(
    ("name", "meant"),
    [("maize_bnch", "maize_bench"), ("canola_small_sed.toml", "canola_small_seed")],
)
def test_a_misspelt_scenario_is_hinted_at(name, meant, told):
    assert meant in shipped_scenarios()
    assert told("explain", name) == [
        f"{name}: no such file or shipped scenario; did you mean '{meant}'?"
    ]


def test_a_misspelt_lot_is_hinted_at(told, folder):
    (line,) = told("explain", own(folder, '[seed]\nlot = "soybeen"\n'))
    assert "soybeen" in line and line.endswith("no such shipped lot; did you mean 'soybean'?")


# ---------------------------------------------------------------- options


@pytest.mark.parametrize("change", ["", "=", "cells", "cells=", "cells= "])
def test_a_change_must_read_key_equals_value(change, told):
    (line,) = told("explain", "maize_bench", f"--set={change}")
    assert line.startswith("--set: ") and line.endswith("must read key=value, such as vacuum_kpa=4")


@pytest.mark.parametrize("key", ["cellz", "disc.cellz", "pool.cells", "disk.cells", "a.b.cells"])
def test_a_change_of_an_unknown_key_is_hinted_at(key, told):
    lines = told("explain", "maize_bench", "--set", f"{key}=30")
    assert lines == [f"--set: {key}: unknown key; did you mean 'cells'?"]


def test_a_key_without_its_unit_is_hinted_at_in_every_unit(told):
    (line,) = told("explain", "maize_bench", "--set", "vacuum=3")
    assert line == "--set: vacuum: unknown key; did you mean 'vacuum_inh2o' or 'vacuum_kpa'?"


@pytest.mark.parametrize(
    ("change", "key"),
    [
        ("vacuum_kpa=nan", "vacuum.vacuum_kpa"),
        ("vacuum_kpa=inf", "vacuum.vacuum_kpa"),
        ("vacuum_kpa=1e400", "vacuum.vacuum_kpa"),
        ("vacuum_kpa=1,2", "vacuum.vacuum_kpa"),
        ("vacuum.vacuum_inh2o=99", "vacuum.vacuum_inh2o"),
        ("cells=" + "9" * 5000, "disc.cells"),
        ("cells=4.5", "disc.cells"),
        ("firmer=yes", "furrow.firmer"),
        ("surface=true", "furrow.surface"),
    ],
)
def test_a_change_that_is_not_allowed_is_told_as_one(change, key, told):
    (line,) = told("explain", "maize_bench", "--set", change)
    assert line.startswith(f"--set: {key}: ") and "is not allowed; give " in line


def test_both_units_of_one_key_in_changes_are_refused(told):
    lines = told("explain", "maize_bench", "--set", "vacuum_kpa=4", "--set", "vacuum_inh2o=16")
    assert lines == [
        "--set: vacuum.vacuum_inh2o: states the same as vacuum_kpa; give only one of them"
    ]


CANOLA = "lot --like canola --out x.toml"


@pytest.mark.parametrize(
    ("typed", "words"),
    [
        ("sow", "'sow'"),
        ("--fast", "--fast"),
        ("run", "SCENARIO"),
        ("run maize_bench --units cubits", "--units"),
        ("run maize_bench --fast", "--fast"),
        ("run maize_bench --s notch=1", "unknown: --s"),
        ("run maize_bench --json", "--json"),
        ("explain maize_bench maize_field", "maize_field"),
        ("compare", "SCENARIO"),
        ("sweep maize_bench --vary notch=0,1", "--out"),
        ("sweep maize_bench --out x.csv --vary", "--vary"),
        ("sweep maize_bench --out x.csv --vary notch=0,1 --design star", "'star'"),
        ("list", "WHAT"),
        ("list planets", "'planets'"),
        (CANOLA, "--seeds-per-kg"),
        ("lot --seeds-per-kg 3000", "--like, --out"),
        (f"{CANOLA} --seeds-per-kg many", "'many'"),
        (f"{CANOLA} --seeds-per-kg 3 --seeds-per-lb 3", "--seeds-per-lb"),
        ("gallery figures", "figures"),
    ],
)
def test_a_command_that_cannot_be_understood_is_told_how(typed, words, told):
    """In a line that names the command, what is wrong with it, and where help is."""
    (line,) = told(*typed.split())
    command = typed.split()[0]
    known = "" if command in ("sow", "--fast") else command
    assert line.startswith(f"{known}: " if known else "") and words in line
    assert line.endswith(f"; see '{f'metersim {known}'.strip()} --help'")


def test_an_option_with_a_line_end_makes_one_line(told):
    assert len(told("run", "maize_bench", "--fa\nst")) == 1


@pytest.mark.parametrize(
    "option",
    ["seed=-1", "seed=1.5", "seed=nan", "seed=", "seed=" + "9" * 5000, "seed=\u0663", "seed=1_0"]
    + ["turns=0", "turns=x", "turns=10000001", "replicates=0", "replicates=1e3"],
)
@pytest.mark.parametrize("command", ["run", "compare"])
def test_a_number_that_luck_or_length_cannot_be_is_told(command, option, told):
    vary = ["--vary", "notch=0,1"] if command == "compare" else []
    lines = told(command, "maize_bench", *vary, f"--{option}", "--set", "vacum_kpa=3")
    name, _, _ = option.partition("=")
    (line,) = {line for line in lines if "vacum" not in line}
    assert line.startswith((f"--{name}: ", "--set: run.turns: ", "--vary: run.turns: "))
    assert "whole number" in line or "key=value" in line
    assert any("did you mean 'vacuum_kpa'?" in line for line in lines)


@pytest.mark.parametrize("vary", ["", "=", "vacuum_kpa", "vacuum_kpa=", "vacuum_kpa=4,", "=,"])
def test_a_comparison_needs_two_values(vary, told):
    (line,) = told("compare", "maize_bench", f"--vary={vary}")
    assert line.startswith("--vary: ") and "must read key=a,b" in line


@pytest.mark.parametrize("vary", ["vacuum_kpa=4,x", "vacuum_kpa=99,4", "kpa=3,4", "cells=4,200"])
def test_a_comparison_with_a_wrong_value_is_refused_before_it_runs(vary, told):
    assert told("compare", "maize_bench", "--vary", vary)


def test_a_comparison_needs_something_to_compare_with(told):
    assert told("compare", "maize_bench") == [
        "compare: give either --vary key=a,b or a second scenario"
    ]
    assert told("compare", "maize_bench", "maize_field", "--vary", "vacuum_kpa=3,4")


# ---------------------------------------------------------------- lots of own seed

HEADER = "length_mm,width_mm,thickness_mm\n"
ROWS = "10.5,7.3,4.6\n" * 12


@pytest.mark.parametrize(
    "content",
    [
        "",
        "\n\n",
        '""\n',
        '" "\n"",""\n',
        "\x1c\n",
        HEADER,
        HEADER + "10.5,7.3,4.6\n" * 9,
        (HEADER + ROWS).replace(",", ";"),
        HEADER + ROWS + "nan,7,4\n",
        HEADER + ROWS + "10,7\n",
        HEADER + ROWS + '"10,7,4\n',
        HEADER + ROWS + "9" * 200_000 + ",7,4\n",
        HEADER.replace("width_mm", "length_in") + ROWS,
        "\0" + HEADER + ROWS,
    ],
    ids=range(14),
)
def test_measured_seeds_that_cannot_be_used_are_refused(content, told, folder):
    (folder / "seeds.csv").write_text(content, encoding="utf-8")
    lines = told("lot", "--like", "maize_large_flat", "--csv", "seeds.csv", "--out", "x.toml")
    assert all(line.startswith("seeds.csv: ") for line in lines)


@pytest.mark.parametrize("count", ["nan", "inf", "0", "-3600", "1e9", "1"])
@pytest.mark.parametrize("unit", ["kg", "lb"])
def test_a_bag_label_that_cannot_be_is_refused(unit, count, told):
    (line,) = told(
        "lot", "--like", "maize_large_flat", f"--seeds-per-{unit}={count}", "--out", "x.toml"
    )
    assert line.startswith(f"bag label: seeds_per_{unit}: ") and "give a number from " in line


@pytest.mark.parametrize("like", ["", "no", "no.toml", ".", "a" * 300 + ".toml", "a\0.toml"])
def test_a_lot_to_borrow_from_must_be_there(like, told):
    assert len(told("lot", "--like", like, "--seeds-per-kg=3600", "--out", "x.toml")) == 1


# ---------------------------------------------------------------- outputs that cannot be

OPTIONS = ["--json", "--csv", "--trace", "--figure"]


def outputs(words):
    return ["run", "maize_bench", "--turns", "1", *words]


@pytest.mark.parametrize("option", OPTIONS)
def test_an_output_needs_a_folder_and_must_be_a_file(option, told, folder):
    (folder / "here.png").mkdir()
    (folder / "file").touch()
    assert told(*outputs([option, "no/x.png"])) == [f"{option}: no/x.png: there is no folder no"]
    assert told(*outputs([option, "here.png"])) == [f"{option}: here.png: is a folder; give a file"]
    assert told(*outputs([option, "file/x.png"])) == [
        f"{option}: file/x.png: there is no folder file"
    ]


@pytest.mark.parametrize("option", OPTIONS)
def test_an_output_that_may_not_be_written_is_refused_before_the_run(
    option, told, folder, monkeypatch
):
    (folder / "x.png").write_text("old")
    monkeypatch.setattr(os, "access", lambda path, mode: os.path.basename(path) != "x.png")
    monkeypatch.setattr("metersim.run.simulation.simulate", None)
    assert told(*outputs([option, "x.png"])) == [f"{option}: x.png: cannot be written"]


@pytest.mark.parametrize("option", OPTIONS)
@pytest.mark.parametrize("name", ["a\0b.png", "a" * 300 + ".png"])
def test_a_name_that_no_file_can_have_is_refused(option, name, told):
    assert len(told(*outputs([option, name]))) == 1


@pytest.mark.slow
@pytest.mark.skipif(not os.path.exists("/dev/full"), reason="has no disk that is always full")
@pytest.mark.parametrize("option", ["--json", "--csv", "--trace"])
def test_a_full_disk_is_told(option, told):
    assert told(*outputs([option, "/dev/full"])) == [
        "/dev/full: cannot be written: No space left on device"
    ]


@pytest.mark.parametrize("other", ["x", "./x", "sub/../x", "{}/x", "link"])
def test_two_outputs_cannot_go_to_the_same_file(other, told, folder):
    (folder / "sub").mkdir()
    (folder / "link").symlink_to("x")
    other = other.format(folder)
    assert told(*outputs(["--json", "x", "--csv", other])) == [
        f"--csv: {other}: another output goes to the same file"
    ]


@pytest.mark.parametrize("option", ["--csv", "--trace", "--figure"])
def test_only_json_is_printed(option, told):
    assert told(*outputs([option, "-"])) == [f"{option}: -: only --json prints; give a file"]


def test_what_a_user_wrote_is_shown_in_part_when_it_is_long(told):
    (line,) = told("run", "maize_bench", "--set", "9" * 10_000)
    assert len(line) < 300 and " ...: must read key=value" in line


@pytest.mark.skipif(os.name != "posix", reason="names are texts there")
def test_a_name_that_is_no_text_is_refused(told, folder):
    """No row, picture or report could tell of it."""
    own(folder, name="o\udcff.toml")
    (line,) = told("run", "o\udcff.toml", "--figure", "x.png")
    assert line == r"o\udcff.toml: holds letters that are not UTF-8; rename that file"
    (line,) = told("compare", "maize_bench", "--vary", "lot=maize_large_flat,l\udcff.toml")
    assert line.startswith(r"--vary: lot=l\udcff.toml: holds letters")


def test_all_outputs_are_checked_at_once(told):
    words = ["--json", "no/x", "--csv", "no/y", "--trace", "no/z", "--figure", "no/f.png"]
    assert len(told(*outputs(words))) == 4


@pytest.mark.parametrize("command", ["run", "compare"])
def test_a_figure_of_unknown_kind_is_refused_and_nothing_else_is_written(command, told):
    words = {"run": ["--json", "x"], "compare": ["--vary", "notch=0,1"]}[command]
    (line,) = told(command, "maize_bench", "--turns", "1", *words, "--figure", "x.bmp")
    assert line.startswith("--figure: x.bmp: ") and ".png or .svg or .pdf" in line


def test_an_output_does_not_take_the_place_of_an_input(told, folder):
    path = own(folder)
    assert told("run", path, "--turns", "1", "--json", path)
    for option in ("--json", "--csv", "--trace"):  # a lot or a scenario that is not named here
        (line,) = told("run", "maize_bench", "--turns", "1", option, path.name)
        assert line == (f"{option}: own.toml: is a name of scenarios and lots; give another ending")
    seeds = folder / "seeds.csv"
    seeds.write_text(HEADER + ROWS)
    assert told("lot", "--like", "maize_large_flat", "--csv", seeds, "--out", seeds)
    assert (path.read_text(), seeds.read_text()) == (OWN, HEADER + ROWS)


def elsewhere(*arguments, stdout=subprocess.PIPE, **environment):
    """The command as a process of its own."""
    return subprocess.run(
        [sys.executable, "-m", "metersim", *arguments],
        stdout=stdout,
        stderr=subprocess.PIPE,
        text=True,
        env=os.environ | {"PYTHONPATH": str(Path(metersim.__file__).parents[1])} | environment,
    )


@pytest.mark.slow
@pytest.mark.skipif(not os.path.exists("/dev/full"), reason="has no disk that is always full")
def test_a_standard_output_that_is_full_is_told():
    with open("/dev/full", "w") as full:
        made = elsewhere("list", "lots", stdout=full)
    assert made.returncode == 2
    assert made.stderr.startswith("metersim: ") and made.stderr.count("\n") == 1


@pytest.mark.slow
def test_a_terminal_without_the_letters_of_a_title_gets_the_rest(folder):
    path = own(folder)
    path.write_text(OWN.replace('"own"', '"M\u00e4is \u4e2d"'), encoding="utf-8")
    made = elsewhere("explain", path.name, "--details", PYTHONIOENCODING="ascii")
    assert (made.returncode, made.stderr) == (0, "")
    assert "\n\nM" in made.stdout and "before it runs" in made.stdout


def test_an_interrupt_while_options_are_read_is_told(monkeypatch, capsys):
    def interrupted(words):
        raise KeyboardInterrupt

    monkeypatch.setattr("metersim.cli.read", interrupted)
    assert metersim.cli.main(["list", "lots"]) == 130
    assert capsys.readouterr() == ("", "metersim: interrupted; nothing was written\n")


@pytest.mark.parametrize(
    "words",
    [
        ["steps", "maize_bench", "--counted=--"],
        ["howmany", "maize_bench", "--triples=--"],
        ["run", "maize_bench", "--set=--"],
    ],
)
def test_two_dashes_are_no_value(words, told):
    """Of which argparse makes an empty list."""
    option = words[-1].removesuffix("=--")
    assert told(*words) == [f"{option}: '--' is no value; see 'metersim --help'"]


def test_a_file_far_too_long_or_nested_too_deep_is_refused_at_once(told, folder):
    """Within one line each, whatever stands in it."""
    (folder / "long.toml").write_text('title = "x"\n# ' + "x" * 2**20)
    (folder / "deep.toml").write_text('title = "x"\nx = ' + "[" * 5000 + "]" * 5000)
    for name, said in (("long", "holds more than 1 MiB"), ("deep", "nested too deep")):
        (line,) = told("explain", folder / f"{name}.toml")
        assert said in line


def test_a_hundred_thousand_faults_are_cut_at_twenty(told, folder):
    keys = "\n".join(f"k{k} = 1" for k in range(1000))
    (folder / "many.toml").write_text(f'title = "x"\nextends = "maize_bench"\n[disc]\n{keys}\n')
    lines = told("explain", folder / "many.toml")
    assert len(lines) == 21 and lines[-1] == "and 980 faults more"


@pytest.mark.parametrize(
    ("words", "line"),
    [
        (["ladder", "maize_bench"], "ladder is now 'steps'; see 'metersim --help'"),
        (["ladder", "--help"], "ladder is now 'steps'; see 'metersim --help'"),
        (["steps", "maize_bench", "--seeds=300"], "steps: --seeds is now --counted;"),
        (["howmany", "maize_bench", "--seeds", "5"], "howmany: --seeds is now --counted;"),
        (["next", "maize_bench", "--seeds", "5"], "next: --seeds is now --counted;"),
        (["next", "maize_bench", "--way", "belt"], "next: --way is now --counted-by;"),
        (["howmany", "maize_bench", "--limit", "x"], "howmany: --limit is now --accept;"),
        (["sweep", "maize_bench", "--limit", "x"], "sweep: --limit is now --accept;"),
        (
            ["next", "maize_bench", "--skips-most", "2"],
            "next: --skips-most is now --accept 'cells.skip<=2%';",
        ),
        (
            ["habits", "maize_bench", "--doubles-most", "2"],
            "habits: --doubles-most is now --accept 'cells.double<=2%';",
        ),
    ],
)
def test_a_retired_name_is_refused_with_the_new_one(words, line, told):
    (said,) = told(*words)
    assert said.startswith(line)


def test_every_new_name_is_there():
    """A retired name of a command or option leads to one that can be typed."""
    for name in metersim.cli.RETIRED_COMMANDS.values():
        assert name in metersim.cli.QUESTIONS
    for old, (new, commands) in metersim.cli.RETIRED_OPTIONS.items():
        for command in commands:
            usage = metersim.cli.parser([command])._subparsers._group_actions[0].choices[command]
            options = usage._option_string_actions
            assert new.partition(" ")[0] in options and old not in options


@pytest.mark.parametrize(
    "words", [["run", "maize_field", "--turn", "5"], ["howmany", "maize_field", "--cell", "1000"]]
)
def test_no_option_is_abbreviated(words, told):
    (said,) = told(*words)
    assert words[-2] in said


# ---------------------------------------------------------------- rows of a machine, and its pass

MACHINE = ("--set", "rows=4", "--set", "shut_off_kpa=8")


@pytest.mark.parametrize(
    ("change", "words"),
    [
        ("rows.5=notch=1", "rows.5: names no row; the machine has rows 1 to 4"),
        ("rows.02=notch=1", "rows.02: names no row; the machine has rows 1 to 4"),
        ("rows.two=notch=1", "rows.two: names no row; the machine has rows 1 to 4"),
        ("rows.\u0663=notch=1", "names no row; the machine has rows 1 to 4"),
        ("rows.2=speed=3 mph", "rows.2: demand.speed_mph is the same for all rows"),
        ("rows.2=vacuum_kpa=2", "rows.2: vacuum.vacuum_kpa is the same for all rows"),
        ("rows.2=shut_off_kpa=3", "rows.2: fan.shut_off_kpa is the same for all rows"),
        ("rows.2=start=empty", "rows.2: travel.start is the same for all rows"),
        ("rows.2=altitude_m=300", "rows.2: conditions.altitude_m is the same for all rows"),
        ("rows.2=rows.3=notch=2", "rows.2: a row has no rows"),
        ("rows.2=notch={low=0,high=2}", "rows.2: singulator.notch takes no range in a single row"),
        ("rows.2=notch=1; singulator.notch=2", "rows.2: changes the same key twice; give it once"),
        ("rows.2=;", 'rows.2: give changes in quotes, such as "notch=2; tube_wear=1"'),
        ("rows.2=notch=200", "rows.2: singulator.notch: 200 is not allowed"),
        ("speeds=1e308 s 4 km/h, 1e309 s 5 km/h", "travel.speeds: 1e+308 s lies behind any pass"),
        (
            "off=0 m to 1e300 m",
            "travel.off: 1e+300 m lies behind any pass; give at most 1,000,000 m",
        ),
        ("off=0 s to 86401 s", "travel.off: 86,401 s lies behind any pass; give at most 86,400 s"),
        ("off=20 s to 5 m", "travel.off: 20 s to 5 m ends before it begins"),
        ("plugged_holes=\u0663", "disc.plugged_holes: '\u0663' cannot be read; give numbers of"),
    ],
)
@pytest.mark.parametrize("command", ["explain", "run"])
def test_what_is_wrong_with_rows_or_a_pass_is_one_line(command, change, words, told):
    """What all rows share cannot be changed in one of them, and no pass is endless."""
    (line,) = told(command, "maize_field", *MACHINE, "--set", change)
    assert line.startswith("--set: ") and words in line


@pytest.mark.parametrize("word", ["9" * 5000, "x" * 5000])
@pytest.mark.parametrize("key", ["plugged_holes", "working", "speeds", "rates", "off"])
def test_a_huge_list_is_refused_in_a_short_line(key, word, told):
    (line,) = told("explain", "maize_field", *MACHINE, "--set", f"{key}={word}")
    assert len(line) < 200


def test_a_meter_without_a_fan_has_no_rows(told):
    """Nobody would ask for the row, and the change would be lost."""
    assert told("run", "maize_field", "--set", "rows.1=notch=4") == [
        "--set: rows.1: a meter without a fan has no rows; give its changes as those of the meter"
    ]


def test_a_fault_names_no_range_that_only_the_lot_has(told):
    """The lot's own range of sizes moves none of what contradicts itself."""
    assert told("explain", "maize_field", "--set", "plugged_holes=31") == [
        "--set: disc.plugged_holes: there is no hole 31; the disc has holes 1 to 30"
    ]
