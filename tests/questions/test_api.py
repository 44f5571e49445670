"""What a student may type: names, own stations, results by key, and messages without options."""

import dataclasses
import pickle
import re
from concurrent.futures import ProcessPoolExecutor
from pathlib import Path

import numpy as np
import pytest

import metersim as m
from metersim.files.faults import BadInput, Fault, Parameter
from metersim.machine.given import scenario_of
from metersim.machine.reading import shipped_scenarios
from metersim.machine.stations import usual_stations
from metersim.measures.indices import read_limit
from metersim.questions.shared.notes import notes
from metersim.questions.shared.options import typed
from metersim.questions.shared.unknowns import run_draws
from metersim.run.simulation import simulate_cells
from tests.golden.plain import plain, table

SHORT = "turns=12"
FIELD = m.load_scenario("maize_field", SHORT)
BENCH = m.load_scenario("maize_bench", SHORT)
COUNT = m.look_of_seeds(300, skips=4, doubles=12)
ASKED = ["rate_per_ha=110000", "row_spacing_cm=50", "speed_kmh=6"]
BEET = [disc for disc in m.load_discs() if "beet" in disc.meant_for][:1]


class Eager(m.SingulatorStation):
    """Knocks off seeds that the edge does not touch, too."""

    def deviate(self, reach, outward, share, vacuum_ratio, at):
        return np.maximum(super().deviate(reach, outward, share, vacuum_ratio, at), -2.0)


class AsUsual(m.SingulatorStation):
    """No other than the usual one."""


OWN = ({"singulator": AsUsual}, {"singulator": Eager})
NAMING = "metersim.questions.habits.study.name_causes"


class LowGate(m.GateStation):
    """A gate that holds back half of the pool."""

    def full(self, at):
        return super().full(at) // 2


class SameGate(m.GateStation):
    """No other than the usual one."""


def swept(stations):
    plan = m.plan_sweep(BENCH, "vacuum_kpa=2,4", stations=stations)
    return table(m.sweep(plan).to_dataframe())


def tape(stations):
    spacings = Path("tape.csv")
    rows = 0.169 * np.cumsum(np.tile([1.0] * 9 + [2.0], 14))
    spacings.write_text("\n".join(["position_m", *map(str, rows)]))
    return table(m.measured(BENCH, spacings, stations=stations).to_dataframe())


def vague(stations):
    scenario = BENCH.replace(run__turns=4)
    scenario = scenario_of(scenario, "vacuum_kpa={low = 3, high = 5}")
    return table(m.spread(scenario, draws=3, stations=stations).to_dataframe())


def moves(stations):
    found = m.next_move(BENCH, COUNT, runs=40, each=20, stations=stations)
    return table(found.to_dataframe())


STUDIES = {
    "simulate": lambda own: table(m.simulate(BENCH, stations=own).to_dataframe()),
    "simulate by events": lambda own: table(
        m.simulate(BENCH.replace(run__turns=3), stations=own, engine="events").to_dataframe()
    ),
    "cells alone": lambda own: plain(simulate_cells(m.fitted(BENCH, own))),
    "tallied": lambda own: table(m.measure(m.tallied(BENCH, stations=own)).to_dataframe()),
    "compare": lambda own: table(m.compare(BENCH, vary="notch=0,1", stations=own).to_dataframe()),
    "plan_sweep": swept,
    "steps": lambda own: table(m.steps(BENCH, cells=300, draws=2, stations=own).to_dataframe()),
    "howmany": lambda own: table(m.howmany(BENCH, cells=2000, stations=own).to_dataframe()),
    "learn": lambda own: table(
        m.learn(
            BENCH,
            m.look_of_seeds(400, skips=10, doubles=3),
            machines=24,
            cells=600,
            ahead=False,
            stations=own,
        ).to_dataframe()
    ),
    "next_move": moves,
    "habits": lambda own: table(
        m.habits(BENCH, meters=1, count=50, grid=3, stations=own).to_dataframe()
    ),
    "measured": tape,
    "plants": lambda own: table(m.plants(FIELD, stations=own).to_dataframe()),
    "spread": vague,
    "redraw": lambda own: next(m.redraw(BENCH, draws=0, stations=own)).to_dict(),
}


@pytest.mark.study
@pytest.mark.slow
@pytest.mark.parametrize("name", STUDIES)
def test_an_own_station_is_heard_in_every_study(name, tmp_path, monkeypatch):
    """A subclass that changes nothing gives the same numbers, and one that does gives others."""
    monkeypatch.chdir(tmp_path)
    monkeypatch.setattr(NAMING, lambda scenario, trials, *rest, **more: trials)  # it takes long
    usual, same, other = (STUDIES[name](own) for own in (None, *OWN))
    assert repr(same) == repr(usual)  # in which nan is nan
    assert repr(other) != repr(usual)


@pytest.mark.study
@pytest.mark.slow
def test_a_start_sheet_is_made_with_own_stations(monkeypatch):
    for name, few in (("CELLS", 4_000), ("TRIED_CELLS", 1_500), ("VACUUMS", 6), ("TRAVEL", 1)):
        monkeypatch.setattr(f"metersim.questions.sheet.start.{name}", few)
    for name, few in (("DRAWN_CELLS", 1_000), ("DRAWS", 6)):
        monkeypatch.setattr(f"metersim.questions.sheet.study.{name}", few)
    usual = m.sheet("sugar_beet", ASKED, discs=BEET)
    same = m.sheet("sugar_beet", ASKED, discs=BEET, stations={"singulator": AsUsual})
    for name in ("field", "bench", "stand", "field_spread", "bench_spread"):
        one, other = (repr(table(getattr(one, name).to_dataframe())) for one in (same, usual))
        assert one == other, name
    assert repr(table(same.to_dataframe())) == repr(table(usual.to_dataframe()))
    for part in (same.field, same.bench, same.stand.measured, same.fits[0].measured):
        assert part.origin.replaced == {"singulator": "AsUsual"}
    assert same.scenario.own and not usual.field.origin.replaced


def test_explaining_asks_own_stations_too():
    usual = m.explain(BENCH)
    same, low = (m.explain(BENCH, {"gate": kind}) for kind in (SameGate, LowGate))
    assert plain(same) == plain(usual) and same.replaced == {"gate": "SameGate"}
    assert low.pool_seeds == usual.pool_seeds // 2 and not usual.replaced


def test_a_class_a_function_and_a_value_give_the_same_run():
    value = m.like(Eager, m.stations_of(BENCH).singulator)
    every = dataclasses.replace(m.stations_of(BENCH), singulator=value)
    given = [
        {"singulator": Eager},
        {"singulator": value},
        {"singulator": lambda scenario: m.like(Eager, m.stations_of(scenario).singulator)},
        lambda scenario: {"singulator": Eager},
        lambda scenario: dataclasses.replace(m.stations_of(scenario), singulator=value),
        every,
    ]
    runs = [m.simulate(BENCH, stations=one) for one in given]
    positions = [run.seeds.position for run in runs]
    assert all(np.array_equal(one, positions[0]) for one in positions)
    assert all(run.replaced == {"singulator": "Eager"} for run in runs)
    assert len(positions[0]) != len(m.simulate(BENCH).seeds)  # control


def test_a_scenario_keeps_its_own_stations_until_they_are_taken_off():
    run = m.simulate(BENCH, stations={"singulator": Eager})
    again = m.simulate(run.scenario)
    assert again.replaced == run.replaced
    assert np.array_equal(again.seeds.position, run.seeds.position)
    assert m.simulate(run.scenario, stations={}).replaced == {}
    assert m.fitted(run.scenario, {}) == BENCH != run.scenario


def test_a_class_follows_what_a_study_sets():
    scenario = m.fitted(BENCH, {"singulator": Eager})
    moved = scenario.replace(singulator__notch=1.0)
    usual = usual_stations(BENCH.replace(singulator__notch=1.0)).singulator
    assert m.stations_of(moved).singulator == m.like(Eager, usual)


def test_a_value_is_refused_where_a_study_moves_its_settings_and_taken_elsewhere():
    value = {"singulator": m.like(Eager, m.stations_of(BENCH).singulator)}
    with pytest.raises(ValueError, match=r"give the class, stations=\{'singulator': Eager\}"):
        m.compare(BENCH, vary="notch=0,1", stations=value)
    with pytest.raises(ValueError, match="is a value with settings of its own"):
        m.next_move(BENCH, COUNT, runs=40, each=20, stations=value)
    found = m.compare(BENCH, vary="vacuum_kpa=3,4", stations=value)
    assert [part.origin.replaced for part in found.measured] == [{"singulator": "Eager"}] * 2


def test_draws_leave_a_value_as_it_is_and_move_the_rest():
    """The lot's range and the machine are drawn; a range of the station's own setting is not."""
    value = m.like(Eager, m.stations_of(BENCH).singulator)
    own = m.fitted(BENCH.replace(run__turns=2), {"singulator": value})
    assert own.unknown
    rows = [one.scenario for (one,) in run_draws(own, draws=3, seed=1)]
    drawn = [m.stations_of(one) for one in rows]
    assert all(one.singulator is value for one in drawn)
    assert len({one.seeds.size_cv for one in rows}) == len({one.coefficients for one in rows}) == 3
    assert len({one.pickup.coefficients for one in drawn}) == 3  # negative control
    (line,) = (one for one in notes(m.measure(m.tallied(own))) if "replaced" in one)
    assert line == (
        "station 'singulator' is replaced by Eager; draws of seed and machine do not change it"
    )
    vague = scenario_of(own, "notch={low = 0, high = 1}")
    with pytest.raises(ValueError, match="is a value with settings of its own"):
        m.spread(vague, draws=2)
    with pytest.raises(ValueError, match="is a value with settings of its own"):
        m.spread(own.replace(singulator__notch=1.0), draws=2)
    every = dataclasses.replace(m.stations_of(BENCH), singulator=value)
    m.spread(BENCH.replace(run__turns=2), draws=2, stations=every)


def test_what_is_no_station_is_said():
    with pytest.raises(BadInput, match="stations: singulater: no station; did you mean 'singul"):
        m.simulate(BENCH, stations={"singulater": Eager})
    with pytest.raises(BadInput, match="tube: Eager is no subclass of TubeStation"):
        m.simulate(BENCH, stations={"tube": Eager})
    with pytest.raises(BadInput, match="no station; did you mean 'gate'"):
        m.simulate(BENCH, stations=lambda scenario: {"gat": LowGate})
    with pytest.raises(ValueError, match="a run has its stations already"):
        m.plants(m.simulate(FIELD), stations={"singulator": Eager})


def test_a_comparison_may_have_an_own_station_in_one_scenario_alone():
    found = m.compare(BENCH, m.fitted(BENCH, {"singulator": Eager}), labels=["usual", "eager"])
    assert [part.origin.replaced for part in found.measured] == [{}, {"singulator": "Eager"}]
    assert found.spreads[0].at_middle("cells.skip").low > 0


def test_own_stations_reach_other_processes_or_are_refused(tmp_path):
    plan = m.plan_sweep(BENCH, "vacuum_kpa=2,4", stations={"singulator": Eager})
    with ProcessPoolExecutor(1) as executor:
        there = m.sweep(plan, executor=executor)
        assert np.array_equal(there.values, m.sweep(plan).values, equal_nan=True)

        class Local(Eager):
            pass

        local = m.plan_sweep(BENCH, "vacuum_kpa=2,4", stations={"singulator": Local})
        with pytest.raises(BadInput, match="define them at the top of a module"):
            m.sweep(local, executor=executor)
        with pytest.raises(BadInput, match="define them at the top of a module"):
            m.steps(BENCH, executor=executor, stations=lambda scenario: {})


def test_rows_of_other_stations_are_not_gone_on_with(tmp_path):
    plans = [
        m.plan_sweep(BENCH, "vacuum_kpa=2,4", stations=own) for own in (None, {"gate": LowGate})
    ]
    usual, own = ("\n".join(plan.origin()) for plan in plans)
    assert "stations" not in usual and "test_api.LowGate" in own
    out = tmp_path / "rows.csv"
    m.sweep(plans[0], out=out)
    with pytest.raises(BadInput, match="ask for the same, or give another"):
        m.sweep(plans[1], out=out, resume=True)


# names, and scenarios of one's own


def same(one, other):
    return repr(plain(one)) == repr(plain(other))


@pytest.mark.study
@pytest.mark.slow
@pytest.mark.parametrize(
    "study",
    [
        lambda one: m.simulate(one).seeds.position[:50],
        lambda one: m.tallied(one).sums["none"],
        m.explain,
        m.stations_of,
        lambda one: table(m.compare(one, vary="notch=0,1", changes=SHORT).to_dataframe()),
        lambda one: table(m.sweep(m.plan_sweep(one, "notch=0,1", changes=SHORT)).to_dataframe()),
        lambda one: table(m.steps(one, cells=300, draws=2).to_dataframe()),
        lambda one: table(m.howmany(one, one, cells=600).to_dataframe()),
        lambda one: table(m.next_move(one, COUNT, runs=40, each=20, wanted=one).to_dataframe()),
        lambda one: dict(m.plants(one)),
        lambda one: table(m.spread(one, draws=2).to_dataframe()),
    ],
)
def test_a_name_a_file_and_a_scenario_are_the_same(study, tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    name = "maize_field"
    named = study(name)
    assert same(named, study(shipped_scenarios()[name]))
    assert same(named, study(m.load_scenario(name)))


def test_habits_and_measured_spacings_take_a_name():
    for study in (m.habits, lambda name: m.measured(name, "tape.csv")):
        with pytest.raises(BadInput, match="no such file or shipped scenario; did you mean 'maiz"):
            study("maize_bensh")


@pytest.mark.parametrize(
    "changes",
    [
        ["vacuum_kpa=3.5", "notch=1"],
        ["vacuum_inh2o=14"],
        ["lot=maize_small_round", "tube_wear=0.2"],
        ["vacuum_kpa={low=3, high=4}", "hole_diameter_mm={low=4.2, high=4.8}"],
        ["surface=field", "turns=5"],
    ],
)
def test_keys_of_a_scenario_change_as_those_of_its_file_do(changes):
    made = scenario_of(m.load_scenario("maize_bench"), changes)
    assert made == m.load_scenario("maize_bench", changes)
    assert scenario_of(made, "vacuum_kpa=2").vacuum.vacuum == 2000
    known = ["vacuum_kpa=2", "hole_diameter_mm=4.5", "size_cv_percent=5"]
    assert not scenario_of(made, known).unknown


def test_every_fault_of_changes_is_told_of_a_scenario_of_ones_own():
    with pytest.raises(BadInput) as told:
        scenario_of(BENCH, ["vacuum_kpa=99", "vacum=1", "notch=x"])
    assert [(f.where, f.key) for f in told.value.faults] == [
        ("changes", "vacum"),
        ("changes", "vacuum.vacuum_kpa"),
        ("changes", "singulator.notch"),
    ]
    with pytest.raises(TypeError, match="a scenario is a Scenario, a name or a file"):
        m.simulate(m.simulate(BENCH))


@pytest.mark.slow
def test_a_worn_meter_of_ones_own_is_swept_and_stepped():
    worn = BENCH.replace(tube__tube_wear=0.8)
    plan = m.plan_sweep(worn, "vacuum_kpa=2,4")
    assert plan.base == worn and m.sweep(plan).values.shape[:2] == (2, 1)
    lots = m.plan_sweep(worn, "lot=maize_small_round,maize_large_flat")
    assert {base.tube.tube_wear for base in lots.bases.values()} == {0.8}
    assert m.steps(worn, cells=300).origin.scenario.tube.tube_wear == 0.8


# results by key


@pytest.fixture(scope="module")
def results():
    run = m.simulate(FIELD)
    comparison = m.compare(FIELD, vary="notch=0,1", plants=True, draws=2)
    unknown = m.spread(scenario_of(FIELD, "vacuum_kpa={low=2, high=4}"), draws=2)
    steps = m.steps(FIELD, cells=300, draws=2)
    return {
        "measured": (m.measure(run), "cells.skp", "cells.skip"),
        "stand": (m.plants(run), "plants.ds", "plants.sd"),
        "differences": (comparison.differences[0], "cells.skp", "cells.skip"),
        "pairings": (comparison.pairings[0], "cells.skp", "cells.skip"),
        "stand changes": (comparison.stand_changes[0].measures, "plants.ds", "plants.sd"),
        "spread": (unknown.estimates, "cells.skp", "cells.skip"),
        "draws": (unknown.draws.values, "cells.skp", "cells.skip"),
        "steps": (steps.differences[0], "skip", "skips"),
        "one step": (steps.base.estimates, "skip", "skips"),
        "shares": (steps.base.shares, "skip", "skips"),
    }


@pytest.mark.slow
def test_results_are_mappings_that_say_what_a_key_may_have_meant(results):
    for name, (found, wrong, right) in results.items():
        assert right in found and wrong not in found, name
        assert [*found] == [*found.keys()] and len(found) == len(dict(found)) > 2, name
        assert repr(dict(found)[right]) == repr(found[right]), name
        with pytest.raises(KeyError, match=f"'{wrong}' is no .*; did you mean '{right}'"):
            found[wrong]


@pytest.mark.slow
def test_measured_spacings_are_a_mapping_too(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    tape(None)
    found = m.measured(BENCH, "tape.csv")
    assert "fit.skip" in found and found["fit.skip"] is dict(found)["fit.skip"]
    with pytest.raises(KeyError, match=r"'fit\.skips' is no measure; did you mean 'fit\.skip'"):
        found["fit.skips"]


@pytest.mark.slow
def test_habits_are_asked_by_names(monkeypatch):
    monkeypatch.setattr(NAMING, lambda scenario, trials, *rest, **more: trials)
    found = m.habits(BENCH, meters=1, count=20, grid=3)
    for wrong, message in (
        (("singel", "one notch"), "'singel' is no measure; did you mean 'single'"),
        (("single", "one noch"), "'one noch' is no habit; did you mean 'one notch'"),
    ):
        with pytest.raises(KeyError, match=message):
            found.mean(*wrong)


def test_measures_with_intervals_of_both_causes_say_what_a_key_may_have_meant():
    found = m.spread(scenario_of(BENCH, "vacuum_kpa={low=2, high=4}"), draws=2)
    for part in (found.sampling, found.inputs, found.total, found.is_detected):
        with pytest.raises(KeyError, match=r"did you mean 'cells\.skip'"):
            part("cells.skp")
    swept = m.sweep(m.plan_sweep(BENCH, "notch=0,1"))
    with pytest.raises(KeyError, match=r"did you mean 'cells\.skip'"):
        swept.estimates("cells.skp")


def test_results_stay_helpful_when_they_have_been_sent():
    (found,) = m.compare(BENCH, vary="notch=0,1").differences
    sent = pickle.loads(pickle.dumps(found))
    assert sent == found
    with pytest.raises(KeyError, match="did you mean"):
        sent["cells.skp"]


def test_columns_of_a_sweep_have_the_names_of_the_measures():
    found = m.sweep(m.plan_sweep(BENCH, "notch=0,1")).to_dataframe()
    for key in m.measure(m.simulate(BENCH)):
        assert {key, f"{key}_low", f"{key}_high"} <= {*found.columns}


# messages

WRONG = {
    "changes": lambda: m.load_scenario("maize_bench", "vacum_kpa=3"),
    "a lot": lambda: m.load_scenario(m.machine.seedlot.SHIPPED / "canola.toml"),
    "nothing to compare": lambda: m.compare("maize_bench"),
    "vary": lambda: m.compare("maize_bench", vary="notch=1"),
    "a range": lambda: m.compare("maize_bench", vary="notch={low=1,high=2}"),
    "turns": lambda: m.compare("maize_bench", vary="turns=1,2"),
    "plants": lambda: m.plants("maize_bench"),
    "sweep nothing": lambda: m.plan_sweep("maize_bench", []),
    "sweep turns": lambda: m.plan_sweep("maize_bench", "turns=1,2"),
    "sweep plants": lambda: m.plan_sweep("maize_field", "emergence_percent=80,90"),
    "sweep twice": lambda: m.plan_sweep("maize_bench", "notch=0,1", changes="notch=1"),
    "replicates": lambda: m.plan_sweep("maize_bench", "notch=0,1", replicates=0),
    "design": lambda: m.plan_sweep("maize_bench", "notch=0,1", design="all"),
    "points": lambda: m.plan_sweep("maize_bench", "notch=0:1", design="latin", points=1),
    "no point": lambda: m.sweep(m.plan_sweep("maize_bench", "notch=9,10")),
    "response": lambda: m.respond(m.sweep(m.plan_sweep(BENCH, "notch=0,1")), "skips"),
    "limit": lambda: read_limit("per_spacing.miss"),
    "also": lambda: m.next_move("maize_bench", COUNT, also=["fan"]),
    "wanted": lambda: m.next_move(BENCH, COUNT, runs=40, each=20, skips_most=0.6, doubles_most=0.6),
    "sheet": lambda: m.sheet("sugar_beet", ["speed_kmh=6", "notch=1"]),
}


@pytest.mark.parametrize("name", WRONG)
def test_a_message_of_python_names_no_option(name):
    with pytest.raises(BadInput) as told:
        WRONG[name]()
    assert "--" not in str(told.value)


def test_rows_that_are_there_are_told_of_without_options(tmp_path):
    plan = m.plan_sweep(BENCH, "notch=0,1")
    m.sweep(plan, out=tmp_path / "rows.csv")
    with pytest.raises(BadInput, match="go on with it by `resume`") as told:
        m.sweep(plan, out=tmp_path / "rows.csv")
    assert "--" not in str(told.value)


def test_no_fault_outside_of_commands_names_an_option():
    """Commands and options know what is typed; texts of commands may name it, too."""
    package = Path(m.__file__).parent
    typed_there = {
        "command.py",
        "options.py",
        "answer.py",
        "cli.py",
        "text.py",
        "whole.py",
        "plantwords.py",
        "countoptions.py",
        "faultcommand.py",
        "machinecommand.py",
        "signoptions.py",
        "causeanswer.py",
        "used.py",
        "pattern.py",
        "ownwords.py",
    }
    typed_there |= {"style.py", "hidden.py"}  # names of a style sheet; the game of a command
    option = re.compile(r"--[a-z]")
    for path in package.rglob("*.py"):
        if path.name not in typed_there:
            assert not option.search(path.read_text()), path
    for name in ("options.py", "whole.py"):  # control
        assert any(option.search(path.read_text()) for path in package.rglob(name))


def test_the_command_line_names_options_in_place_of_parameters():
    message = "is also set with `changes`; go on with `resume`, not `x`"
    fault = typed(Fault(Parameter("limits"), "notch", message))
    assert str(fault) == "--accept: notch: is also set with --set; go on with --resume, not `x`"
    assert str(typed(Fault(Parameter("skips_most"), "", "no"))) == "--accept: no"
    everywhere = Fault(Parameter("vary, at every point"), "", "no")
    assert str(typed(everywhere)) == "--vary, at every point: no"
    assert str(typed(Fault("vary", "", "a file of that name"))) == "vary: a file of that name"
