"""One next move: when it is left, what decides, and when an advice is taken back."""

import math
from dataclasses import dataclass, replace
from types import SimpleNamespace

import numpy as np
import pytest
from scipy.stats import binom

import metersim as m
from metersim.machine.sources import DOUBLES, LEAVE, SKIPS, TOO_FAR
from metersim.questions.next import decide as deciding
from metersim.questions.next.bank import bank
from metersim.questions.next.decide import (
    BRUSH,
    CHECK,
    KEEP,
    MOVE,
    SAME,
    STRANGE,
    advise,
    decide,
    standing,
)
from metersim.questions.next.diagnosis import Diagnosis, Seen, Used
from metersim.questions.next.gain import PICKED, Gain, checked, gains
from metersim.questions.next.hypotheses import ELSE, FINE, HOLES, LENS
from metersim.questions.next.moves import Move, mends, moves_of
from metersim.questions.next.study import answered, next_move
from metersim.questions.next.target import Compared, compared, notches, trade_rule
from metersim.questions.shared.looks import (
    BELT,
    SENSOR,
    Look,
    Rates,
    levels_of,
    loads,
    look_of_seeds,
)

BENCH = m.load_scenario("maize_bench")
STAY = "leave it, count more"
NOBODY = SimpleNamespace(bank=None)  # in place of a diagnosis


def at(notch):
    return BENCH.replace(singulator__notch=float(notch))


def against(look, *rates, level=0.025):
    """A count against the rates of meters in order."""
    return Compared(look, look.way, levels_of(rates), level)


def sure(skip, double, skip_effect=1.0):
    return Rates(skip, double, skip_effect, 1.0, 10**9)


# whether a count differs


def test_the_chance_of_a_count_is_binomial_where_cells_are_independent():
    one = against(Look(cells=400, skips=9, doubles=3), sure(0.01, 0.02))
    assert one.chance("skip") == pytest.approx(binom.sf(8, 400, 0.01), rel=1e-6)
    assert one.chance("double") == pytest.approx(binom.sf(2, 400, 0.02), rel=1e-6)
    assert one.differing == ["skip"]
    lumped = against(one.look, sure(0.01, 0.02, skip_effect=3.0))
    assert lumped.chance("skip") > 4 * one.chance("skip")
    either = against(one.look, sure(0.01, 0.02), sure(0.05, 0.02))
    both = (binom.sf(8, 400, 0.01) + binom.sf(8, 400, 0.05)) / 2
    assert either.chance("skip") == pytest.approx(both, rel=1e-6) and not either.differing


def test_so_many_cells_more_detect_an_excess():
    one = against(Look(cells=300, skips=4, doubles=0), sure(0.004, 0.01))
    assert not one.differing
    longer = 1 + one.needed / 300
    assert one.chance("skip", longer) < 0.025 < one.chance("skip", 1 + 0.3 * one.needed / 300)
    assert against(Look(cells=300, skips=1, doubles=0), sure(0.004, 0.01)).needed is None


def test_a_single_skip_may_always_be_chance():
    alone = against(Look(cells=1, skips=1, doubles=0), sure(0.004, 0.01))
    assert alone.chance("skip") < 0.025 and not alone.differing
    assert against(Look(cells=2, skips=2, doubles=0), sure(0.004, 0.01)).differing == ["skip"]


@pytest.mark.slow
@pytest.mark.parametrize("ways", [(BELT,), (BELT, SENSOR)])
def test_all_that_was_counted_keeps_to_one_level_of_false_alarms(ways, monkeypatch):
    """Independent binomial counts, two kinds each way: |z| < 4 of 1 in 20, and hardly fewer.

    Negative control: with each kind at that level, as many more are false alarms as there are.
    """
    order = levels_of([sure(0.02, 0.03)])
    monkeypatch.setattr("metersim.questions.next.target.in_order", lambda *_: order)
    rng, many, cells = np.random.default_rng(8), 2000, 5000
    counts = rng.multinomial(cells, [0.02, 0.03, 0.95], (many, len(ways)))
    found = {"all": [], "each": []}
    for row in counts.tolist():
        seen = [
            Seen(BENCH, Look(cells=cells, skips=skips, doubles=doubles, way=way))
            for way, (skips, doubles, _) in zip(ways, row, strict=True)
        ]
        made = compared(NOBODY, seen, BENCH)
        single = [replace(one, level=0.05) for one in made]
        for key, some in (("all", made), ("each", single)):
            found[key].append(any(one.differing for one in some))
    error = math.sqrt(0.05 * 0.95 / many)
    assert 0.05 - 4 * error - 0.01 < np.mean(found["all"]) < 0.05 + 4 * error
    assert np.mean(found["each"]) > 0.05 + 4 * error


def test_of_two_ways_of_counting_the_one_in_which_less_differs_is_held_against():
    """So that nobody is sent to a meter because of how a monitor counts."""
    cells, spacing = sure(0.01, 0.02), sure(0.05, 0.02)
    look = Look(cells=1000, skips=45, doubles=12, way=SENSOR)
    rates = {SENSOR: levels_of([cells]), "sensor by spacing": levels_of([spacing])}
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(
            "metersim.questions.next.target.in_order", lambda bank, wanted, way: rates[way]
        )
        (either,) = compared(NOBODY, [Seen(BENCH, look, tuple(rates))], BENCH)
        (by_cells,) = compared(NOBODY, [Seen(BENCH, look, (SENSOR,))], BENCH)
    assert by_cells.differing == ["skip"] and not either.differing
    assert either.way == "sensor by spacing"


# what is decided


@dataclass(frozen=True)
class Chances:
    """In place of a diagnosis: stated chances of hypotheses."""

    chances: dict
    lens_contradicted: bool = False

    @property
    def points(self):
        return self

    @property
    def names(self):
        return tuple(name for name in self.chances if name != ELSE)

    def after(self, name, weights=None):
        return self.chances.get(name, 0.0)

    def before(self, name):
        return 0.1


def gain(value, spread=0.004, words="x"):
    return Gain(Move(words, {"notch": 1}), value + spread * np.array([-1.0, 1.0] * 200))


@pytest.mark.parametrize(
    ("chances", "values", "kind", "fault"),
    [
        ({FINE: 0.4, HOLES: 0.6}, [0.03], CHECK, HOLES),  # a part before a setting
        ({FINE: 0.4, HOLES: 0.2, "edge far": 0.4}, [0.03], MOVE, ""),
        ({FINE: 0.4, HOLES: 0.2, "edge far": 0.4}, [0.001], CHECK, "edge far"),
        ({FINE: 0.4, HOLES: 0.2, "edge far": 0.4}, [0.009], CHECK, "edge far"),  # it hides a fault
        ({FINE: 0.3, HOLES: 0.3, "edge far": 0.4}, [0.03], CHECK, HOLES),
        ({FINE: 0.2, "edge far": 0.8}, [0.03], MOVE, ""),  # a setting makes up for it
        ({FINE: 0.2, LENS: 0.7, HOLES: 0.1}, [0.03], BRUSH, LENS),
        ({FINE: 0.2, ELSE: 0.6, HOLES: 0.2}, [0.03], STRANGE, ""),
    ],
)
def test_what_is_likeliest_decides_before_a_gain_does(chances, values, kind, fault):
    advice = decide(0.05, Chances(chances), [gain(value) for value in values])
    assert (advice.kind, advice.fault) == (kind, fault)


def test_a_lens_that_the_seed_used_contradicts_is_never_the_answer():
    chances = {FINE: 0.1, LENS: 0.8, HOLES: 0.1}
    assert decide(0.05, Chances(chances), []).fault == LENS
    assert decide(0.05, Chances(chances, lens_contradicted=True), []).fault == HOLES


def test_a_count_as_wanted_is_left_unless_a_move_is_surely_better():
    fine = Chances({FINE: 0.9, HOLES: 0.1})
    assert decide(0.0, fine, [gain(0.005)]).kind == SAME
    assert decide(0.0, fine, [gain(0.02)]).kind == MOVE
    assert decide(0.0, fine, [gain(0.02, spread=0.05)]).kind == SAME  # it may be worse
    rough = replace(gain(0.02), apart=0.01)
    assert decide(0.0, fine, [rough]).kind == SAME  # nor is it sure


def test_a_gain_says_what_its_meters_say():
    one = Gain(Move("x"), np.array([0.01, 0.03, -0.01, 0.01]))
    assert one.value == pytest.approx(0.01)
    assert one.worse == pytest.approx((1 + 0.5) / (4 + 1))  # one of four, by Jeffreys' prior
    spread = np.std(one.changes, ddof=1)
    assert one.noise == pytest.approx(spread / 2)
    few = replace(one, effective=4.0)  # they stand for no more than four meters
    assert few.noise == pytest.approx(spread / math.sqrt(2))
    assert replace(one, apart=0.01).noise == pytest.approx(math.hypot(spread / 2, 0.01))
    unlisted = replace(one, other=0.4)  # of which nothing is known
    assert unlisted.worse == pytest.approx(0.6 * one.worse + 0.2)


def test_the_parts_of_a_gain_add_up_to_its_total():
    """Normal parts: squares of their widths."""
    rng, many = np.random.default_rng(3), 40_000
    meters, error = (sd * rng.standard_normal(many) for sd in (0.02, 0.015))
    one = Gain(Move("x"), meters, error, effective=100.0)
    wide = {name: high - low for name, (low, high) in one.parts.items()}
    assert wide["meters"] / wide["discrepancy"] == pytest.approx(0.02 / 0.015, rel=0.03)
    assert wide["sampling"] == pytest.approx(wide["meters"] / 10, rel=0.03)
    total = math.sqrt(sum(wide[name] ** 2 for name in ("sampling", "meters", "discrepancy")))
    assert wide["total"] == pytest.approx(total, rel=0.03)


def test_single_steps_are_all_there_is():
    made = moves_of(BENCH)
    assert [move.steps for move in made] == [
        {name: step} for name in ("notch", "vacuum", "gate") for step in (1, -1)
    ]
    assert {"guide": 1} in [move.steps for move in moves_of(BENCH, ("guide",))]
    assert {"vacuum": -1} not in [
        move.steps for move in moves_of(BENCH.replace(vacuum__vacuum=0.0))
    ]
    assert "2 inH2O more vacuum" in [move.words for move in moves_of(BENCH, (), "us")]


# when an advice is taken back


UP, DOWN = Move("up", {"notch": 1}), Move("down", {"notch": -1})


@dataclass(frozen=True)
class Later:
    """In place of a diagnosis: counts at the present settings, and chances after any of them."""

    base: m.Scenario
    seen: tuple
    chances: dict

    @property
    def here(self):
        return [k for k, one in enumerate(self.seen) if one.meter == self.base]

    def weighed(self, looks):
        return tuple(looks)


def advised(monkeypatch, seen, says, excludes, whole=0.01):
    """Advice after counts, with what each set of counts says and excludes."""
    monkeypatch.setattr(
        deciding,
        "decide",
        lambda differs, found, known, weights=None: says[weights or tuple(range(len(seen)))],
    )
    monkeypatch.setattr(
        deciding,
        "gains",
        lambda found, moves, weights=None, **_: [
            gain(0.05 * (1 - 2 * excludes.get((move.words, weights), 0)), words=move.words)
            for move in moves
        ],
    )
    found = Later(BENCH, tuple(seen), {})
    stands = standing(found, [UP, DOWN], lambda looks: 0.05)
    return advise(found, 0.05, [gain(whole, words="up")], stands)


HERE = Seen(BENCH, look_of_seeds(300, 2, 20))
MOVED = deciding.Advice(MOVE, gain=gain(0.02, words="up"))


def test_a_move_stands_until_later_counts_alone_exclude_it(monkeypatch):
    """Once advised, a chance change of the whole does not take it back."""
    says = {(0,): MOVED, (0, 1): deciding.Advice(SAME)}
    kept = advised(monkeypatch, [HERE, HERE], says, {})
    assert (kept.kind, kept.gain.move.words, kept.stands) == (MOVE, "up", True)
    gone = advised(monkeypatch, [HERE, HERE], says, {("up", (1,)): 1})
    assert (gone.kind, gone.stands) == (SAME, False)
    loses = advised(monkeypatch, [HERE, HERE], says, {}, whole=-0.01)
    assert loses.kind == KEEP  # nobody is sent to make it worse
    odd = {(0,): MOVED, (0, 1): deciding.Advice(STRANGE)}
    assert advised(monkeypatch, [HERE, HERE], odd, {}).kind == STRANGE
    # the whole, or the earlier count, is no proof
    whole = {("up", (0, 1)): 1, ("up", (0,)): 1}
    assert advised(monkeypatch, [HERE, HERE], says, whole).stands
    # nor does a count between
    three = says | {(0, 1, 2): deciding.Advice(SAME)}
    assert advised(monkeypatch, [HERE, HERE, HERE], three, {}).stands


def test_a_move_back_needs_the_proof_of_the_counts_since(monkeypatch):
    """The notch was moved from -1 to 0.  Moving it back needs 95 % from counts at 0 alone."""
    before = Seen(at(-1), look_of_seeds(300, 2, 20))
    back = deciding.Advice(MOVE, gain=gain(0.02, words="one notch less aggressive"))
    back = replace(back, gain=replace(back.gain, move=moves_of(BENCH)[1]))
    says = {(0, 1): back}
    kept = advised(monkeypatch, [before, HERE], says, {(back.gain.move.words, (1,)): 1})
    assert kept.kind == KEEP
    assert advised(monkeypatch, [before, HERE], says, {}) == back
    onward = {(0, 1): MOVED}  # control: the other way is no step back
    monkeypatch.setattr(MOVED.gain.move.__class__, "made", lambda self, base, units: at(1))
    assert advised(monkeypatch, [before, HERE], onward, {}).kind == MOVE


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
    rule = trade_rule(at(notch), [against(look, sure(0.004, 0.012))])
    assert (rule.words, rule.steps) == (words, steps)


def test_small_round_seed_may_go_to_the_most_aggressive_end():
    """As it starts there; control: other seed ends one notch from the centre."""
    one = against(Look(cells=500, skips=2, doubles=30), sure(0.004, 0.012))
    canola = m.load_scenario("canola_small_seed").replace(singulator__notch=1.0)
    assert trade_rule(canola, [one]).steps == {"notch": 1}
    assert trade_rule(at(1), [one]).words == TOO_FAR


def test_what_cannot_be_asked_is_refused():
    count = look_of_seeds(500, 2, 22)
    with pytest.raises(m.BadInput, match="no part that can be moved"):
        next_move(BENCH, count, also=["speed"])
    with pytest.raises(m.BadInput, match="nothing was counted"):
        next_move(BENCH)
    with pytest.raises(m.BadInput, match="leaves no cell with a single seed"):
        next_move(BENCH, count, skips_most=0.5, doubles_most=0.5)
    with pytest.raises(m.BadInput, match="differs from the meter in more"):
        next_move(BENCH, count, wanted=BENCH.replace(disc__cells=32))
    with pytest.raises(m.BadInput, match="pulses"):
        next_move(BENCH, count, monitor="pulses")


# on meters


@pytest.fixture(scope="module")
def made():
    """A bank of the bench, with moves of its settings."""
    settings = [move.made(BENCH) for move in moves_of(BENCH)]
    return bank(BENCH, settings, [BELT])


def asked(made, look, **options):
    moves = moves_of(BENCH)
    return answered(Diagnosis(made, [Seen(BENCH, look)]), BENCH, moves, **options)


@pytest.mark.slow
@pytest.mark.parametrize(
    ("counts", "kind", "words"),
    [
        ((500, 2, 5), SAME, STAY),
        ((500, 2, 75), MOVE, "one notch more aggressive"),
        ((500, 250, 100), STRANGE, "check the counts"),
    ],
)
def test_the_answer_follows_the_count(made, counts, kind, words):
    found = asked(made, look_of_seeds(*counts))
    assert found.kind == kind and found.words.startswith(words)
    assert found.differs == (kind != SAME)


@pytest.mark.slow
def test_a_meter_in_order_differs_as_often_as_is_said(made):
    """Counts of 500 cells of machines of the posterior, in order: 1 of 20 differs, or fewer.

    The standard error is that of machines.  Control: an edge two notches too near differs.
    """

    def differs(scenario, many=40):
        rows = []
        for k in range(many):
            own = replace(scenario, coefficients=scenario.posterior.draw(100 + k))
            shown = loads(m.simulate(own.lasting(1500), seed=6, replicate=k))[:1500]
            for w in shown.reshape(-1, 500):
                look = Look(cells=500, skips=int((w == 0).sum()), doubles=int((w > 1).sum()))
                seen = Seen(BENCH, look)
                found = Diagnosis(made, [seen])
                rows.append(any(one.differing for one in compared(found, [seen], BENCH)))
        return np.mean(rows), math.sqrt(0.05 * 0.95 / many)

    flags, error = differs(BENCH)
    assert flags < 0.05 + 4 * error
    assert differs(at(2), 8)[0] > 0.5


@pytest.mark.slow
def test_limits_are_wanted_in_place_of_what_a_meter_in_order_gives(made):
    look = look_of_seeds(500, skips=1, doubles=14)
    assert not asked(made, look).differs
    tight = asked(made, look, doubles_most=0.014)
    assert tight.differs and tight.targets[0].limits == ("double",)
    assert not asked(made, look, doubles_most=0.06).differs


@pytest.mark.slow
def test_little_is_gained_by_mending_what_is_nearly_in_order(made):
    """After many skips a meter with a bad leak gains; one with hardly any leak hardly changes."""
    found = Diagnosis(made, [Seen(BENCH, look_of_seeds(500, 45, 3))])
    leak = {gain.move.mends: gain for gain in gains(found, mends())}["vacuum"]
    vacuum = found.points.vacuum[found.picks(PICKED, 1)]
    assert leak.changes[vacuum < 0.65].mean() > 0.005
    assert np.abs(leak.changes[vacuum > 0.98]).mean() < 0.003


@pytest.mark.slow
def test_a_check_runs_meters_and_agrees_with_the_surface(made):
    """Differences of runs from what the surface says: |z| < 4, and the error is stated."""
    found = Diagnosis(made, [Seen(BENCH, look_of_seeds(500, 3, 40))])
    before = gains(found, moves_of(BENCH))
    after = {gain.move.words: gain for gain in checked(found, before)}
    for one in before:
        there = after[one.move.words]
        assert 0 < there.apart < 0.02
        assert abs(there.value - one.value) < 4 * there.apart + 0.003


@pytest.mark.slow
def test_later_counts_take_a_move_back_on_a_real_bank(made):
    """Many doubles ask for more; a tenth of 3,000 cells skipped, or few doubles, speak against."""
    first, moves = Seen(BENCH, look_of_seeds(500, 2, 60)), moves_of(BENCH)
    for later, kinds in (
        (look_of_seeds(3000, 300, 0), (CHECK, MOVE, KEEP)),
        (look_of_seeds(3000, 24, 20), (SAME, KEEP)),
    ):
        found = answered(Diagnosis(made, [first, Seen(BENCH, later)]), BENCH, moves)
        assert found.kind in kinds
        if found.chosen:
            assert found.chosen.value > 0 and found.chosen.move.steps != {"notch": 1}
    again = answered(Diagnosis(made, [first, Seen(BENCH, look_of_seeds(300, 1, 20))]), BENCH, moves)
    assert again.words == "one notch more aggressive"  # control: a short count like the first


@pytest.mark.study
@pytest.mark.slow
def test_a_dusty_lens_is_asked_for_once(made):
    """The sensor misses 8 %, a belt shows none of it.  With a clean lens it is no hypothesis."""
    dusty = Look(cells=800, skips=70, doubles=8, way=SENSOR)
    belt = Look(cells=800, skips=6, doubles=9)
    found = next_move(BENCH, [dusty, belt], monitor="cells")
    assert (found.kind, found.advice.fault) == (BRUSH, LENS)
    assert found.rule.steps == {"notch": -1}  # what the trade would do to a sound meter
    again = next_move(BENCH, [dusty], monitor="cells", lens_clean=True)
    assert again.kind != BRUSH and LENS not in again.diagnosis.names
    short = next_move(BENCH, [dusty], monitor="cells", used=Used(0.92))
    assert short.kind != BRUSH and short.diagnosis.lens_contradicted
    assert next_move(BENCH, [dusty]).asks_how_it_counts


@pytest.mark.study
@pytest.mark.slow
def test_counts_of_before_are_weighed_at_their_own_settings():
    now, then = look_of_seeds(450, 2, 50), (at(2), look_of_seeds(500, 2, 12))
    found = next_move(BENCH, now, earlier=[then])
    assert len(found.diagnosis.seen) == 2 and len(found.targets) == 1
    assert found.words == "one notch more aggressive"
    other = next_move(BENCH, now, earlier=[(BENCH.replace(guide__inner_guide=True), now)])
    assert other.left_out == 1


@pytest.mark.slow
def test_a_second_notch_asks_for_the_hole():
    """The edge two notches too far: the best notch lies beyond one.  Control: in order."""
    far = BENCH.replace(singulator__gap=BENCH.singulator.gap + 2 * BENCH.singulator.notch_step)
    made = bank(far, [far.replace(singulator__notch=float(k)) for k in (1, 2, 3)], [BELT])
    for look, base in ((look_of_seeds(400, 0, 150), far),):
        found = Diagnosis(made, [Seen(base, look)])
        answer = notches(base, found, towards=1, least=0.002)
        assert answer.second and answer.best > 1
        assert answer.width[1] < answer.width[0] < answer.width[2]


@pytest.mark.study
@pytest.mark.slow
def test_parts_are_moves_only_when_asked_for():
    for also in ((), ("guide",)):
        found = next_move(BENCH, look_of_seeds(500, 2, 22), runs=80, each=60, also=also)
        steps = [gain.move.steps for gain in found.gains]
        assert ({"guide": 1} in steps) == bool(also)
        assert any("guide" in gain.move.steps for gain in found.parts) != bool(also)


@pytest.mark.study
@pytest.mark.slow
def test_the_same_seed_gives_the_same_move():
    look = look_of_seeds(500, skips=2, doubles=22)
    a, b, c = (next_move(BENCH, look, runs=60, each=40, seed=seed) for seed in (0, 0, 1))
    assert a.to_dataframe().equals(b.to_dataframe())
    assert not a.to_dataframe().equals(c.to_dataframe())
