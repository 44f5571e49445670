"""What an operator sets: steps in both families of units, ends of ranges, words."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from metersim.files.faults import BadInput
from metersim.machine.reading import load_scenario, shipped_scenarios
from metersim.questions.shared.settings import SETTINGS, can_move, moved, steps_text

BENCH = load_scenario("maize_bench")
SCENARIOS = [load_scenario(name) for name in shipped_scenarios()]
STEPS = {  # conversions are exact but for the inch of water, 249.08891 Pa
    ("notch", "metric"): 1,
    ("notch", "us"): 1,
    ("vacuum", "metric"): 500,
    ("vacuum", "us"): 2 * 249.08891,
    ("gate", "metric"): 0.005,
    ("gate", "us"): 0.25 * 0.0254,
    ("speed", "metric"): 1 / 3.6,
    ("speed", "us"): 0.5 * 0.44704,
    ("hole", "metric"): 0.00025,
    ("hole", "us"): 0.01 * 0.0254,
}
IN_WORDS = {
    ("notch", 1, "metric"): "one notch more aggressive",
    ("notch", -2, "us"): "two notches less aggressive",
    ("vacuum", 1, "metric"): "0.5 kPa more vacuum",
    ("vacuum", -1, "us"): "2 inH2O less vacuum",
    ("gate", 2, "metric"): "gate 10 mm higher",
    ("gate", -1, "us"): "gate 0.25 in lower",
    ("guide", 1, "us"): "inner guide fitted",
    ("guide", -1, "metric"): "inner guide taken off",
    ("speed", -1, "metric"): "1 km/h slower",
    ("speed", 1, "us"): "0.5 mph faster",
    ("hole", 1, "metric"): "holes 0.25 mm wider",
    ("hole", -1, "us"): "holes 0.01 in narrower",
}


@pytest.mark.parametrize(("name", "units"), STEPS)
@pytest.mark.parametrize("count", [-2, -1, 1, 2])
def test_a_step_is_as_far_as_it_says(name, units, count):
    there = moved(BENCH, {name: count}, units)
    setting = SETTINGS[name]
    far = setting.of(there) - setting.of(BENCH)
    assert far == pytest.approx(count * STEPS[name, units], rel=1e-9)


@pytest.mark.parametrize("name", SETTINGS)
@given(data=st.data())
def test_a_step_moves_one_setting_and_no_other(name, data):
    scenario = data.draw(st.sampled_from(SCENARIOS))
    count = data.draw(st.sampled_from([-1, 1]))
    if not can_move(scenario, {name: count}):
        return
    there = moved(scenario, {name: count})
    changed = [other for other, one in SETTINGS.items() if one.of(there) != one.of(scenario)]
    assert changed == [name]
    assert there.tube == scenario.tube and there.lot == scenario.lot


@pytest.mark.parametrize("name", ["notch", "vacuum", "gate", "speed", "hole"])
@pytest.mark.parametrize("units", ["metric", "us"])
def test_there_and_back_is_where_it_was(name, units):
    back = moved(moved(BENCH, {name: 2}, units), {name: -2}, units)
    assert SETTINGS[name].of(back) == pytest.approx(SETTINGS[name].of(BENCH), rel=1e-12)


@pytest.mark.parametrize(
    ("changes", "steps"),
    [
        ([], {"notch": 11}),  # the scale ends at 10
        ([], {"notch": 6}),  # 6 x 0.9 mm is more than the gap of 4.9 mm
        ([], {"vacuum": -9}),  # 4 kPa - 4.5 kPa is below none
        (["vacuum_kpa=14.8"], {"vacuum": 1}),  # above 15 kPa
        ([], {"gate": -11}),
        (["speed_kmh=1.4"], {"speed": -1}),
        ([], {"hole": 14}),  # 8 mm: seeds would be drawn through
    ],
)
def test_a_move_beyond_what_is_allowed_is_refused(changes, steps):
    scenario = load_scenario("maize_bench", changes)
    with pytest.raises(BadInput) as error:
        moved(scenario, steps)
    assert error.value.faults
    assert not can_move(scenario, steps)
    # negative control: one step the other way is allowed
    assert can_move(scenario, {name: -1 if count > 0 else 1 for name, count in steps.items()})


def test_a_switch_goes_one_way_only():
    fitted = moved(BENCH, {"guide": 1})
    assert fitted.guide.inner_guide and not BENCH.guide.inner_guide
    assert can_move(BENCH, {"guide": 1}) and not can_move(BENCH, {"guide": -1})
    assert can_move(fitted, {"guide": -1}) and not can_move(fitted, {"guide": 1})
    assert moved(fitted, {"guide": 0}).guide == fitted.guide


def test_nothing_moved_is_no_move():
    assert not can_move(BENCH, {}) and not can_move(BENCH, {"notch": 0})
    assert moved(BENCH, {}) == BENCH
    assert steps_text({}) == steps_text({"notch": 0}) == "as it is"


def test_a_setting_that_is_not_known_is_moved_from_its_middle():
    vague = load_scenario("maize_bench", ["vacuum_kpa={low = 3, high = 5}", "size_cv_percent=5"])
    there = moved(vague, {"vacuum": 1})
    assert there.vacuum.vacuum == pytest.approx(4500) and not there.unknown


@pytest.mark.parametrize(("name", "count", "units"), IN_WORDS)
def test_steps_are_said_in_plain_words(name, count, units):
    assert SETTINGS[name].words(count, units) == IN_WORDS[name, count, units]


def test_several_steps_are_said_together():
    words = steps_text({"notch": 1, "vacuum": -1})
    assert words == "one notch more aggressive and 0.5 kPa less vacuum"
    assert SETTINGS["notch"].words(4) == "4 notches more aggressive"


def test_only_the_hole_is_another_part():
    assert [name for name, setting in SETTINGS.items() if setting.part] == ["hole"]
