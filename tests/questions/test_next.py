"""One next move: judged by the gain that it brings, and by when it is left."""

import math
from dataclasses import replace

import numpy as np
import pytest
from scipy.stats import binom, binomtest

import metersim as m
from metersim.machine.sources import DOUBLES, HANDBOOK_HOLE, LEAVE, SKIPS, TOO_FAR
from metersim.questions.next.diagnosis import STATES, Seen, diagnose
from metersim.questions.next.gain import Gain, gains, tried, value_of_knowing
from metersim.questions.next.moves import MENDS, Move, moves_of
from metersim.questions.next.possible import Possible, draw_machines
from metersim.questions.next.study import (
    BRUSH,
    LEAST,
    PLAIN,
    SAME,
    _decide,
    missed_share,
    next_move,
)
from metersim.questions.next.target import Compared, _better_hole, compared, notches, trade_rule
from metersim.questions.shared.hidden import HIDDEN
from metersim.questions.shared.looks import Look, Rates, loads, look_of_seeds
from metersim.questions.shared.settings import steps_text
from tests.recovery import STAY, count_on, trials

pytestmark = pytest.mark.slow

BENCH = m.load_scenario("maize_bench")
FEW = 30  # states, for speed


def at(notch):
    return BENCH.replace(singulator__notch=float(notch))


# whether a count differs


def test_the_chance_of_a_count_is_binomial_where_cells_are_independent():
    one = Compared(Look(cells=400, skips=9, doubles=3), Rates(0.01, 0.02, 1, 1, 10**9), 0.025)
    assert one.chance("skip") == pytest.approx(binom.sf(8, 400, 0.01), rel=1e-6)
    assert one.chance("double") == pytest.approx(binom.sf(2, 400, 0.02), rel=1e-6)
    assert one.differing == ["skip"]
    lumped = Compared(one.look, Rates(0.01, 0.02, 3, 1, 10**9), 0.025)
    assert lumped.chance("skip") > 4 * one.chance("skip")


def test_a_meter_in_order_differs_as_often_as_is_said():
    """Counts of 500 cells of machines of the posterior, in order: 1 of 20 differs, or fewer.

    The standard error is that of machines.  Controls: the same counts held against one machine
    differ more often, and so do counts with an edge two notches too near.
    """
    wanted = compared(BENCH, [Look(cells=500, skips=0, doubles=0)])[0]
    alone = replace(wanted, machines=())

    def differs(scenario, judge, many=48):
        rows = []
        for k in range(many):
            own = replace(scenario, coefficients=scenario.posterior.draw(100 + k))
            shown = loads(m.simulate(own.lasting(1500), seed=6, replicate=k))[:1500]
            looks = [
                Look(cells=500, skips=int((w == 0).sum()), doubles=int((w > 1).sum()))
                for w in shown.reshape(-1, 500)
            ]
            rows.append(np.mean([bool(replace(judge, look=look).differing) for look in looks]))
        return np.mean(rows), math.sqrt(0.05 * 0.95 / many)

    flags, error = differs(BENCH, wanted)
    assert flags < 0.05 + 4 * error
    assert differs(BENCH, alone)[0] > 0.05 + 4 * error
    assert differs(at(2), wanted)[0] > 0.5


@pytest.mark.parametrize("ways", [("belt",), ("belt", "sensor")])
def test_all_that_was_counted_keeps_to_one_level_of_false_alarms(ways, monkeypatch):
    """Independent binomial counts, two kinds each way: |z| < 4 of 1 in 20, and hardly fewer.

    Negative control: with each kind at that level, as many more are false alarms as there are.
    """
    order = Rates(0.02, 0.03, 1, 1, 10**9)
    monkeypatch.setattr("metersim.questions.next.target._in_order", lambda *_: [order])
    rng, many, cells = np.random.default_rng(8), 2000, 5000
    counts = rng.multinomial(cells, [order.skip, order.double, 0.95], (many, len(ways)))
    found = {"all": [], "each": []}
    for row in counts.tolist():
        looks = [
            Look(cells=cells, skips=skips, doubles=doubles, way=way)
            for way, (skips, doubles, _) in zip(ways, row, strict=True)
        ]
        made = compared(BENCH, looks)
        single = [replace(one, level=0.05) for one in made]
        for key, some in (("all", made), ("each", single)):
            found[key].append(any(one.differing for one in some))
    error = math.sqrt(0.05 * 0.95 / many)
    assert 0.05 - 4 * error - 0.01 < np.mean(found["all"]) < 0.05 + 4 * error
    assert np.mean(found["each"]) > 0.05 + 4 * error


def test_so_many_cells_more_tell_shares_from_luck():
    one = Compared(Look(cells=300, skips=4, doubles=0), Rates(0.004, 0.01, 1, 1, 10**9), 0.025)
    assert not one.differing
    longer = 1 + one.needed / 300
    assert one.chance("skip", longer) < 0.025 < one.chance("skip", 1 + 0.3 * one.needed / 300)
    fine = Compared(Look(cells=300, skips=1, doubles=0), Rates(0.004, 0.01, 1, 1, 10**9), 0.025)
    assert fine.needed is None


def test_a_single_skip_may_always_be_luck():
    alone = Compared(Look(cells=1, skips=1, doubles=0), Rates(0.004, 0.01, 1, 1, 10**9), 0.025)
    assert alone.chance("skip") < 0.025 and not alone.differing
    two = Compared(Look(cells=2, skips=2, doubles=0), Rates(0.004, 0.01, 1, 1, 10**9), 0.025)
    assert two.differing == ["skip"]


@pytest.mark.slow
def test_limits_are_wanted_in_place_of_what_a_meter_in_order_gives():
    """A count that machines in order may show is too much where the limit is half of it."""
    look = look_of_seeds(500, skips=1, doubles=14)
    assert not next_move(BENCH, look, states=FEW).differs
    assert next_move(BENCH, look, states=FEW, doubles_most=0.014).differs
    easy = next_move(BENCH, look, states=FEW, doubles_most=0.06)
    assert not easy.differs and easy.words == STAY


def test_a_hopper_that_is_nearly_empty_is_no_reason_for_skips():
    """Wanted, weighed and gained are the same with 1 kg of seed as with 20 kg."""
    look = look_of_seeds(300, skips=3, doubles=20)
    full, handful = (
        next_move(one, look, states=16) for one in (BENCH, BENCH.replace(pool__hopper=1.0))
    )
    assert handful.targets[0].wanted == full.targets[0].wanted
    assert [gain.value for gain in handful.gains] == [gain.value for gain in full.gains]
    emptied = m.measure(m.simulate(BENCH.replace(pool__hopper=1.0)))["cells.skip"].value
    assert full.targets[0].wanted.skip < 0.05 * emptied  # control: the run would be out of seed


# moves


def test_nothing_is_gained_by_mending_what_is_in_order():
    """On the same luck, to the last seed; and something by mending what is not."""
    mends = [Move(words, mends=cause) for cause, words in MENDS.items()]
    fine = {name: HIDDEN[name].middle for name in ("vacuum", "pool")}
    assert [gain.value for gain in gains(BENCH, [Possible(fine)] * 2, mends)] == [0, 0]
    leak = gains(BENCH, [Possible({"vacuum": 0.4})], mends[:1], cells=20_000)[0]
    assert leak.value > 0.01


def test_single_steps_and_mends_are_all_there_is():
    made = moves_of(BENCH, ("vacuum", "pool"))
    assert [move.steps for move in made if move.steps] == [
        {name: step} for name in ("notch", "vacuum", "gate") for step in (1, -1)
    ]
    assert [move.mends for move in made if move.mends] == ["vacuum", "pool"]
    assert {"guide": 1} in [move.steps for move in moves_of(BENCH, (), ("guide",))]
    assert {"vacuum": -1} not in [
        move.steps for move in moves_of(BENCH.replace(vacuum__vacuum=0.0), ())
    ]
    assert "2 inH2O more vacuum" in [move.words for move in moves_of(BENCH, (), (), "us")]


def test_a_gain_says_what_its_states_say():
    gain = Gain(Move("x"), np.array([0.01, 0.03, -0.01, 0.01]))
    assert gain.value == pytest.approx(0.01)
    assert gain.worse == pytest.approx((1 + 0.5) / (4 + 1))  # one of four, by Jeffreys' prior
    spread = np.std(gain.changes, ddof=1)
    assert gain.noise == pytest.approx(spread / 2)
    few = Gain(Move("x"), gain.changes, effective=4.0)  # they stand for no more than four states
    assert few.noise == pytest.approx(spread / math.sqrt(2))


def test_the_parts_of_a_gain_add_up_to_its_total():
    """Normal parts: squares of their widths.  Sampling of the runs is no part of the meters."""
    rng, many = np.random.default_rng(3), 40_000
    meters, sampled, error = (sd * rng.standard_normal(many) for sd in (0.02, 0.01, 0.015))
    gain = Gain(Move("x"), meters + sampled, effective=100.0, sampled=0.01**2, errors=error)
    wide = {name: high - low for name, (low, high) in gain.parts.items()}
    assert wide["meters"] / wide["discrepancy"] == pytest.approx(0.02 / 0.015, rel=0.03)
    assert wide["sampling"] == pytest.approx(wide["discrepancy"] * 0.0224 / 10 / 0.015, rel=0.03)
    total = math.sqrt(sum(wide[name] ** 2 for name in ("sampling", "meters", "discrepancy")))
    assert wide["total"] == pytest.approx(total, rel=0.03)
    longer = replace(gain, sampled=0.0)  # control
    assert longer.parts["meters"][1] - longer.parts["meters"][0] > 1.08 * wide["meters"]


def test_what_a_move_leaves_as_it_was_has_no_error_on_any_machine():
    """A mend of what is in order; control: a notch has the discrepancy of its setting."""
    fine = {name: HIDDEN[name].middle for name in ("vacuum", "pool")}
    meters = [Possible(fine, machine) for machine in draw_machines([BENCH], 3, 5)]
    notch, *mends = (Move("notch", {"notch": 1}), *(Move(w, mends=c) for c, w in MENDS.items()))
    found = {gain.move.words: gain for gain in gains(BENCH, meters, [notch, *mends])}
    assert all(not np.any(found[mend.words].likely) for mend in mends)
    assert np.all(found["notch"].errors != 0)


def test_the_surest_of_like_gains_is_chosen():
    """Noise is not what chooses between two moves, nor what keeps from a sure one."""
    target = Compared(Look(cells=500, skips=2, doubles=30), Rates(0.004, 0.01, 1, 1, 10**9), 0.025)
    noisy = Gain(Move("noisy"), np.array([0.06, -0.05] * 40 + [0.0]))
    sure = Gain(Move("sure"), np.array([0.003, 0.004] * 40 + [0.0]))
    assert noisy.value > sure.value
    assert _decide([target], None, [noisy, sure]) == ("move", sure)
    assert _decide([target], None, [noisy]) == ("no gain", None)


def test_what_decides_between_two_moves_is_worth_knowing():
    """Gains z and -z: knowing z brings E|z|, sqrt(2/pi) of its SD; what is not related, nothing."""
    rng = np.random.default_rng(4)
    size, other = rng.standard_normal((2, 4000))
    states = [{"size": a, "other": b} for a, b in zip(size, other, strict=True)]
    found = [Gain(Move("up"), size), Gain(Move("down"), -size)]
    # a straight line through each is exact
    assert value_of_knowing(found, states, "size") == pytest.approx(
        np.abs(size).mean() - abs(size.mean())
    )
    assert value_of_knowing(found, states, "size") == pytest.approx(
        math.sqrt(2 / math.pi), abs=0.06
    )
    assert value_of_knowing(found, states, "other") < 0.05


def farther(notches):
    """The bench with an edge that lies so many notches farther from the holes than it should."""
    edge = BENCH.singulator
    return BENCH.replace(singulator__gap=edge.gap + notches * edge.notch_step)


def test_an_edge_two_notches_off_has_all_that_its_notches_do_two_notches_on():
    """The same distance of the edge from the holes, so the same cells.  Control: one notch on."""
    steps = [Move(f"{k} on", {"notch": k}) for k in (0, 1, 2, 3)]
    there, here = (tried(one, [Possible({})], steps) for one in (farther(2), BENCH))
    assert there.singles[0, 2:] == pytest.approx(here.singles[0, :2], abs=1e-3)
    assert there.singles[0, 1:3] != pytest.approx(here.singles[0, :2], abs=1e-3)


@pytest.mark.slow
def test_a_second_notch_is_asked_for_where_the_edge_lies_two_notches_off():
    """By the test before, the best notch lies two on.  Control: a count as wanted asks for none."""
    for scenario, second in ((farther(2), True), (BENCH, False)):
        seen = Seen(scenario, count_on(scenario, {}, 500))
        found = notches(scenario, diagnose([seen], states=40), towards=1, states=12, least=LEAST)
        assert found.second == second
        assert (found.best > 1) == second


@pytest.mark.slow
def test_a_better_hole_is_within_what_handbooks_give_and_needs_one_notch_at_most():
    """Seed 14 % smaller under the usual holes, which are then wider than handbooks give."""
    small = BENCH.replace(seed__size_factor=0.86)
    fine = diagnose([Seen(small, Look(cells=1, skips=0, doubles=0))], states=20)
    width, hole = small.seeds.width, small.disc.hole_diameter
    assert hole > HANDBOOK_HOLE[1] * width
    better = _better_hole(small, fine, width, 1)
    assert HANDBOOK_HOLE[0] * width * (1 - 1e-9) <= better < hole
    state = Possible({name: fine.mean(name) for name in fine.names})

    def second_over_first(hole):
        """How much more the best notch beyond one brings than the best within, in SEs of it."""
        moves = [Move(f"notch {k}", {"notch": k}) for k in range(-2, 3)]
        there = small.replace(disc__hole_diameter=hole)
        shares = tried(there, [state], moves, cells=10_000).singles[0]
        over = shares[[0, -1]].max() - shares[1:-1].max()
        return over / math.sqrt(2 * shares.max() * (1 - shares.max()) / 10_000)

    assert second_over_first(better) < 4 < second_over_first(hole)  # the hole of before: a control


# what the trade does (common practice, no source)


@pytest.mark.parametrize(
    ("notch", "skips", "doubles", "words", "steps"),
    [
        (0, 2, 30, DOUBLES, {"notch": 1}),
        (0, 30, 2, SKIPS, {"notch": -1}),
        (1, 2, 30, TOO_FAR, {}),
        (-1, 30, 2, TOO_FAR, {}),
        (2, 30, 2, SKIPS, {"notch": -1}),
        (-2, 2, 30, DOUBLES, {"notch": 1}),
        (0, 2, 6, LEAVE, {}),
    ],
)
def test_the_trade_moves_one_notch(notch, skips, doubles, words, steps):
    look = Look(cells=500, skips=skips, doubles=doubles)
    one = Compared(look, Rates(0.004, 0.012, 1, 1, 20_000), 0.025)
    rule = trade_rule(at(notch), [one])
    assert (rule.words, rule.steps) == (words, steps)


def test_small_round_seed_may_go_to_the_most_aggressive_end():
    """As it starts there; control: other seed ends one notch from the centre."""
    one = Compared(Look(cells=500, skips=2, doubles=30), Rates(0.004, 0.012, 1, 1, 20_000), 0.025)
    canola = m.load_scenario("canola_small_seed").replace(singulator__notch=1.0)
    assert trade_rule(canola, [one]).steps == {"notch": 1}
    assert trade_rule(at(1), [one]).words == TOO_FAR


# the move


def test_a_count_as_wanted_is_left_alone():
    """A meter in order, with its own luck; whatever moves might bring."""
    for k in range(2):
        found = next_move(BENCH, count_on(BENCH, {}, 500, replicate=k), states=FEW)
        assert (found.kind, found.words, found.chosen) == (SAME, STAY, None)
    assert "leave" in found.rule.words


@pytest.mark.slow
def test_settings_that_fall_short_are_moved_though_nothing_is_off():
    """A gate too low starves the pool, as a meter in order does at that setting.

    Of 24 likely states, as how often it makes things worse decides; of 8 that is luck.
    """
    low = m.load_scenario("gate_too_low")
    found = next_move(low, count_on(low, {}, 500), states=120)
    assert not found.differs
    assert found.words == "gate 5 mm higher" and found.chosen.value > PLAIN
    assert (
        gains(low, [Possible({})], [found.chosen.move], cells=5000)[0].value > 0.05
    )  # what it truly brings


@pytest.mark.slow
def test_a_dusty_lens_is_brushed_before_anything_is_moved():
    dusty = {"sensor": 0.93}
    looks = [count_on(BENCH, dusty, 500, "sensor"), count_on(BENCH, dusty, 500)]
    found = next_move(BENCH, looks, states=60)
    assert missed_share(found.targets, found.diagnosis) > 0.7
    belt = next_move(BENCH, count_on(at(2), {}, 500), states=30)  # control: skips on a belt
    assert belt.differs and missed_share(belt.targets, belt.diagnosis) == 0
    assert (found.kind, found.chosen) == (BRUSH, None)
    assert found.words.startswith("brush the sensor's lens")
    assert found.rule.steps == {"notch": -1}  # what the trade would do to a sound meter


@pytest.mark.slow
def test_counts_of_before_are_weighed_at_their_own_settings():
    """A count two notches on narrows what is hidden; the one now says what differs."""
    state = {"seed size": 0.88}
    now = count_on(at(0), state, 500)
    then = (at(2), count_on(at(2), state, 500))
    found = next_move(at(0), now, earlier=[then], states=40)
    assert len(found.diagnosis.seen) == 2 and len(found.targets) == 1
    assert found.words == "one notch more aggressive"
    crowd = [(at(k / 4), then[1]) for k in range(8)]
    assert next_move(at(0), now, earlier=crowd, states=6).left_out == 4


def test_the_same_seed_gives_the_same_move():
    look = look_of_seeds(500, skips=2, doubles=22)
    a, b, c = (next_move(BENCH, look, states=6, seed=seed) for seed in (0, 0, 1))
    assert a.to_dataframe().equals(b.to_dataframe())
    assert not a.to_dataframe().equals(c.to_dataframe())


@pytest.mark.parametrize("also", [("guide",), ()])
def test_parts_are_moves_only_when_asked_for(also):
    found = next_move(BENCH, look_of_seeds(500, 2, 22), states=10, also=also)
    steps = [gain.move.steps for gain in found.gains]
    assert ({"guide": 1} in steps) == bool(also)
    assert bool(found.parts) != bool(also)


def test_what_cannot_be_asked_is_told():
    with pytest.raises(m.BadInput, match="no part that can be moved"):
        next_move(BENCH, look_of_seeds(500, 2, 22), also=["speed"])
    with pytest.raises(m.BadInput, match="nothing was counted"):
        next_move(BENCH)


# recovery


def opposite(steps):
    return {name: -count for name, count in steps.items()}


def judged(many, states, **options):
    """True gains by meter: of the move, and by what else might be done. [points]"""
    rows = []
    for trial in trials(many, **options):
        found = next_move(
            trial.scenario,
            trial.seen.look,
            wanted=trial.usual,
            states=states,
            seed=100 + trial.number,
        )
        truth, rule = trial.truth, found.rule.steps
        eager = trade_rule(trial.scenario, found.targets, differing=False).steps
        rows.append(
            {
                "move": truth.get(found.words, 0.0),
                "rule": truth[steps_text(rule) if rule else STAY],
                "eager rule": truth[steps_text(eager) if eager else STAY],
                "opposite": truth[steps_text(opposite(rule)) if rule else STAY],
                "guess": np.mean([gain for words, gain in truth.items() if words != STAY]),
                "best": max(truth.values()),
            }
        )
    return {name: 100 * np.array([row[name] for row in rows]) for name in rows[0]}


def better_by_luck(rows, one, other):
    """Chance that one way brings more than another so often, if neither were the better one."""
    over = rows[one] - rows[other]
    return binomtest(int((over > 0).sum()), int((over != 0).sum()), alternative="greater").pvalue


def over(rows, one, other):
    """How much more one way brings than another: mean and standard error. [points]"""
    change = rows[one] - rows[other]
    return change.mean(), change.std(ddof=1) / math.sqrt(len(change))


@pytest.mark.slow
def test_the_move_brings_more_than_guessing_and_no_less_than_the_rule():
    """Meters with known faults, set at the ends of the scale, where something is to be done.

    By signs, as a few meters gain far more than the rest.  Control: the opposite of what the trade
    does, judged in the same way.
    """
    rows = judged(14, 24, starts=(-2.0, 2.0))
    assert better_by_luck(rows, "move", "guess") < 0.01
    assert better_by_luck(rows, "opposite", "guess") > 0.5
    mean, error = over(rows, "move", "rule")
    assert mean > -4 * error - 1e-9
    assert rows["move"].mean() > 0.6 * rows["best"].mean()  # what is lost is less than two fifths


@pytest.mark.evidence
def test_the_move_holds_at_full_size():
    """Sixty meters drawn from the priors, set anywhere within two notches, each counted once.

    Measured for 0.6.1, in percentage points of singulation: the move +7.7, the rule of the trade
    +7.1, the same at whatever lies above what is wanted +7.6, guessing -0.7, the best move that
    there is +8.1.  A few meters, set two notches too far, make most of these gains.
    """
    rows = judged(60, STATES)
    assert better_by_luck(rows, "move", "guess") < 1e-4
    for rule in ("rule", "eager rule"):
        mean, error = over(rows, "move", rule)
        assert mean > -3 * error
    assert rows["move"].mean() > 0.85 * rows["best"].mean()
