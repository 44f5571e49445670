"""What a comparison compares: from names, files, one key that is varied, or scenarios."""

import pytest

from metersim.files.faults import BadInput
from metersim.machine.reading import load_scenario, shipped_scenarios
from metersim.questions.compare.study import compare
from metersim.questions.shared.settings import variants
from metersim.questions.sweep.plan import plan_sweep
from tests.strategies import BENCH, near

SHORT = ["turns=4"]


def test_a_key_that_is_varied_makes_what_loading_each_value_makes():
    made = variants("maize_bench", vary="notch = 0, 1", changes=SHORT)
    assert made == {
        f"notch={notch}": load_scenario("maize_bench", [*SHORT, f"notch={notch}"])
        for notch in (0, 1)
    }


def test_a_single_change_may_come_alone():
    """A text is one change, not its letters, wherever changes are given."""
    assert load_scenario("maize_bench", "turns=4") == load_scenario("maize_bench", SHORT)
    alone, many = (variants("maize_bench", vary="notch=0,1", changes=c) for c in (SHORT[0], SHORT))
    assert alone == many
    alone = plan_sweep("maize_bench", "notch=0,1", changes=SHORT[0])
    assert alone == plan_sweep("maize_bench", ["notch=0,1"], changes=SHORT)


def test_names_files_and_scenarios_go_together():
    path = shipped_scenarios()["gate_too_low"]
    made = variants("maize_bench", path, BENCH)
    assert list(made) == ["maize_bench", "gate_too_low", BENCH.name]
    assert made["gate_too_low"] == load_scenario("gate_too_low")
    assert made[BENCH.name] is BENCH


def test_what_is_called_alike_is_told_apart_by_what_is_changed(tmp_path):
    changed = [load_scenario("maize_bench", [f"notch={notch}"]) for notch in (0, 1)]
    assert list(variants(*changed)) == ["maize_bench, notch=0", "maize_bench, notch=1"]
    path = tmp_path / "maize_bench.toml"
    path.write_text('extends = "maize_bench"\n')
    assert list(variants("maize_bench", path)) == ["maize_bench", str(path)]
    with pytest.raises(BadInput, match=r"unnamed: is there twice; .* give labels"):
        variants(BENCH, BENCH)
    assert list(variants(BENCH, BENCH, labels=["this", "again"])) == ["this", "again"]


def test_what_cannot_be_compared_is_refused():
    for scenarios, vary in (((), None), (("maize_bench",), None), (("a", "b"), "notch=0,1")):
        with pytest.raises(BadInput, match="give either `vary` key=a,b or a second scenario"):
            variants(*scenarios, vary=vary)
    with pytest.raises(BadInput, match="notch=1: is there twice"):
        variants("maize_bench", vary="notch=0,1,1")
    with pytest.raises(ValueError, match="2 scenarios with 3 labels"):
        variants("maize_bench", "maize_field", labels=list("abc"))


def test_a_scenario_of_ones_own_is_varied_and_changed_as_its_file_is():
    here = load_scenario("maize_bench")
    named, mine = (variants(one, vary="notch=0,1", changes=SHORT) for one in ("maize_bench", here))
    assert mine == named
    with pytest.raises(BadInput, match="changes: vacum: unknown key"):
        variants(here, here, changes="vacum=1", labels=["this", "again"])


def test_every_fault_is_told_at_once():
    with pytest.raises(BadInput) as told:
        variants("maize_bench", vary="vacuum_kpa=99,-1", changes=["vacum=1"])
    assert len(told.value.faults) == 3
    with pytest.raises(BadInput) as told:
        variants("maize_bensh", "maize_feild")
    assert len(told.value.faults) == 2


@pytest.mark.slow
def test_both_engines_compare_alike():
    given = {"vary": "notch=0,1", "changes": SHORT, "replicates": 2}
    events = compare("maize_bench", **given, engine="events", keep=True)
    arrays = compare("maize_bench", **given)
    for one, other in zip(events.differences, arrays.differences, strict=True):
        assert one.keys() == other.keys()
        for key, change in one.items():
            assert near([*change.to_dict().values()], [*other[key].to_dict().values()]), key
    for one, other in zip(events.measured, arrays.measured, strict=True):
        for name, sums in one.sums.items():
            assert near(sums, other.sums[name]), name
    with pytest.raises(ValueError, match="replicates is 0; allowed: 1 or more"):
        compare("maize_bench", vary="notch=0,1", replicates=0)
    for keep in (False, True):
        with pytest.raises(
            ValueError, match="engine is 'event'; allowed: arrays, events or compiled"
        ):
            compare("maize_bench", **given, engine="event", keep=keep)
