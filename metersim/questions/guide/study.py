"""Pages of the guide: their topics, titles and texts."""

from __future__ import annotations

from pathlib import Path

from metersim.files.faults import bad, hint

PAGES = Path(__file__).parents[2] / "data" / "guide"
ORDER = (  # topics, in the order in which a newcomer would read them
    "questions",
    "meter",
    "machine",
    "next",
    "faults",
    "unknown",
    "uncertainty",
    "scenario",
    "sweeps",
    "words",
    "assumptions",
    "evidence",
    "python",
    "costs",
    "changes",
)


def topics() -> dict[str, str]:
    """Title of every page by its topic, in the order of reading.

    Examples
    --------
    >>> from metersim.questions.guide.study import topics
    >>> topics()["meter"]
    'Set a meter'
    """
    return {topic: page(topic).splitlines()[0].removeprefix("# ") for topic in ORDER}


def page(topic: str) -> str:
    """Text of a page in Markdown; raises `BadInput` for an unknown topic."""
    if topic not in ORDER:
        raise bad("guide", topic, f"unknown topic; {hint(topic, ORDER)}")
    return (PAGES / f"{topic}.md").read_text(encoding="utf-8")
