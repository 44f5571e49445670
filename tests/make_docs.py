"""Write the tables of the guide that are made from the program: ``python -m tests.make_docs``.

The pictures of published cases in ``figures/`` are made with them, from the same runs.
"""

import re
from concurrent.futures import ProcessPoolExecutor
from pathlib import Path

from metersim.questions.evidence.figure import levels_figure, plateaus_figure
from metersim.questions.evidence.study import Evidence, evidence
from metersim.questions.evidence.text import counts_text, evidence_markdown, score_head
from metersim.questions.guide.study import PAGES
from metersim.questions.list.command import keys
from metersim.questions.shared.page import save

README = Path(__file__).parent.parent / "README.md"
KEYS, EVIDENCE = PAGES / "scenario.md", PAGES / "evidence.md"


def key_table() -> str:
    """All keys of a scenario as a table."""
    lines = ["| section | key | allowed | meaning |", "|---|---|---|---|"]
    lines += [
        f"| {section} | `{'`, `'.join(names.split(' or '))}` | {allowed} | {meaning} |"
        for section, names, allowed, meaning in keys()
    ]
    return "\n".join(lines)


def with_block(text: str, name: str, content: str) -> str:
    """The text with what stands between the marks of a block replaced."""
    marks = re.compile(rf"(<!-- {name} -->\n).*?(<!-- /{name} -->)", re.DOTALL)
    assert marks.search(text), f"there is no block '{name}'"
    return marks.sub(lambda found: f"{found[1]}\n{content}\n\n{found[2]}", text)


def evidence_table(found: Evidence) -> str:
    """The score, all rows folded away behind their count, and what is said of them."""
    rows, _, said = evidence_markdown(found).partition("\n\n")
    head = f"<details>\n<summary>All {counts_text(found)}</summary>\n\n"
    return f"{score_head(found)}\n{head}{rows}\n\n</details>\n\n{said.strip()}"


if __name__ == "__main__":
    with ProcessPoolExecutor(2) as executor:
        made = evidence(executor=executor)
    KEYS.write_text(with_block(KEYS.read_text(), "keys", key_table()))
    EVIDENCE.write_text(with_block(EVIDENCE.read_text(), "evidence", evidence_table(made)))
    for name, figure in (("levels", levels_figure(made)), ("plateaus", plateaus_figure(made))):
        save(figure, README.parent / "figures" / f"evidence_{name}.png")
