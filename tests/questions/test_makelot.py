"""Lots made from a bag label or from measured seeds."""

import dataclasses
import math

import numpy as np
import pytest

from metersim.files.faults import BadInput
from metersim.files.units import POUND
from metersim.machine.seedlot import VALUES, load_lot, read_lot, shipped_lots
from metersim.questions.lot.seeds import MIN_SEEDS, parse_seeds, read_seeds
from metersim.questions.lot.study import (
    MadeLot,
    lot_from_label,
    lot_from_seeds,
    lot_toml,
    size_spread,
)

MAIZE = load_lot("maize_large_flat")
HEADER = "length_mm,width_mm,thickness_mm,mass_mg"
ROW = "10.5,7.3,4.6,262"
ROWS = [ROW] * 12


def csv_text(rows=ROWS, header=HEADER):
    return "\n".join([header, *rows]) + "\n"


def faults_of(content):
    with pytest.raises(BadInput) as caught:
        parse_seeds(content, "seeds.csv")
    assert all(fault.where == "seeds.csv" for fault in caught.value.faults)
    return [(fault.key, fault.message) for fault in caught.value.faults]


def simulated(rng, many, size_cv, lot=MAIZE):
    """Dimensions [mm] and masses [mg] of lognormal seeds of one shape."""
    sigma = math.sqrt(math.log1p(size_cv**2))
    sizes = np.exp(sigma * rng.standard_normal(many) - sigma**2 / 2)
    dimensions = 1e3 * np.outer(sizes, [lot.length, lot.width, lot.thickness])
    return dimensions, 1e6 * lot.seed_mass * sizes**3


def marks(made):
    return {key: origin.mark for key, origin in made.lot.origins.items()}


# bag label


@pytest.mark.parametrize(
    ("like", "seeds_per_lb", "mass_mg"),
    [
        ("maize_large_flat", 80_000 / 50, 283.5),  # derived
        ("soybean", 2600, 174.5),  # iowa_soybean, read
    ],
)
def test_mass_from_a_label(like, seeds_per_lb, mass_mg):
    lot = load_lot(like)
    made = lot_from_label(lot, seeds_per_lb=seeds_per_lb)
    assert made.lot.seed_mass == pytest.approx(mass_mg * 1e-6, rel=1e-3)
    assert made.lot.gmd / lot.gmd == pytest.approx(
        (mass_mg * 1e-6 / lot.seed_mass) ** (1 / 3), rel=1e-3
    )
    assert made.lot.sphericity == pytest.approx(lot.sphericity, rel=1e-3)
    assert made.lot.drag_coefficient == pytest.approx(lot.drag_coefficient, rel=0.01)
    assert made.lot.kernel_density == lot.kernel_density
    assert made.spread_low is None and made.spread_high is None


def test_kilograms_and_pounds_agree():
    by_kg = lot_from_label(MAIZE, seeds_per_kg=3500, title="x")
    by_lb = lot_from_label(MAIZE, seeds_per_lb=3500 * POUND, title="x")
    for key in VALUES:
        assert getattr(by_kg.lot, key) == getattr(by_lb.lot, key)


def test_a_label_that_says_what_the_lot_says_changes_nothing():
    made = lot_from_label(MAIZE, seeds_per_kg=1 / MAIZE.seed_mass)
    assert [getattr(made.lot, key) for key in VALUES] == pytest.approx(
        [getattr(MAIZE, key) for key in VALUES], rel=1e-12
    )


def test_a_label_says_what_it_borrows():
    made = lot_from_label(MAIZE, seeds_per_kg=3500)
    found = marks(made)
    assert [key for key, mark in found.items() if mark == "measured"] == ["seed_mass"]
    assert found["length"] == found["kernel_density"] == found["terminal_velocity"] == "borrowed"
    assert found["shape_cv"] == found["pose_sd"] == "assumed"  # as in the lot borrowed from
    assert made.lot.origins["kernel_density"].source == "sezer"
    assert any("borrowed from the lot maize_large_flat: length" in note for note in made.notes)
    assert "3500 seeds per kg" in made.lot.title


def test_borrowing_makes_no_assumption_better():
    onion = load_lot("onion")
    assert onion.illustrative
    assert lot_from_label(onion, seeds_per_kg=230_000).lot.illustrative


def test_a_label_far_from_its_lot_is_noted():
    made = lot_from_label(MAIZE, seeds_per_kg=20_000)
    assert any("right lot to borrow from" in note for note in made.notes)
    made = lot_from_label(MAIZE, seeds_per_kg=3500)
    assert not any("right lot to borrow from" in note for note in made.notes)


@pytest.mark.parametrize("counts", [{}, {"seeds_per_kg": 3500, "seeds_per_lb": 1600}])
def test_exactly_one_count_is_wanted(counts):
    with pytest.raises(BadInput, match="exactly one"):
        lot_from_label(MAIZE, **counts)


@pytest.mark.parametrize("count", [0, -3500, math.nan, math.inf, True, "3500", 3, 1e9])
def test_impossible_counts_are_refused(count):
    with pytest.raises(BadInput, match=r"bag label: seeds_per_kg: .* not allowed; give a number"):
        lot_from_label(MAIZE, seeds_per_kg=count)


def test_a_label_that_makes_an_impossible_lot_is_refused_in_users_units():
    # canola of 3 g each would fall at 7 m/s times the sixth root of 758, 21 m/s
    with pytest.raises(BadInput, match=r"values.terminal_velocity_m_s: 21.* 0.5 to 20 m/s"):
        lot_from_label(load_lot("canola"), seeds_per_kg=334)


# measured seeds


def test_means_and_spread_are_recovered():
    rng = np.random.default_rng(11)
    many, size_cv = 2000, 0.06
    dimensions, masses = simulated(rng, many, size_cv)
    rows = [",".join(f"{x:.4f}" for x in (*d, m)) for d, m in zip(dimensions, masses, strict=True)]
    made = lot_from_seeds(parse_seeds(csv_text(rows), "seeds.csv"), MAIZE)
    error = size_cv / math.sqrt(many)
    for key in ("length", "width", "thickness"):
        z = (getattr(made.lot, key) / getattr(MAIZE, key) - 1) / error
        assert abs(z) < 4
    # mean of the cube of a lognormal of mean 1, and its SD, about 3 cv
    z = (made.lot.seed_mass / MAIZE.seed_mass / (1 + size_cv**2) ** 3 - 1) / (3 * error)
    assert abs(z) < 4
    assert abs(made.lot.size_cv - size_cv) < 4 * size_cv / math.sqrt(2 * (many - 1))
    assert made.spread_low < made.lot.size_cv < made.spread_high
    assert set(marks(made).values()) == {"measured", "borrowed", "assumed"}
    assert marks(made)["size_cv"] == marks(made)["seed_mass"] == "measured"
    assert not any("sorted" in note for note in made.notes)


@pytest.mark.parametrize("level", [0.8, 0.95])
@pytest.mark.parametrize("many", [10, 40])
def test_interval_of_the_spread_covers_at_its_stated_rate(many, level):
    rng = np.random.default_rng(many)
    size_cv, times = 0.06, 2000
    sigma = math.sqrt(math.log1p(size_cv**2))
    sizes = np.exp(sigma * rng.standard_normal((times, many)))
    _, low, high = np.array([size_spread(row, level) for row in sizes]).T
    error = math.sqrt(level * (1 - level) / times)
    covered = np.mean((low <= size_cv) & (size_cv <= high))
    assert abs(covered - level) < 4 * error
    # negative control: a truth half as large again is not covered that often
    wrong = 1.5 * size_cv
    assert np.mean((low <= wrong) & (wrong <= high)) < level - 4 * error


def test_interval_assumes_lognormal_sizes():
    # negative control: two grades in one bag vary less from sample to sample than lognormal sizes
    rng = np.random.default_rng(3)
    sizes = np.exp(0.06 * rng.choice([-1.0, 1.0], size=(2000, 40)))
    true = math.sqrt(math.expm1(0.06**2))
    _, low, high = np.array([size_spread(row) for row in sizes]).T
    covered = np.mean((low <= true) & (true <= high))
    assert covered - 0.95 > 4 * math.sqrt(0.95 * 0.05 / 2000)


def test_spread_closed_form():
    # logarithms -1 and +1 times s: sample variance 2 s^2 at n = 2
    value, low, high = size_spread([math.exp(-0.1), math.exp(0.1)])
    assert value == pytest.approx(math.sqrt(math.expm1(0.02)))
    # 2.5 and 97.5 % points of chi-square with 1 degree of freedom, any table
    assert low == pytest.approx(math.sqrt(math.expm1(0.02 / 5.02389)), rel=1e-5)
    assert high == pytest.approx(math.sqrt(math.expm1(0.02 / 0.000982069)), rel=1e-4)


def test_spread_knows_no_unit():
    sizes = np.random.default_rng(5).lognormal(0, 0.05, 30)
    assert size_spread(sizes) == pytest.approx(size_spread(25.4 * sizes))


def test_inches_and_grams_are_the_same_seeds():
    rng = np.random.default_rng(2)
    dimensions, masses = simulated(rng, 15, 0.05)
    metric = [",".join(map(str, (*d, m))) for d, m in zip(dimensions, masses, strict=True)]
    us = [
        ",".join(map(str, (m / 1e3, d[2] / 25.4, d[0], d[1] / 25.4)))
        for d, m in zip(dimensions, masses, strict=True)
    ]
    one = parse_seeds(csv_text(metric), "a.csv")
    two = parse_seeds(csv_text(us, "mass_g,thickness_in,length_mm,width_in"), "a.csv")
    np.testing.assert_allclose(two.dimensions, one.dimensions, rtol=1e-12)
    np.testing.assert_allclose(two.masses, one.masses, rtol=1e-12)


def test_unweighed_seeds_take_their_mass_from_their_volume():
    rows = ["11.594,7.986,5.027"] * 12  # 1.1 times the dimensions of the lot borrowed from
    made = lot_from_seeds(
        parse_seeds(csv_text(rows, "length_mm,width_mm,thickness_mm"), "seeds.csv"), MAIZE
    )
    assert made.lot.seed_mass == pytest.approx(1.1**3 * MAIZE.seed_mass, rel=1e-3)
    assert made.lot.terminal_velocity == pytest.approx(
        math.sqrt(1.1) * MAIZE.terminal_velocity,
        rel=0.005,  # three digits are kept
    )
    assert marks(made)["seed_mass"] == "borrowed"
    assert marks(made)["length"] == "measured"


def test_label_and_callipers_agree_on_seed_of_the_same_shape():
    rows = ["11.594,7.986,5.027"] * 12
    seeds = parse_seeds(csv_text(rows, "length_mm,width_mm,thickness_mm"), "seeds.csv")
    measured = lot_from_seeds(seeds, MAIZE).lot
    label = lot_from_label(MAIZE, seeds_per_kg=1 / measured.seed_mass).lot
    for key in ("length", "width", "thickness", "terminal_velocity"):
        assert getattr(label, key) == pytest.approx(getattr(measured, key), rel=1e-3)


def test_swapped_dimensions_are_sorted_and_noted():
    rows = [*ROWS, "7.3,10.5,4.6,262", "4.6,7.3,10.5,262"]
    seeds = parse_seeds(csv_text(rows), "seeds.csv")
    assert seeds.reordered == 2
    assert np.all(np.diff(seeds.dimensions, axis=1) <= 0)
    made = lot_from_seeds(seeds, MAIZE)
    assert any(note.startswith("2 of 14 seeds") for note in made.notes)


def test_identical_seeds_are_noted():
    made = lot_from_seeds(parse_seeds(csv_text(), "seeds.csv"), MAIZE)
    assert made.lot.size_cv == made.spread_low == made.spread_high == 0
    assert any("means little" in note for note in made.notes)


@pytest.mark.parametrize(
    "content",
    [
        "\ufeff" + csv_text(),
        csv_text() + "\n\n  \n",
        csv_text() + ",,,\n,,,\n",
        csv_text().replace("\n", "\r\n"),
        csv_text().replace(",", " , "),
        csv_text().replace("10.5", '"10.5"'),
        csv_text().rstrip("\n"),
    ],
    ids=["BOM", "blank lines", "blank cells", "CRLF", "blanks", "quotes", "no last newline"],
)
def test_harmless_variants_are_read(tmp_path, content):
    path = tmp_path / "seeds.csv"
    path.write_bytes(content.encode())
    assert len(read_seeds(path).dimensions) == len(ROWS)


@pytest.mark.parametrize(
    ("content", "key", "message"),
    [
        ("", "", "is empty"),
        (" \n,,\n", "", "is empty"),
        (csv_text().replace(",", ";"), "", "semicolons between columns; use a comma"),
        (csv_text().replace(",", "\t"), "", "tabs between columns"),
        (csv_text(['"10,5","7,3","4,6",262'] * 12), "", "commas as decimal marks"),
        (csv_text(["10,5,7,3,4,6,262,0"] * 12), "", "commas as decimal marks"),
        (csv_text(header="lenght_mm,width_mm,thickness_mm,mass_mg"), "row 1, lenght_mm", "mean"),
        (csv_text(header="length,width_mm,thickness_mm,mass_mg"), "row 1, length", "length_mm"),
        (csv_text(header="length_mm,width_mm,length_in,mass_mg"), "row 1, length_in", "only one"),
        (csv_text(header="length_mm,width_mm,width_mm,mass_mg"), "row 1, width_mm", "only one"),
        (csv_text(header="length_mm,width_mm,thickness_mm,"), "row 1, (no name)", "unknown"),
        (csv_text(["10.5,7.3"] * 12, "length_mm,width_mm"), "row 1", "no column thickness_mm"),
        (csv_text([*ROWS, "10.5,7.3,4.6"]), "row 14", "has 3 cells; the header has 4"),
        (csv_text([ROW, "", *ROWS]), "row 3", "empty"),
        (csv_text([*ROWS, "10.5,7.3,,262"]), "row 14, thickness_mm", "'' is not allowed"),
        (csv_text([*ROWS, "10.5,7.3,4.6 mm,262"]), "row 14, thickness_mm", "0.2 to 40 mm"),
        (csv_text([*ROWS, "nan,7.3,4.6,262"]), "row 14, length_mm", "'nan' is not allowed"),
        (csv_text([*ROWS, "inf,7.3,4.6,262"]), "row 14, length_mm", "'inf' is not allowed"),
        (csv_text([*ROWS, "1e999,7.3,4.6,262"]), "row 14, length_mm", "inf is not allowed"),
        (csv_text([*ROWS, "1_0.5,7.3,4.6,262"]), "row 14, length_mm", "'1_0.5' is not allowed"),
        (csv_text([*ROWS, "-10.5,7.3,4.6,262"]), "row 14, length_mm", "-10.5 is not allowed"),
        (csv_text([*ROWS, "10.5,0,4.6,262"]), "row 14, width_mm", "0.0 is not allowed"),
        (csv_text([*ROWS, "105,7.3,4.6,262"]), "row 14, length_mm", "105.0 is not allowed"),
        (csv_text(header=HEADER.replace("mass_mg", "mass_g")), "row 2, mass_g", "0.0001 to 3 g"),
        (csv_text(ROWS[:9]), "", "has 9 seeds; at least 10 are needed"),
        (csv_text([]), "", "has 0 seeds"),
        (csv_text([*ROWS, '"10.5,7.3,4.6,262']), "row 14", "not valid CSV"),
    ],
)
def test_bad_files_are_refused(content, key, message):
    faults = faults_of(content)
    assert faults[0][0] == key
    assert message in faults[0][1]


def test_one_message_for_a_file_of_another_form():
    assert len(faults_of(csv_text().replace(",", ";").replace(".", ","))) == 1
    assert len(faults_of(csv_text(["10,5,7,3,4,6,262,0"] * 12))) == 1


def test_every_bad_cell_is_reported():
    rows = [*ROWS, "x,7.3,4.6,-1", "10.5,,4.6,262"]
    assert [key for key, _ in faults_of(csv_text(rows))] == [
        "row 14, length_mm",
        "row 14, mass_mg",
        "row 15, width_mm",
    ]


def test_ten_seeds_are_enough():
    assert MIN_SEEDS == 10
    assert len(parse_seeds(csv_text(ROWS[:10]), "seeds.csv").dimensions) == 10


def test_unreadable_files_are_refused(tmp_path):
    with pytest.raises(BadInput, match="cannot be read"):
        read_seeds(tmp_path / "none.csv")
    path = tmp_path / "seeds.csv"
    path.write_bytes(csv_text().encode("utf-16"))
    with pytest.raises(BadInput, match="not UTF-8"):
        read_seeds(path)


def test_masses_that_contradict_the_dimensions_are_refused():
    rows = ["10.5,7.3,4.6,700"] * 12
    with pytest.raises(BadInput, match=r"seeds.csv: values.seed_mass: 700 mg is 2.66 times"):
        lot_from_seeds(parse_seeds(csv_text(rows), "seeds.csv"), MAIZE)


def test_a_lot_that_contradicts_itself_in_drag_cannot_be_made(tmp_path):
    # terminal velocity follows mass over area, so even seeds 1.9 times as heavy keep the drag
    rows = ["10.5,7.3,4.6,495"] * 12
    made = lot_from_seeds(parse_seeds(csv_text(rows), "seeds.csv"), MAIZE)
    assert made.lot.drag_coefficient == pytest.approx(MAIZE.drag_coefficient, rel=0.01)
    # negative control: the file, changed by hand to a velocity that this mass cannot have
    text = lot_toml(made).replace(f"_m_s = {made.lot.terminal_velocity:.10g}", "_m_s = 5.56")
    path = tmp_path / "own.toml"
    path.write_text(text)
    with pytest.raises(BadInput, match=r"own.toml: values.terminal_velocity: 5.56 .* drag"):
        read_lot(path)


def test_a_spread_beyond_belief_is_refused():
    rows = ["5,4,3", "20,16,12"] * 6
    seeds = parse_seeds(csv_text(rows, "length_mm,width_mm,thickness_mm"), "seeds.csv")
    with pytest.raises(BadInput, match=r"seeds.csv: values.size_cv_percent: .* 0 to 40 %"):
        lot_from_seeds(seeds, MAIZE)


# lot files


def round_trip(made, folder):
    path = folder / f"{made.lot.name}.toml"
    path.write_text(lot_toml(made), encoding="utf-8")
    return read_lot(path)


@pytest.mark.parametrize("name", sorted(shipped_lots()))
def test_a_made_lot_reads_back_as_it_is(name, tmp_path):
    like = load_lot(name)
    for factor in (0.8, 0.93, 1, 1.234567):
        made = lot_from_label(like, seeds_per_kg=factor / like.seed_mass)
        assert round_trip(made, tmp_path) == made.lot


def test_a_measured_lot_reads_back_as_it_is(tmp_path):
    dimensions, masses = simulated(np.random.default_rng(8), 25, 0.05)
    rows = [",".join(map(str, (*d, m))) for d, m in zip(dimensions, masses, strict=True)]
    made = lot_from_seeds(parse_seeds(csv_text(rows), "my seeds.csv"), MAIZE, name="mine")
    lot = round_trip(made, tmp_path)
    assert lot == made.lot
    assert lot.origins["length"].note == "25 seeds of my seeds.csv"
    # and can be borrowed from in turn
    again = lot_from_label(lot, seeds_per_lb=1700)
    assert round_trip(again, tmp_path) == again.lot


@pytest.mark.parametrize(
    "title",
    [
        'a "quoted" \\ lot',
        "two\nlines\r\nand a\ttab",
        "M\u00e4is \U0001f33d",
        "\x00\x1f\x7f\x85",
        "'''",
        "#",
    ],
)
def test_any_title_survives(title, tmp_path):
    made = lot_from_label(MAIZE, seeds_per_kg=3500, title=title)
    assert round_trip(made, tmp_path).title == title


def test_a_file_name_that_is_no_text_survives_as_far_as_it_can(tmp_path):
    made = lot_from_seeds(parse_seeds(csv_text(), "a\udcff\n.csv"), MAIZE)
    assert round_trip(made, tmp_path) == made.lot


def test_values_are_rounded_sensibly():
    made = lot_from_label(MAIZE, seeds_per_kg=3456.789)
    text = lot_toml(made)
    assert "seed_mass_mg = 289.3\n" in text
    assert "length_mm = 10.91\n" in text  # 10.54 mm times the cube root of 289.3/261
    assert "kernel_density_kg_m3 = 1425\n" in text
    assert "repose_angle_deg = 23.5\n" in text


def test_made_lots_are_frozen():
    made = lot_from_label(MAIZE, seeds_per_kg=3500)
    assert isinstance(made, MadeLot)
    with pytest.raises(dataclasses.FrozenInstanceError):
        made.lot = MAIZE


def test_a_borrowed_range_of_the_spread_stays_a_range(tmp_path):
    made = lot_from_label(MAIZE, seeds_per_kg=3500)
    assert made.lot.size_cvs == MAIZE.size_cvs is not None
    path = tmp_path / "own.toml"
    path.write_text(lot_toml(made))
    assert "size_cv_percent = { low = 3.5, high = 6.5 }" in path.read_text()
    assert read_lot(path) == made.lot
