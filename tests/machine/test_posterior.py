"""Draws of coefficients: files and back, faults in one line, and scenarios that name a meter."""

import dataclasses
import json
import math

import numpy as np
import pytest

import metersim as m
from metersim.cli import main
from metersim.files.faults import BadInput
from metersim.machine.coefficients import USUAL
from metersim.machine.given import scenario_of, scenario_toml
from metersim.machine.posterior import (
    SHIPPED,
    Posterior,
    read_meter,
    read_posterior,
    shipped_posterior,
)
from metersim.machine.reading import load_scenario
from metersim.machine.stations import stations_of, usual_stations
from metersim.run.records import provenance

METER = """
title = "my meter"
made = "by hand"
[draws]
draw_slowness = [1.0, 2.0, 6.0]
hop = [0.01, 0.02, 0.03]
[discrepancy]
share = [0.003, 0.004, 0.005]
spread = [0.1, 0.1, 0.1]
"""


@pytest.fixture
def named(tmp_path):
    """A scenario beside a meter file of this text."""

    def make(text=METER, folder=tmp_path):
        (folder / "my_meter.toml").write_text(text)
        path = folder / "mine.toml"
        path.write_text('title = "mine"\nextends = "maize_bench"\nmeter = "my_meter.toml"\n')
        return path

    return make


def test_shipped_draws_differ_and_come_back_from_a_file(tmp_path):
    found = shipped_posterior()
    assert len(set(found.draws)) == len(found.draws) >= 128
    assert found.to_csv() == SHIPPED.read_text()
    assert 0 < found.share_sd < 0.1 and 0 < found.spread_sd < 0.5
    other = Posterior(
        draws=(USUAL, dataclasses.replace(USUAL, resistance=7.0)),
        share=(0.0, 0.01),
        spread=(0.0, 0.1),
        made="two lines\nof it",
    )
    (tmp_path / "other.csv").write_text(other.to_csv())
    assert read_posterior(tmp_path / "other.csv") == other
    assert other.varied == ("resistance",) and other.middle.resistance == 7.5
    assert other.share_sd == pytest.approx(0.01 / math.sqrt(2))


def test_the_first_draws_represent_all_of_them():
    found = shipped_posterior()
    for name in found.varied:
        every = np.array([getattr(draw, name) for draw in found.draws])
        every = np.log(every) if every.min() > 0 else every
        error = every.std() / math.sqrt(32)
        assert abs(every[:32].mean() - every.mean()) < 2 * error
        assert every[:32].std() == pytest.approx(every.std(), rel=2 / math.sqrt(64))


def test_a_scenario_takes_its_coefficients_from_itself():
    scenario = m.load_scenario("maize_bench")
    assert scenario.coefficients is USUAL and scenario.posterior is shipped_posterior()
    other = dataclasses.replace(USUAL, draw_slowness=4.0)
    mine = dataclasses.replace(scenario, coefficients=other)
    assert stations_of(mine) == stations_of(scenario, other) != stations_of(scenario)
    assert stations_of(mine, USUAL) == stations_of(scenario)
    assert (
        mine.replace(vacuum__vacuum=3e3).coefficients == scenario_of(mine, "notch=1").coefficients
    )
    runs = [m.simulate(one, seed=2).origin for one in (scenario, mine)]
    made = [provenance(run) for run in runs]
    assert "coefficients_si" not in made[0] and not runs[1].replaced
    assert made[1].pop("coefficients_si") == {"draw_slowness": 4.0} and made[0] == made[1]


def test_an_own_station_follows_the_coefficients_or_keeps_its_value():
    class Slick(m.TubeStation):
        pass

    kind = m.fitted("maize_bench", {"tube": Slick})
    value = m.fitted("maize_bench", {"tube": m.like(Slick, stations_of("maize_bench").tube)})
    other = dataclasses.replace(USUAL, contacts=USUAL.contacts / 2)
    tubes = [
        stations_of(dataclasses.replace(one, coefficients=other)).tube for one in (kind, value)
    ]
    assert [tube.coefficients for tube in tubes] == [other, USUAL]
    assert usual_stations(value).tube.coefficients == USUAL


def test_a_meter_file_gives_the_draws_and_the_middle(named, tmp_path, monkeypatch):
    scenario = load_scenario(named())
    assert scenario.posterior.title == "my meter" and scenario.posterior.share[0] == 0.003
    assert [draw.draw_slowness for draw in scenario.posterior.draws] == [1.0, 2.0, 6.0]
    assert scenario.posterior.draw(4) == scenario.posterior.draw(1)
    assert (scenario.posterior.draw(4).draw_slowness, scenario.posterior.draw(4).hop) == (2.0, 0.02)
    assert (scenario.coefficients.draw_slowness, scenario.coefficients.hop) == (2.0, 0.02)
    assert scenario.coefficients.resistance == USUAL.resistance
    (tmp_path / "below").mkdir()
    deeper = tmp_path / "below" / "deeper.toml"
    deeper.write_text('title = "deeper"\nextends = "../mine.toml"\n[singulator]\nnotch = 1\n')
    assert load_scenario(deeper).meter == scenario.meter
    monkeypatch.chdir(tmp_path)
    (tmp_path / "written.toml").write_text(scenario_toml(scenario))
    written = load_scenario("written.toml")
    assert (written.meter, written.coefficients) == (scenario.meter, scenario.coefficients)
    made = provenance(m.simulate(scenario.lasting(60)).origin)
    assert made["meter"] == {"file": "my_meter.toml", "title": "my meter"}


@pytest.mark.parametrize(
    ("old", "new", "said"),
    [
        ("hop", "hopp", "draws.hopp: no coefficient; did you mean 'hop'?"),
        ("0.02", '"x"', "draws.hop: 'x' is not allowed; give a number from 0 to 0.3"),
        ("6.0", "60.0", "draws.draw_slowness: 60.0 is not allowed"),
        ("0.01, ", "", "draws.hop: has 2 values; others have 3"),
        ("spread = [0.1, 0.1, 0.1]", "", "discrepancy.spread: missing"),
        ("share", "shares", "discrepancy.shares: unknown key"),
        ("title", "name", "name: unknown key"),
        ("[discrepancy]", "[discrepancies]", "discrepancies: unknown key"),
        ("[0.01, 0.02, 0.03]", "0.01", "draws.hop: must be a list of numbers"),
        ('"by hand"', '""', "made: missing or not a text"),
    ],
)
def test_a_bad_meter_file_is_refused(named, old, new, said):
    with pytest.raises(BadInput, match=r"my_meter\.toml") as caught:
        load_scenario(named(METER.replace(old, new)))
    assert said in str(caught.value)


def test_a_meter_that_is_not_there_is_a_fault_of_the_scenario(named, tmp_path, capsys):
    path = named()
    (tmp_path / "my_meter.toml").unlink()
    assert main(["run", str(path)]) == 2
    assert "mine.toml: meter: 'my_meter.toml': cannot be read" in capsys.readouterr().err
    path.write_text(path.read_text().replace('"my_meter.toml"', "3"))
    with pytest.raises(BadInput, match="meter: must be the path of a meter file, in quotes"):
        load_scenario(path)
    with pytest.raises(BadInput, match="draws: needs a coefficient with two draws or more"):
        single = tmp_path / "single.toml"
        single.write_text(METER.replace("[draws]\ndraw_slowness = [1.0, 2.0, 6.0]", "[draws]"))
        read_meter(str(_one(single)))


def _one(path):
    text = path.read_text().replace("[0.01, 0.02, 0.03]", "[0.01]")
    path.write_text(
        text.replace("[0.003, 0.004, 0.005]", "[0.003]").replace("[0.1, 0.1, 0.1]", "[0.1]")
    )
    return path


def test_a_bad_table_of_draws_is_refused(tmp_path):
    path = tmp_path / "draws.csv"
    for text, said in (
        ("hop,share,spread\n0.1,0.1,0.1\n0.1,x,0.1\n", "row 3, share: 'x' is no number"),
        ("hopp,share,spread\n0.1,0.1,0.1\n0.1,0.1,0.1\n", "no coefficient"),
        ("hop,spread\n0.1,0.1\n0.1,0.1\n", "share: missing"),
        ("hop,hop,share,spread\n1,1,1,1\n", "names a column twice"),
    ):
        path.write_text(text)
        with pytest.raises(BadInput, match=r"draws\.csv") as caught:
            read_posterior(path)
        assert said in str(caught.value)
    assert json.dumps(shipped_posterior().made)  # a text
