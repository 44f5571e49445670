"""Scores of the blind test: what an answer was worth, and tables of all of them."""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass

ORDER, ELSE, OUTSIDE = "in order", "something else", "outside"
RIGHT, GROUP, AMONG, OTHER, FINE, NONE, WRONG = VERDICTS = (
    "right",
    "right group",
    "among many",
    "something else",
    "in order",
    "no answer",
    "wrong",
)
SURE, UNSURE = 0.8, 0.5
SMALL = 3
"""Most names of a group that still tells a person where to look."""
UNSAID, UNLIKELY, NEAR, CONFIDENT = (
    "something else first",
    "no name over 50 %",
    "one of its parts",
    "a wrong name",
)
"""How a fault ends that the library lacks."""
FAMILIES: Mapping[str, tuple[str, ...]] = {
    "air": (
        "vacuum low",
        "vacuum high",
        "gauge",
        "fan",
        "hose leak",
        "idle rows",
        "seal worn",
        "chamber open",
        "gap wide",
    ),
    "disc": ("plugged holes", "worn holes", "chipped hole", "disc reversed"),
    "singulator": ("edge far", "edge near", "edge worn", "inner edge worn"),
    "cut-off, tube": ("cut-off worn", "cut-off wrong", "tube worn"),
    "seed size": ("small seed", "large seed"),
    "seed supply": ("low pool", "high pool", "bridges", "flow agent", "clearance", "slope"),
    "sensor": ("lens",),
    "drive": ("drive", "oil drive", "gap small", "too fast"),
    ORDER: (ORDER,),
    ELSE: (ELSE, OUTSIDE),
    NONE: (NONE,),
}
"""Where the inspection of each fault takes a person, for a table that fits a page."""


def family_of(name: str) -> str:
    """Family of a cause."""
    return next(family for family, names in FAMILIES.items() if name in names)


@dataclass(frozen=True, kw_only=True)
class Answer:
    """What was said of one machine.

    Attributes
    ----------
    case, kind, build : str
        Name of the case; usual, drawn or formed; the build in words.
    truth, near
        What is wrong, and names whose inspection finds some of it.
    name : str
        The likeliest cause; `NONE` where the diagnosis refused the machine.
    first : tuple of str
        The likeliest group of causes.
    chance : float
        Chance of that group. [1]
    of_name : float
        Chance of the likeliest cause. [1]
    of_truth, before : float
        Chance of the truth, after and before anything was seen; 0 for an unknown name. [1]
    listed : str
        What the paper list names.
    told : str
        Count and answers of the person.
    """

    case: str
    kind: str
    build: str
    truth: str
    near: tuple[str, ...] = ()
    listed: str
    told: str = ""
    name: str = NONE
    first: tuple[str, ...] = (NONE,)
    chance: float = 0.0
    of_name: float = 0.0
    of_truth: float = 0.0
    before: float = 0.0

    @property
    def verdict(self) -> str:
        """What the answer was worth."""
        truth = ELSE if self.truth == OUTSIDE else self.truth
        if self.name == truth:
            return RIGHT
        if truth in self.first:
            return GROUP if len(self.first) <= SMALL else AMONG
        return {(ELSE,): OTHER, (ORDER,): FINE, (NONE,): NONE}.get(self.first, WRONG)

    @property
    def is_right(self) -> bool:
        """Whether the truth was named first, or is in a small group that was."""
        return self.verdict in (RIGHT, GROUP)

    @property
    def is_sure_and_wrong(self) -> bool:
        """Whether a wrong cause, or none, has over 80 %; one of two faults at once is not wrong."""
        named = self.verdict in (WRONG, FINE)
        return named and self.chance > SURE and not set(self.near) & set(self.first)

    @property
    def outside(self) -> str:
        """How a fault that the library lacks ended."""
        group = self.chance if len(self.first) <= SMALL else 0.0
        if self.name == NONE:
            return NONE
        if ELSE in (self.name, *self.first):
            return UNSAID
        if max(group, self.of_name) <= UNSURE:
            return UNLIKELY
        named = self.first if len(self.first) <= SMALL else (self.name,)
        return NEAR if set(self.near) & set(named) else CONFIDENT

    def said_by(self, name: str) -> bool:
        """Whether another way of finding causes, which named one, was right."""
        return name == (ELSE if self.truth == OUTSIDE else self.truth)


def share(answers: Sequence[Answer], holds: Callable[[Answer], bool]) -> str:
    """Number and percentage of answers for which something holds."""
    many = sum(map(holds, answers))
    return f"{many} of {len(answers)} ({100 * many / len(answers):.0f} %)" if answers else "none"


def _row(cells: Sequence[object]) -> str:
    return f"| {' | '.join(map(str, cells))} |"


def _head(cells: Sequence[str]) -> list[str]:
    return [_row(cells), f"|---|{'---:|' * (len(cells) - 1)}"]


def summary_table(answers: Sequence[Answer]) -> str:
    """Markdown: verdicts on machines with a listed fault, with another one, and in order."""
    lines = _head(("machines", "number", *VERDICTS, "wrong, over 80 %", "paper list right"))
    groups = (
        ("listed fault", lambda one: one.truth not in (OUTSIDE, ORDER)),
        ("fault that is not listed", lambda one: one.truth == OUTSIDE),
        ("in order", lambda one: one.truth == ORDER),
    )
    kinds = (("usual", "usual"), ("drawn", "drawn"), ("formed", "other form"))
    for title, belongs in groups:
        for kind, words in kinds:
            some = [one for one in answers if belongs(one) and one.kind == kind]
            if not some:
                continue
            found = Counter(one.verdict for one in some)
            sure = sum(one.is_sure_and_wrong for one in some)
            listed = sum(one.said_by(one.listed) for one in some)
            counts = [found[verdict] for verdict in VERDICTS]
            lines.append(_row([f"{title}, {words}", len(some), *counts, sure, listed]))
    return "\n".join(lines)


def confusion_table(answers: Sequence[Answer]) -> str:
    """Markdown: what is wrong by rows, and what was named first by columns, both by family."""
    lines = _head(("what is wrong", *FAMILIES))
    for family in FAMILIES:
        some = [one for one in answers if family_of(one.truth) == family]
        if some:
            found = Counter(family_of(one.name) for one in some)
            counts = [found[name] or "" for name in FAMILIES]
            lines.append(_row([f"{family} ({len(some)})", *counts]))
    return "\n".join(lines)


def case_table(answers: Sequence[Answer]) -> str:
    """Markdown: for each case, how often it was found, and what was named on the usual machine."""
    lines = _head(("case", "what is wrong", "right", "named on the usual machine", "chance, %"))
    for name in dict.fromkeys(one.case for one in answers):
        some = [one for one in answers if one.case == name]
        usual = next((one for one in some if one.kind == "usual"), some[0])
        right = f"{sum(one.is_right for one in some)} of {len(some)}"
        named = " or ".join(usual.first[:SMALL])
        if len(usual.first) > SMALL:
            named = f"one of {len(usual.first)}, first {usual.name}"
        lines.append(_row([name, usual.truth, right, named, f"{100 * usual.chance:.0f}"]))
    return "\n".join(lines)


def sentences(answers: Sequence[Answer]) -> str:
    """What the tables come to, in words."""
    listed = [one for one in answers if one.truth not in (OUTSIDE, ORDER)]
    outside = [one for one in answers if one.truth == OUTSIDE]
    lines = []
    if listed:
        guess = 100 * sum(one.before for one in listed) / len(listed)
        mean = 100 * sum(one.of_truth for one in listed) / len(listed)
        lines.append(
            f"A listed fault was named first, or in a group of at most {SMALL}, in "
            f"{share(listed, lambda one: one.is_right)}. It was itself the likeliest in "
            f"{share(listed, lambda one: one.verdict == RIGHT)}. "
            f"The paper list named it in {share(listed, lambda one: one.said_by(one.listed))}. "
            f"The mean chance of the right name was {mean:.0f} %. "
            f"Before anything was seen it was {guess:.0f} %."
        )
    sure = share(answers, lambda one: one.is_sure_and_wrong)
    lines.append(f"A wrong cause had over 80 % in {sure}.")
    if outside:
        ends = Counter(one.outside for one in outside)
        said = "; ".join(
            f"{end}: {ends[end]}" for end in (UNSAID, UNLIKELY, NEAR, CONFIDENT, NONE) if ends[end]
        )
        many = len(outside)
        lines.append(f"The {many} machines with a fault that is not listed ended so. {said}.")
    return "\n".join(lines)


def report(answers: Sequence[Answer]) -> str:
    """All of it for the guide."""
    return "\n\n".join(
        (
            sentences(answers),
            summary_table(answers),
            confusion_table(answers),
            "<details>\n<summary>Case by case</summary>",
            case_table(answers),
            "</details>",
        )
    )
