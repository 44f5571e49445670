"""Seed lots: geometry against published tables, and what a lot file may not say."""

import dataclasses
import math
import tomllib

import pytest

from metersim.files.faults import BadInput
from metersim.files.fields import specs
from metersim.files.units import ACRE, INCH, POUND, UNITS
from metersim.machine.seedlot import (
    CROP_NAMES,
    LOT_NAMES,
    MARKS,
    MAX_DRAG_COEFFICIENT,
    SHIPPED,
    VALUES,
    load_lot,
    parse_lot,
    read_lot,
    shipped_lots,
)
from metersim.machine.sources import SOURCES

LOTS = sorted(shipped_lots())


def table(name="maize_large_flat"):
    """A shipped lot's file as a table that a test may spoil."""
    return tomllib.loads((SHIPPED / f"{name}.toml").read_text())


def faults_of(spoilt):
    with pytest.raises(BadInput) as caught:
        parse_lot(spoilt, "own.toml", "own")
    assert all(fault.where == "own.toml" for fault in caught.value.faults)
    return {fault.key: fault.message for fault in caught.value.faults}


# geometry: papers round, or average seed by seed, hence 0.5 %


@pytest.mark.parametrize(
    ("name", "gmd", "sphericity"),
    [
        ("sugar_beet", 3.38e-3, 0.734),  # dursun2007, read
        ("sunflower", 6.15e-3, 0.789),  # isik2007, read
    ],
)
def test_size_and_sphericity_agree_with_the_papers(name, gmd, sphericity):
    lot = load_lot(name)
    assert lot.gmd == pytest.approx(gmd, rel=0.005)
    assert lot.sphericity == pytest.approx(sphericity, rel=0.005)


def porosity_of(lot):
    """Share of air in a heap."""
    return 1 - lot.bulk_density / lot.kernel_density


@pytest.mark.parametrize(
    ("name", "porosity"),
    [
        ("sugar_beet", 0.536),  # dursun2007, read
        ("soybean", 0.4007),  # wandkar2012, read
    ],
)
def test_porosity_agrees_with_the_papers(name, porosity):
    assert porosity_of(load_lot(name)) == pytest.approx(porosity, rel=0.005)


def test_a_ball_has_the_mass_and_sphericity_of_a_ball():
    ball = dataclasses.replace(
        load_lot("soybean"), length=6e-3, width=6e-3, thickness=6e-3, kernel_density=1200.0
    )
    assert ball.gmd == pytest.approx(6e-3)
    assert ball.sphericity == pytest.approx(1)
    assert ball.geometric_mass == pytest.approx(1200 * math.pi * 6e-3**3 / 6)


def test_drag_balances_weight_at_terminal_velocity():
    lot = load_lot("sorghum")
    area = math.pi * lot.length * lot.width / 4
    drag = lot.drag_coefficient * 1.2 * lot.terminal_velocity**2 / 2 * area
    assert drag == pytest.approx(lot.seed_mass * 9.80665)


def test_scaled_lot_keeps_drag_shape_and_density():
    lot = load_lot("sugar_beet")
    bigger = lot.scaled(1.1)
    assert bigger.drag_coefficient == pytest.approx(lot.drag_coefficient)
    assert bigger.sphericity == pytest.approx(lot.sphericity)
    assert bigger.seed_mass / bigger.geometric_mass == pytest.approx(
        lot.seed_mass / lot.geometric_mass
    )


# units


def test_bushel_weight_is_a_bulk_density():
    # 2150.42 in3; 56 lb/bu is 720.8 kg/m3, derived
    assert UNITS["lb_bu"].to_si(56) == pytest.approx(720.8, rel=1e-4)
    assert UNITS["lb_bu"].to_si(1) * 2150.42 * INCH**3 == pytest.approx(POUND)


def test_seed_counts_by_weight():
    # 80,000 kernels in 50 lb are 283.5 g/1000, derived
    assert pytest.approx(283.5e-6, rel=1e-4) == 50 * POUND / 80_000
    # 2,600 soybeans in a pound are 174.5 g/1000, iowa_soybean, read
    assert pytest.approx(174.5e-6, rel=1e-3) == POUND / 2600


def test_exact_definitions():
    assert INCH == 0.0254
    assert POUND == 0.45359237
    assert pytest.approx(ACRE) == 43_560 * (12 * INCH) ** 2  # an acre is 43,560 square feet


# shipped lots


def test_the_lots_that_ship():
    assert LOTS == [
        "canola",
        "cotton",
        "maize_large_flat",
        "maize_small_round",
        "onion",
        "sorghum",
        "soybean",
        "sugar_beet",
        "sugar_beet_pelleted",
        "sunflower",
        "wheat",
    ]


@pytest.mark.parametrize("name", LOTS)
def test_shipped_lot_is_consistent_and_sourced(name):
    lot = load_lot(name)
    assert lot.name == name
    assert 0.3 < lot.drag_coefficient < MAX_DRAG_COEFFICIENT  # a smooth ball has about 0.4 to 0.5
    assert 0.5 <= lot.seed_mass / lot.geometric_mass <= 2
    assert 0.3 < porosity_of(lot) < 0.6
    assert set(VALUES) - set(lot.origins) <= {"shape_cv"}  # the one value that may be left out
    for key, text in table(name)["origin"].items():
        mark, _, rest = text.partition(" ")
        assert mark in MARKS
        assert rest, f"{key} does not say why"
        if mark in ("read", "derived", "borrowed"):
            # the reader takes an unknown key for a note, so ask the file itself
            assert rest.split(" ")[0] in SOURCES, f"{key} names no known source"
        if mark in ("assumed", "borrowed", "memory"):
            assert lot.origins[key].note, f"{key} does not say why"


@pytest.mark.parametrize("name", LOTS)
def test_sources_named_inside_a_note_exist(name):
    words = " ".join(table(name)["origin"].values()).replace(",", " ").replace(")", " ")
    keys = [word.strip("(;") for word in words.split() if word.strip("(;")[-4:].isdigit()]
    assert all(key in SOURCES for key in keys if key[0].isalpha())


@pytest.mark.parametrize("name", LOTS)
def test_a_lot_is_illustrative_when_over_half_of_it_is_assumed(name):
    texts = table(name)["origin"].values()
    assumed = sum(text.startswith("assumed") for text in texts) / len(texts)
    assert load_lot(name).illustrative == (assumed > 0.5)


def test_which_lots_are_illustrative():
    assert [name for name in LOTS if load_lot(name).illustrative] == [
        "cotton",
        "maize_small_round",
        "onion",
        "sugar_beet_pelleted",
    ]


def test_values_lie_inside_their_published_ranges():
    maize, canola = load_lot("maize_large_flat"), load_lot("canola")
    assert 214e-6 < maize.seed_mass < 293e-6  # darfour2022, read
    assert 10 <= maize.terminal_velocity <= 12  # memory
    assert 35 * POUND / 80_000 < maize.seed_mass < 60 * POUND / 80_000  # purdue_corn, read
    assert 1.63e-3 < canola.gmd < 2.02e-3  # razavi2009, read
    assert 0.82 < canola.sphericity < 0.93  # razavi2009, read
    assert 3.06e-6 < canola.seed_mass < 4.84e-6  # razavi2009, read
    assert 1.85e-3 < load_lot("onion").gmd < 1.95e-3  # chhina2011, read
    assert 69.8e-6 < load_lot("cotton").seed_mass < 108e-6  # uga2021, read


def test_seed_mass_is_near_that_of_the_ellipsoid_for_maize():
    # 10.54 x 7.26 x 4.57 mm at 1425 kg/m3 is 261 mg, derived from sezer
    assert load_lot("maize_large_flat").geometric_mass == pytest.approx(261e-6, rel=0.002)


# what a lot may not say


def test_terminal_velocity_that_needs_impossible_drag_is_refused():
    # 5.56 m/s was published for sweet corn of 131 mg (coskun2006, read); of a 261 mg kernel it
    # would ask for a drag coefficient of 2.3
    spoilt = table()
    spoilt["values"]["terminal_velocity_m_s"] = 5.56
    faults = faults_of(spoilt)
    assert set(faults) == {"values.terminal_velocity"}
    assert "drag coefficient of 2.30" in faults["values.terminal_velocity"]


def test_the_same_velocity_is_allowed_for_the_seed_it_was_published_for():
    # 10.56 x 7.91 x 3.45 mm, 131 mg, 1134 / 482 kg/m3, coskun2006, read
    corn = table()
    corn["values"] |= {
        "length_mm": 10.56,
        "width_mm": 7.91,
        "thickness_mm": 3.45,
        "seed_mass_mg": 131,
        "kernel_density_kg_m3": 1134,
        "bulk_density_kg_m3": 482,
        "terminal_velocity_m_s": 5.56,
    }
    assert 1 < parse_lot(corn, "own.toml", "own").drag_coefficient < 1.1


@pytest.mark.parametrize("factor", [0.45, 2.2])
def test_mass_that_contradicts_the_dimensions_is_refused(factor):
    spoilt = table()
    spoilt["values"]["seed_mass_mg"] *= factor
    assert "0.5 to 2" in faults_of(spoilt)["values.seed_mass"]


@pytest.mark.parametrize("factor", [0.55, 1.9])
def test_mass_that_papers_may_disagree_by_is_allowed(factor):
    allowed = table()
    allowed["values"]["seed_mass_mg"] *= factor
    parse_lot(allowed, "own.toml", "own")


def test_dimensions_out_of_order_are_refused():
    spoilt = table()
    spoilt["values"]["length_mm"], spoilt["values"]["width_mm"] = 7.26, 10.54
    assert set(faults_of(spoilt)) == {"values.length"}


def test_a_heap_denser_than_its_seeds_is_refused():
    spoilt = table()
    spoilt["values"]["bulk_density_kg_m3"] = 1200
    spoilt["values"]["kernel_density_kg_m3"] = 1199
    assert "values.bulk_density" in faults_of(spoilt)


def test_misspelt_keys_are_hinted():
    spoilt = table()
    spoilt["crob"] = "maize"
    spoilt["values"]["lenght_mm"] = spoilt["values"].pop("length_mm")
    spoilt["origin"]["widht"] = spoilt["origin"].pop("width")
    faults = faults_of(spoilt)
    assert "did you mean 'crop'?" in faults["crob"]
    assert "did you mean 'length_mm'?" in faults["values.lenght_mm"]
    assert "did you mean 'width'?" in faults["origin.widht"]
    assert "missing" in faults["values.length_mm"]
    assert "missing" in faults["origin.width"]


def test_a_misspelt_lot_name_is_hinted():
    with pytest.raises(BadInput, match=r"did you mean 'soybean'\?"):
        load_lot("soybeen")


@pytest.mark.parametrize(
    "value", [math.nan, math.inf, -math.inf, True, "10.54", "", [10.54], {}, 0, -10.54, 41]
)
def test_what_is_no_allowed_number_is_refused(value):
    spoilt = table()
    spoilt["values"]["length_mm"] = value
    faults = faults_of(spoilt)
    assert set(faults) == {"values.length_mm"}
    assert "0.3 to 40 mm" in faults["values.length_mm"]


@pytest.mark.parametrize("name", VALUES)
def test_each_value_is_refused_just_outside_its_range(name):
    spec = specs(type(load_lot("soybean")))[name]
    unit = spec.units[0]
    for edge in (spec.high * 1.001, spec.low * 0.999 or -0.001 * spec.high):
        spoilt = table()
        spoilt["values"][f"{name}_{unit.suffix}"] = unit.from_si(edge)
        assert f"values.{name}_{unit.suffix}" in faults_of(spoilt)


def test_both_units_of_one_value_are_refused():
    spoilt = table()
    spoilt["values"]["length_in"] = 0.415
    assert "only one" in faults_of(spoilt)["values.length_in"]


def test_either_unit_of_a_value_gives_the_same_lot():
    other = table()
    other["values"]["length_in"] = other["values"].pop("length_mm") / 25.4
    other["values"]["seed_mass_g"] = other["values"].pop("seed_mass_mg") / 1000
    lot, same = load_lot("maize_large_flat"), parse_lot(other, "own.toml", "own")
    assert [getattr(same, name) for name in VALUES] == pytest.approx(
        [getattr(lot, name) for name in VALUES], rel=1e-12
    )


@pytest.mark.parametrize("text", ["", "found somewhere", 3, ["read"]])
def test_an_origin_without_a_mark_is_refused(text):
    spoilt = table()
    spoilt["origin"]["width"] = text
    assert "origin.width" in faults_of(spoilt)


def test_missing_tables_are_reported_value_by_value():
    faults = faults_of({"title": "nothing", "crop": "maize"})
    assert len(faults) == 2 * sum(spec.required for spec in VALUES.values())


def test_all_faults_are_reported_at_once():
    spoilt = table()
    spoilt["title"] = ""
    spoilt["values"]["width_mm"] = -1
    del spoilt["origin"]["pose_sd"]
    assert set(faults_of(spoilt)) == {"title", "values.width_mm", "origin.pose_sd"}


@pytest.mark.parametrize("content", [b"title = ", b"\xff\xfe", b"a = 1\na = 2"])
def test_what_is_no_toml_is_refused(tmp_path, content):
    path = tmp_path / "own.toml"
    path.write_bytes(content)
    with pytest.raises(BadInput, match="not valid TOML"):
        read_lot(path)


def test_a_lot_file_is_found_beside_the_file_that_names_it(tmp_path):
    (tmp_path / "own.toml").write_text((SHIPPED / "onion.toml").read_text())
    lot = load_lot("own.toml", beside=tmp_path)
    assert lot == dataclasses.replace(load_lot("onion"), name="own")
    with pytest.raises(BadInput, match="cannot be read"):
        load_lot("other.toml", beside=tmp_path)


def test_every_source_is_a_full_sentence_under_a_plain_key():
    for key, reference in SOURCES.items():
        assert key.isidentifier() and key == key.lower()
        assert reference.endswith(".")


def test_a_lot_file_without_a_spread_of_shape_has_the_usual_one():
    """Files of older versions; an origin is wanted for what is given."""
    old = table()
    del old["values"]["shape_cv_percent"], old["origin"]["shape_cv"]
    assert parse_lot(old, "own.toml", "own").shape_cv == 0.06
    old["values"]["shape_cv_percent"] = 8
    assert set(faults_of(old)) == {"origin.shape_cv"}
    old["origin"]["shape_cv"] = "measured by us"
    assert parse_lot(old, "own.toml", "own").shape_cv == pytest.approx(0.08)


def test_a_range_of_the_spread_of_size_has_its_middle():
    own = table()
    own["values"]["size_cv_percent"] = {"low": 4, "high": 10}
    lot = parse_lot(own, "own.toml", "own")
    assert lot.size_cv == pytest.approx(0.07)
    assert lot.size_cvs is not None and lot.size_cvs.parameters == pytest.approx((0.04, 0.10))
    own["values"]["size_cv_percent"] = 5
    assert parse_lot(own, "own.toml", "own").size_cvs is None


@pytest.mark.parametrize(
    ("key", "value"),
    [
        ("size_cv_percent", {"low": 4}),
        ("size_cv_percent", {"low": 8, "high": 4}),
        ("size_cv_percent", {"low": 4, "high": 50}),
        ("width_mm", {"low": 4, "high": 5}),
        ("shape_cv_percent", {"low": 4, "high": 5}),
    ],
)
def test_a_range_that_cannot_be_is_refused(key, value):
    spoilt = table()
    spoilt["values"][key] = value
    assert set(faults_of(spoilt)) == {f"values.{key}"}


def test_published_spreads_of_size_are_those_of_their_sources():
    """Ungraded maize 6.5 %, above any graded lot; canola 6.1 to 7.8; soybean 4.7 to 9.5 (read)."""
    maize = [
        load_lot(f"maize_{name}").size_cvs.parameters for name in ("large_flat", "small_round")
    ]
    assert maize == [pytest.approx((0.035, 0.065))] * 2
    assert load_lot("canola").size_cvs.parameters == pytest.approx((0.061, 0.078))
    assert load_lot("soybean").size_cvs.parameters == pytest.approx((0.047, 0.095))
    # the ungraded spread, from that of mass, 19.6 %: the cube of a lognormal size
    assert math.sqrt(math.log1p(0.196**2)) / 3 == pytest.approx(0.065, abs=5e-4)


@pytest.mark.parametrize("name", LOT_NAMES)
def test_a_lot_answers_to_its_usual_names(name):
    assert name not in LOTS
    for written in (name, name.capitalize()):
        assert load_lot(written) == load_lot(LOT_NAMES[name])


def test_a_crop_answers_to_its_usual_names():
    """So that studies and published cases of maize are those of corn."""
    crops = {load_lot(name).crop for name in LOTS}
    assert set(CROP_NAMES.values()) <= crops and not crops & set(CROP_NAMES)
    assert parse_lot(table() | {"crop": "Corn"}, "own.toml", "own").crop == "maize"
    assert parse_lot(table() | {"crop": "lupin"}, "own.toml", "own").crop == "lupin"


@pytest.mark.parametrize(("name", "meant"), [("conr", "corn"), ("soybaens", "soybeans")])
def test_a_misspelt_name_has_a_hint(name, meant):
    with pytest.raises(BadInput, match=f"no such shipped lot; did you mean '{meant}'"):
        load_lot(name)
