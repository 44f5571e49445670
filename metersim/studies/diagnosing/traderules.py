"""What the trade would do now, to compare with; nothing is fitted to it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from metersim.practice import DOUBLES, LEAVE, MOST_NOTCHES, SKIPS, TOO_FAR, is_small_round
from metersim.scenario import Scenario
from metersim.studies.counting.settings import Steps
from metersim.studies.diagnosing.target import Compared


@dataclass(frozen=True)
class Rule:
    """What the trade would do now.

    Attributes
    ----------
    words : str
        The rule.
    steps : mapping of str to int
        What it moves; empty for nothing.
    """

    words: str
    steps: Steps


def trade_rule(scenario: Scenario, found: Sequence[Compared], *, differing: bool = True) -> Rule:
    """The rule of the trade for what was counted.

    Parameters
    ----------
    scenario : Scenario
        What is set.
    found : sequence of Compared
        Counts at these settings.
    differing : bool
        Whether only what differs by more than luck counts; else whatever lies above what is
        wanted.

    Returns
    -------
    Rule
        Of what lies farthest above what is wanted.

    Notes
    -----
    Common practice, no source.
    """
    above = [
        (one.excess(kind), kind)
        for one in found
        for kind in (one.differing if differing else one.counted)
        if one.excess(kind) > 0
    ]
    if not above:
        return Rule(LEAVE, {})
    step, words = (1, DOUBLES) if max(above)[1] == "double" else (-1, SKIPS)
    notch = scenario.singulator.notch
    small_round = is_small_round(scenario.seeds.length, scenario.seeds.sphericity)
    if not small_round and abs(notch + step) > max(MOST_NOTCHES, abs(notch)):
        return Rule(TOO_FAR, {})
    return Rule(words, {"notch": step})
