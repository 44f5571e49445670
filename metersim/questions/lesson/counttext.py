"""Words of the chapters on counts and on machines."""

from __future__ import annotations

from collections.abc import Sequence

from metersim.machine.posterior import UNKNOWN
from metersim.questions.lesson.chapter import Chapter
from metersim.questions.lesson.counting import MIDDLE, Counting, Machines, Range
from metersim.questions.lesson.meter import SIZES, USUAL_SIZE
from metersim.questions.lesson.phrases import found, hundred, joined, of_hundred, sentence, share
from metersim.questions.shared.answer import is_distinct
from metersim.questions.shared.counts import deviations
from metersim.questions.shared.settings import steps_text
from metersim.questions.shared.words import plural


def counting_chapter(counting: Counting, units: str) -> Chapter:
    """What a count can and cannot show."""
    kind, pair = counting.pair.kind, counting.pair
    truth, ranges = counting.truth.kinds[kind], counting.found[kind]
    finds = _finds(ranges, kind)
    said = [
        f"Nobody touches the meter here. In {counting.cells:,} cells, {share(truth)} are {kind}.",
        finds,
        _chances(counting, units),
        "A count shows how many skips and doubles there are. It does not show which setting made "
        "them.",
    ]
    size = f"{USUAL_SIZE:,} cells"
    answer: tuple[str, ...]
    if pair.first == pair.second:
        question = (
            f"Two students each count {size} of this meter, one after the other. Both find "
            f"{pair.first} {_of(kind, pair.first)}. Does that prove that the meter never changes?"
        )
        answer = (
            "No. Two counts that agree prove little.",
            "See above in how many cases counts miss a step of a setting.",
        )
    else:
        question = (
            f"Two students each count {size} of this meter, one after the other. The first finds "
            f"{pair.first} {_of(kind, pair.first)}, the second {pair.second}. Did the meter change?"
        )
        answer = (
            "No. Both counts are from one run of one meter that nobody touched.",
            f"Of all such pairs, {hundred(pair.as_far)} differ by as much or by more.",
            "Before you move a setting, count again, or count more cells.",
        )
    (usual,) = (one for one in ranges if one.size == USUAL_SIZE)
    return Chapter(
        "counting",
        "What a count can and cannot show",
        f"{_most()} counts of {size} find {found(usual.low, usual.high, usual.size)} {kind}; the "
        f"meter has {share(truth)}.",
        tuple(said),
        "On the left, each bar holds what most counts of one size find; the upright line is the "
        "truth. On the right, a step is seen better the more cells are counted.",
        question,
        answer,
    )


def _of(kind: str, many: int) -> str:
    return plural(many, kind.removesuffix("s"))


def _finds(ranges: Sequence[Range], kind: str) -> str:
    """What counts of each size find."""
    texts = [found(one.low, one.high, one.size) for one in ranges]
    if all(one.low == one.high == ranges[0].low for one in ranges):
        return f"{_most()} counts of any size find {texts[0]} {kind}: there is nothing to compare."
    parts = [f"{text} with {one.size:,} cells" for one, text in zip(ranges, texts, strict=True)]
    return f"Share of {kind} that {_most()} counts find: {joined(parts, 'and')}."


def _most() -> str:
    return f"{100 * MIDDLE:.0f} of 100"


def _chances(counting: Counting, units: str) -> str:
    """In how many cases two counts detect the step that is seen best."""
    if not counting.steps:
        return "No single step of a setting here has an effect that counts could detect."
    step = counting.steps[0]
    first, *more = [(f"{size:,} cells", step.seen.chance(size)) for size in SIZES]
    words = steps_text(step.steps, units)
    rest = [f"of {size} in {of_hundred(chance)}" for size, chance in more]
    return (
        f"The step seen best is {words}. Two counts of {first[0]} detect it in "
        f"{hundred(first[1])} cases, {joined(rest, 'and')}."
    )


def machines_chapter(machines: Machines, units: str) -> Chapter:
    """How one machine differs from the next."""
    many = len(machines.machines)
    ends = {kind: machines.range(kind) for kind in ("skips", "doubles")}
    ranges = {kind: found(*two, 1000) for kind, two in ends.items()}
    kind = max(ends, key=lambda one: ends[one][1] - ends[one][0])
    differ = any(is_distinct(one) for one in machines.apart.kinds.values())
    drawn = _drawn(machines)
    if differ:
        fact = f"{_most()} machines have {ranges['skips']} skips and {ranges['doubles']} doubles."
        said = [drawn, fact, _against_counts(machines, kind)]
    else:
        fact = f"No difference between {many} machines with these settings is detected."
        said = [drawn, fact]
    if machines.step:
        said.append(_on_machines(machines, units))
    shown = [f"{100 * one:.1f} %" for one in ends[kind]]
    answer: tuple[str, ...]
    if shown[0] == shown[1] or not differ:
        question = (
            f"Two machines with the same settings both show {shown[0]} {kind}. Are they alike?"
        )
        answer = (
            f"In {kind}, as far as these runs detect. Other machines, seeds and speeds may differ: "
            "count.",
        )
    else:
        question = (
            f"Your neighbour's machine has the same settings and {shown[0]} {kind}. Yours has "
            f"{shown[1]}. Is yours set wrong?"
        )
        others = sum(getattr(one, kind) >= ends[kind][1] for one in machines.machines)
        answer = (
            f"Not for that reason. {others} of {many} machines have as many or more, with the "
            "same settings and the same seed.",
            "A number of another machine is no target. Count on your own machine, move one step, "
            "and count again.",
        )
    return Chapter(
        "machines",
        "No two machines are alike",
        fact,
        tuple(said),
        "Each mark is one machine with the same settings. The cross is as wide as the error of "
        f"one count of {USUAL_SIZE:,} cells. Lines end where one step takes each machine.",
        question,
        answer,
    )


def _drawn(machines: Machines) -> str:
    many = len(machines.machines)
    if machines.drawn == UNKNOWN:
        said = f"{many} different machines were drawn at random."
    else:
        said = f"{many} machines were drawn that fit {machines.drawn}."
    return f"{said} All have the same settings and the same seed."


def _against_counts(machines: Machines, kind: str) -> str:
    """Whether machines differ by more than counts of one machine."""
    low, high = machines.range(kind)
    wide = 2 * deviations(MIDDLE) * machines.noise[kind]
    if high - low > wide:
        return f"In {kind} they differ by more than counts of {USUAL_SIZE:,} cells of one machine."
    return f"In {kind} they differ by less than counts of {USUAL_SIZE:,} cells of one machine."


def _on_machines(machines: Machines, units: str) -> str:
    """On how many machines a step lowers or raises skips and doubles."""
    many, parts = len(machines.machines), []
    for kind in ("doubles", "skips"):
        fewer, more = machines.ways(kind)
        ways = [
            f"{verb} {kind} on {some}"
            for verb, some in (("lowers", fewer), ("raises", more))
            if some
        ]
        parts += ways or [f"changes {kind} detectably on none"]
    words = steps_text(machines.step, units)
    return sentence(f"one step ({words}) {joined(parts, 'and')} of {many} machines")
