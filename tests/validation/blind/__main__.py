"""Run the blind test: ``python -m tests.validation.blind [--write]``."""

from __future__ import annotations

import argparse
from concurrent.futures import ProcessPoolExecutor

from metersim.questions.guide.study import PAGES
from tests.make_docs import with_block
from tests.validation.blind.scoring import report
from tests.validation.blind.study import DRAWN, FORMED, SEED, study

GUIDE = PAGES / "faults.md"
BLOCK = "blind"


def main() -> None:
    """Print the report; write it into the guide if that is asked for."""
    options = argparse.ArgumentParser(description=__doc__)
    options.add_argument("--write", action="store_true", help="write the tables into the guide")
    options.add_argument("--case", action="append", default=[], help="name of a case; repeatable")
    options.add_argument("--drawn", type=int, default=DRAWN, help="machines drawn for each case")
    options.add_argument("--formed", type=int, default=FORMED, help="machines of another form")
    options.add_argument("--jobs", type=int, default=1, help="processes")
    options.add_argument("--seed", type=int, default=SEED, help="random seed")
    said = options.parse_args()
    answers = []
    with ProcessPoolExecutor(said.jobs) as executor:
        ran = study(
            said.case,
            seed=said.seed,
            drawn=said.drawn,
            formed=said.formed,
            executor=executor if said.jobs > 1 else None,
        )
        for one in ran:
            answers.append(one)
            named = f"{one.name} {one.of_name:.0%}, {len(one.first)} names {one.chance:.0%}"
            print(f"{one.case} [{one.build}]: {one.verdict}: {named}; {one.told}", flush=True)
    text = report(answers)
    print(f"\n{text}")
    if said.write:
        GUIDE.write_text(with_block(GUIDE.read_text(), BLOCK, text))


if __name__ == "__main__":
    main()
