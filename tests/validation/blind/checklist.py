"""The paper list: the first item that fits all answers is named."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from metersim.questions.shared.looks import Look
from tests.validation.blind.frozen import CHECKLIST, table

NOTHING = "something else"
"""What the list names when no item fits."""


def trouble_of(look: Look, limits: Mapping[str, float]) -> str:
    """What counts say: skips, doubles, both or none over the limits."""
    skips = 100 * look.skip_share > limits["skips_percent"]
    doubles = 100 * look.double_share > limits["doubles_percent"]
    return {(1, 1): "both", (1, 0): "skips", (0, 1): "doubles"}.get((skips, doubles), "none")


def first_item(look: Look, counted_by: str, said: Mapping[str, str]) -> str:
    """Name of the first item that fits a count and the answers of a person."""
    rules: dict[str, Any] = table(CHECKLIST)
    answers = {**said, "trouble": trouble_of(look, rules["limits"]), "by": counted_by}
    for item in rules["item"]:
        fits = all(answers.get(sign) in words for sign, words in item["needs"].items())
        out = any(answers.get(sign) in words for sign, words in item.get("not", {}).items())
        if fits and not out:
            return str(item["name"])
    return NOTHING
