"""Options of the signs that people see at a machine, and their reading."""

from __future__ import annotations

import argparse
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from metersim.files.faults import BadInput, Fault, Parameter, bad
from metersim.files.typed import typed_for, typed_quantity
from metersim.machine.scenario import Scenario
from metersim.machine.sections import all_fields
from metersim.questions.next.diagnosis import Used
from metersim.questions.next.signs import Signs
from metersim.questions.shared.looks import Look

MOST_WORDS = 40  # letters of a pattern
READING = "gauge-reading"
LEAST_READING = 1.0  # Pa


@dataclass(frozen=True, kw_only=True)
class SignOption:
    """An option for a sign.

    Attributes
    ----------
    sign : str
        Name of the sign.
    words : mapping of str to str
        Words that can be typed, with the answers that they mean.
    help : str
        Help of the option.
    """

    sign: str
    words: Mapping[str, str]
    help: str


def _same(*words: str) -> Mapping[str, str]:
    return {word: word for word in words}


OPTIONS: Mapping[str, SignOption] = {
    "rows": SignOption(
        sign="rows",
        words=_same("one", "several", "all"),
        help="how many rows show it",
    ),
    "onset": SignOption(
        sign="onset",
        words=_same("slow", "sudden"),
        help="did it come over days and weeks, or from one moment to the next?",
    ),
    "faster": SignOption(
        sign="speed",
        words=_same("worse", "same", "better"),
        help="skips and doubles at a higher speed",
    ),
    "slope": SignOption(
        sign="slope",
        words=_same("worse", "same"),
        help="skips and doubles on a slope, against the level",
    ),
    "late-in-day": SignOption(
        sign="hour",
        words=_same("worse", "same"),
        help="skips and doubles after some hours of work",
    ),
    "after-turn": SignOption(
        sign="turn",
        words=_same("worse", "same"),
        help="skips and doubles just after a turn on the headland",
    ),
    "bench": SignOption(
        sign="bench",
        words=_same("fine", "same"),
        help="the same meter with the same seed on a bench",
    ),
    "current": SignOption(
        sign="current",
        words=_same("high", "normal", "low"),
        help="current or torque of the row's drive, against the usual one",
    ),
    "used-seed": SignOption(
        sign="used",
        words=_same("more", "as planned", "less"),
        help="seed used on an area, against the plan; --seeds-used and --area give a number",
    ),
    "gauge": SignOption(
        sign="gauge",
        words=_same("low", "normal", "high"),
        help="vacuum gauge, against the set vacuum; --gauge-reading gives a number",
    ),
    "plants": SignOption(
        sign="stand",
        words={"there": "wrong", "missing": "right"},
        help="plants, or seeds, in places where the monitor showed skips",
    ),
}
"""Options by name, without the one of the pattern, which takes a number."""


def sign_options(command: argparse.ArgumentParser) -> None:
    """Add the options of signs."""
    group = command.add_argument_group(
        "signs", "what was seen at the machine; each is optional, and several say more than one"
    )
    group.add_argument(
        "--pattern",
        metavar="WORDS",
        help="random, or 'every 30' if a skip or double comes back every 30 cells",
    )
    for name, option in OPTIONS.items():
        group.add_argument(f"--{name}", choices=tuple(option.words), help=option.help)
    group.add_argument(
        f"--{READING}",
        metavar="VACUUM",
        help="reading of the gauge with its unit, such as 3.4kPa or 14inH2O",
    )


def gives_signs(options: argparse.Namespace) -> bool:
    """Whether an option of a sign is given."""
    names = ("pattern", READING, *OPTIONS)
    return any(_typed(options, name) is not None for name in names)


def signs_of(
    options: argparse.Namespace,
    scenario: Scenario,
    counts: Sequence[Look],
    used: Used | None,
    *,
    lens_clean: bool,
) -> Signs:
    """Signs that options give, with the counts.

    Parameters
    ----------
    options : argparse.Namespace
        Options as typed.
    scenario : Scenario
        The machine at its present settings.
    counts : sequence of Look
        Counts at these settings.
    used : Used or None
        Seed that was used on a known area.
    lens_clean : bool
        Whether the lens is known to be clean.

    Raises
    ------
    BadInput
        When an answer is unknown, or signs contradict one another.
    """
    given = {
        option.sign: option.words[word]
        for name, option in OPTIONS.items()
        if (word := _typed(options, name)) is not None
    }
    if options.pattern is not None:
        given["pattern"] = " ".join(options.pattern.lower().split())[:MOST_WORDS]
    try:
        signs = Signs(
            **given,
            seed_used=used,
            reading=_reading(_typed(options, READING), options.units),
            counts=tuple(counts),
            monitor=options.monitor,
            lens_clean=lens_clean,
        )
        signs.check(scenario)
    except BadInput as error:
        raise BadInput(map(_as_typed, error.faults)) from None
    return signs


def _typed(options: argparse.Namespace, name: str) -> str | None:
    word: str | None = getattr(options, name.replace("-", "_"))
    return word


def _reading(word: str | None, units: str) -> float | None:
    """Reading of a gauge. [Pa]"""
    if word is None:
        return None
    spec = all_fields()["vacuum", "vacuum"]
    read, stated = typed_for(word, spec, units), typed_quantity(word)
    if read is None or read[1] is None or stated is None or stated[1] is None:
        raise bad(f"--{READING}", word, "must be a vacuum with its unit, such as 3.4kPa or 14inH2O")
    value = read[1].to_si(read[0])
    if not value >= LEAST_READING:
        raise bad(f"--{READING}", word, "must be above 0; a gauge without vacuum is --gauge low")
    return value


def _as_typed(fault: Fault) -> Fault:
    """A fault of a sign with its option, and the word that was typed."""
    if not isinstance(fault.where, Parameter):
        return fault
    if fault.where == "reading":
        return Fault(f"--{READING}", fault.key, fault.message)
    if fault.where == "seed_used":
        return Fault("--seeds-used", fault.key, fault.message)
    for name, option in OPTIONS.items():
        if option.sign == fault.where:
            words = {answer: word for word, answer in option.words.items()}
            return Fault(f"--{name}", words.get(fault.key, fault.key), fault.message)
    return Fault(f"--{fault.where}", fault.key, fault.message)


def sign_words(sign: str, answer: str) -> str:
    """A sign and its answer as an option says them, such as ``after-turn worse``."""
    for name, option in OPTIONS.items():
        if option.sign == sign:
            words = {meant: word for word, meant in option.words.items()}
            return f"{name} {words.get(answer, answer)}"
    return f"{sign} {answer}"
