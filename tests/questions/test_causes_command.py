"""``metersim next`` with signs: what it says, draws and refuses, and when it answers as before."""

import json
from functools import cache

import pytest

import metersim as m
from metersim.cli import main
from metersim.questions.next import causecommand, command
from metersim.questions.next.causeanswer import causes_answer, first_check, likely_text
from metersim.questions.next.causefigure import causes_figure, drawn_lines
from metersim.questions.next.causes import Causes, find_causes
from metersim.questions.next.causewritten import causes_json
from metersim.questions.next.checks import next_checks
from metersim.questions.next.hypotheses import ELSE
from metersim.questions.next.signs import Signs
from metersim.questions.next.study import next_move
from metersim.questions.shared.answer import LINES, MOST_ROWS
from metersim.questions.shared.looks import SENSOR
from metersim.questions.shared.notes import STOPPED
from metersim.questions.shared.words import WIDE
from tests.questions.pages import check_page
from tests.questions.test_causes import DARK, FIELD, FOUR, HOLE, LOW, WEAK, known

COUNT = ("--counted", "500", "--skips", "110", "--doubles", "8", "--counted-by", "sensor")
MANY = known(
    lens=DARK, fan=WEAK, vacuum_low=LOW, plugged_holes=HOLE, edge_near={"skips": 0.2}, gauge={},
    hose_leak=LOW, chamber_open={"skips": 0.7, "gauge": 0.3, "rows": 0.0}, small_seed={"rows": 1.0},
    tube_worn={"onset": 1.0, "scatter": 0.4}, drive={"used": 0.8, "skips": 0.2},
)  # fmt: skip


@cache
def seen(**given):
    return find_causes(FIELD, Signs(**given), known=MANY, seed=1)


@pytest.fixture(autouse=True)
def by_hand(monkeypatch):
    """Signatures made by hand in place of simulations."""

    def quick(scenario, signs, *, seed, executor):
        return find_causes(scenario, signs, known=MANY, seed=seed)

    monkeypatch.setattr(causecommand, "find_causes", quick)


def answer(capsys, *words, scenario="maize_field"):
    status = main(["next", scenario, *words])
    said = capsys.readouterr()
    assert (status, said.err) == (0, ""), said.err
    return said.out


def refused(capsys, *words, scenario="maize_field"):
    assert main(["next", scenario, *words]) == 2
    said = capsys.readouterr()
    assert said.out == "" and "Traceback" not in said.err
    return said.err.splitlines()


ANSWERS = [
    {"rows": "one"},
    {"rows": "all", "gauge": "low", "turn": "worse"},
    {"pattern": "every 24"},
    {"pattern": "every 30", "rows": "one", "onset": "sudden", "speed": "same", "hour": "same"},
    {"pattern": "every 30", "stand": "wrong", "gauge": "high", "current": "high"},
    {"counts": (m.look_of_seeds(500, 110, 8, way=SENSOR),), "stand": "wrong", "onset": "slow"},
    {"reading": 2400.0, "seed_used": None, "rows": "all"},
]


@pytest.mark.parametrize("given", ANSWERS, ids=[" ".join(one) for one in ANSWERS])
def test_an_answer_fits_a_terminal_and_begins_with_a_caution(given):
    found = seen(**given)
    said = causes_answer(found)
    lines = said.splitlines()
    assert len(lines) <= LINES and max(map(len, lines)) <= WIDE
    check = first_check(found, next_checks(found))
    caution = check.caution if check else STOPPED
    assert " ".join(said.split()).startswith(f"Caution: {caution}")
    assert " ".join(likely_text(found).split()) in " ".join(said.split())
    table = said.split("\n\n")[1].splitlines()
    assert 2 <= len(table) <= 1 + MOST_ROWS
    details = causes_answer(found, details=True)
    assert max(map(len, details.splitlines())) <= WIDE
    for name in found.chances:
        assert f"\n{name} " in details
    for one in next_checks(found):
        assert one.words[:40] in details
    for word in ("luck", "tell ", "told", "milder", "nan"):
        assert word not in details


def test_the_likeliest_cause_leads_and_what_is_alike_is_said():
    assert likely_text(seen(stand="wrong", onset="slow")).startswith(
        "Most likely: dust covers the lens of the sensor, in "
    )
    alike = likely_text(seen(gauge="low", rows="all", turn="worse"))
    assert alike.startswith("Most likely one of ") and "Nothing seen so far separates" in alike
    odd = likely_text(seen(pattern="every 24"))
    assert "no listed cause explains all of this" in odd and "Two faults at once" in odd


def test_a_cause_that_is_nearly_certain_is_inspected():
    found = seen(
        stand="wrong", onset="slow", hour="same", gauge="normal", pattern="random", rows="several",
        used="as planned", speed="same", turn="same", slope="same", bench="same",
        counts=(m.look_of_seeds(500, 110, 8, way=SENSOR),),
    )  # fmt: skip
    assert found.chances["lens"] > 0.8
    check = first_check(found, next_checks(found))
    assert check is not None and check.finds == ("lens",)


def test_signs_lead_to_causes_from_the_command_line(capsys):
    said = answer(capsys, "--plants", "there", "--onset", "slow", "--late-in-day", "same")
    assert "Most likely: dust covers the lens" in said
    said = answer(capsys, "--pattern", "every-30", "--rows", "one", "--faster", "same")
    assert "Most likely: one or more holes let no air through" in said
    said = answer(capsys, "--gauge-reading", "2.4kPa", "--rows", "all", "--details")
    assert "gauge 60 % of the set vacuum" in said
    said = answer(capsys, *COUNT, "--plants", "there", "--monitor", "cells", "--details")
    assert "count by sensor with 18.3 % skips" in said


def test_seed_used_is_taken_as_a_number(capsys):
    said = answer(capsys, "--seeds-used", "20kg", "--area", "1ha", "--rows", "one", "--details")
    assert "% of the planned seed" in said and "seeds a kg: compare that with the bag" in said


@pytest.mark.slow
def test_a_setting_that_is_likely_comes_with_the_move_of_the_counts(capsys, monkeypatch):
    asked = []

    def short(*args, **options):
        asked.append(args)
        return next_move(*args, **{**options, "runs": 100, "each": 100})

    monkeypatch.setattr(command, "next_move", short)
    count = ("--counted", "500", "--skips", "95", "--doubles", "6", "--counted-by", "belt")
    quiet = answer(capsys, *COUNT, "--plants", "there")
    assert not asked and "By the counts alone" not in quiet
    setting = known(edge_near={"true_skips": 0.2}, fan={}, lens={})

    def likely(scenario, signs, *, seed, executor):
        return find_causes(scenario, signs, known=setting, seed=seed)

    monkeypatch.setattr(causecommand, "find_causes", likely)
    said = answer(capsys, *count, "--rows", "one")
    assert len(asked) == 1 and said.count("By the counts alone") == 1


@pytest.mark.study
@pytest.mark.slow
def test_counts_without_signs_are_answered_as_before(capsys, monkeypatch):
    def never(*_):
        raise AssertionError("no sign was given")

    monkeypatch.setattr(command, "answer_causes", never)

    def short(*args, **options):
        return next_move(*args, **{**options, "runs": 100, "each": 100})

    monkeypatch.setattr(command, "next_move", short)
    assert "before  after the count" in answer(capsys, *COUNT)


def test_a_machine_with_a_fan_has_its_causes_ranked(capsys):
    fan = ("--set", "fan.shut_off_kpa=8", "--set", "fan.free_flow_m3_h=900", "--set", "rows=8")
    said = answer(capsys, *COUNT, *fan)
    assert "in 100 such machines" in said and "Next, " in said


def test_latest_counts_of_a_log_count_with_signs(capsys, tmp_path):
    log = tmp_path / "log.csv"
    words = ["howmany", "maize_field", *COUNT, "--add", str(log), "--row", "3", "--cells", "3000"]
    assert main(words) == 0, capsys.readouterr().err
    capsys.readouterr()
    said = answer(capsys, "--log", str(log), "--plants", "there", "--details")
    assert "18.3 % skips" in said


def test_json_holds_everything(capsys):
    made = json.loads(answer(capsys, "--rows", "all", "--gauge", "low", "--json", "-"))
    assert made["signs"] == {"rows": "all", "gauge": "low"}
    assert sum(one["chance_after"] for one in made["causes"]) == pytest.approx(1)
    assert {one["cause"] for one in made["causes"]} == {*MANY.found.faults, "in order", ELSE}
    assert sum(one["chance"] for one in made["alike"]) == pytest.approx(1)
    assert all(one["caution"] and one["bits"] >= 0 for one in made["checks"])
    assert made == json.loads(causes_json(seen(rows="all", gauge="low")))


@pytest.mark.parametrize(
    ("words", "message"),
    [
        (("--faster", "slower"), "--faster: invalid choice: 'slower'"),
        (("--pattern", "often"), "--pattern: often: known: every N, random"),
        (("--pattern", "random", "--cells-seen", "30", "--cells-loaded", "27"),
         "--pattern: random: takes a count over many turns"),
        (("--plants", "there", "--counted", "500", "--skips", "0", "--doubles", "3"),
         "--plants: there: contradicts a count without skips"),
        (("--gauge", "low", "--gauge-reading", "3kPa"),
         "--gauge: low: is given as a number, too"),
        (("--gauge-reading", "high"), "--gauge-reading: high: must be a vacuum with its unit"),
        (("--gauge-reading", "3mm"), "--gauge-reading: 3mm: must be a vacuum with its unit"),
        (("--gauge-reading", "90kPa"), "--gauge-reading: 90,000 Pa: is 22.5 times the set vacuum"),
        (("--used-seed", "less", "--seeds-used", "80000", "--area", "1ha"),
         "--used-seed: less: is given as a number, too"),
    ],
)  # fmt: skip
def test_wrong_signs_are_refused_in_one_line(capsys, words, message):
    (line,) = refused(capsys, *words)
    assert message in line and line.startswith("metersim: ")


def test_a_bench_refuses_signs_of_a_field(capsys):
    lines = refused(capsys, "--slope", "same", "--bench", "fine", scenario="maize_bench")
    assert [line.split(": ")[1] for line in lines] == ["--slope", "--bench"]


def test_a_gauge_without_unit_takes_that_of_the_reader(capsys):
    said = answer(capsys, "--gauge-reading", "9.6inH2O", "--rows", "all", "--units", "us")
    assert "Next, " in said


def test_the_figure_draws_chances_and_marks_signs(tmp_path):
    found = seen(rows="all", gauge="low", stand="right")
    page = causes_figure(found)
    check_page(page)
    bars, marks = page.axes
    lines = drawn_lines(found)
    widths = [bar.get_width() for bar in bars.patches]
    assert widths == pytest.approx([100 * found.chance_of(names) for names in lines])
    kinds = {}
    for mark in marks.lines:
        x, y = mark.get_xdata(), mark.get_ydata()
        if mark.get_marker() in "^v." and len(x) == 1:
            kinds[int(x[0]), int(y[0])] = mark.get_marker()
    assert len(kinds) == len(lines) * len(found.evidence)
    for (x, y), kind in kinds.items():
        factor = found.factors[lines[y][0]][found.evidence[x].name]
        assert kind == ("^" if factor >= 2 else "v" if factor <= 0.5 else ".")
    with pytest.raises(ValueError, match="units is"):
        causes_figure(found, "feet")


def test_the_figure_is_written_and_drawn_by_kind(capsys, tmp_path):
    file = tmp_path / "page.svg"
    answer(capsys, "--rows", "all", "--figure", str(file))
    assert b"<svg" in file.read_bytes()
    assert isinstance(m.draw(seen(rows="all")), type(causes_figure(seen(rows="all"))))
    assert isinstance(seen(rows="all"), Causes) and FOUR
