"""Write the tables of the README that are made from the program: ``python -m tests.make_docs``."""

import re
from pathlib import Path

from metersim.catalogue import keys
from tests.validation.predictions import VERDICTS, table

README = Path(__file__).parent.parent / "README.md"


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
    assert marks.search(text), f"README.md has no block '{name}'"
    return marks.sub(lambda found: f"{found[1]}\n{content}\n\n{found[2]}", text)


def evidence_table() -> str:
    """Published and predicted values, folded away behind their count."""
    rows = table()
    said = {"agrees": "agree", "disagrees": "disagree", "open": "are open"}
    counts = ", ".join(f"{rows.count(f'| {word} |')} {said[word]}" for word in VERDICTS)
    head = f"<details>\n<summary>All {rows.count(chr(10)) - 2} rows: {counts}</summary>\n\n"
    return f"{head}{rows.strip()}\n\n</details>"


if __name__ == "__main__":
    text = with_block(README.read_text(), "keys", key_table())
    README.write_text(with_block(text, "evidence", evidence_table()))
