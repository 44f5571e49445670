"""Score predictions of published levels, with the coefficients as shipped.

``python -m tests.validation.scored --out FILE`` writes predictive draws of all levels of all cases,
in the form of `metersim.questions.shared.unseen`.  `tests.validation.fit` predicts each source by
a fit without it, and writes a file of the same form.

``python -m tests.validation.scored --show FILE [FILE ...]`` prints the scores of such files.  Cases
that were held back are left out unless ``--open`` is given.
"""

import argparse
import dataclasses
from concurrent.futures import ProcessPoolExecutor
from pathlib import Path

import numpy as np

from metersim.machine.stations import stations_of
from metersim.questions.evidence.predictions import predict
from metersim.questions.evidence.printed import printed, spacings_of, unit_of
from metersim.questions.evidence.score import is_difference, score
from metersim.questions.evidence.scoretext import score_markdown
from metersim.questions.shared.cases import read_case, shipped_cases
from metersim.questions.shared.unseen import BLOCKS, DRAWS, Level, read_unseen, write_unseen


def levels_alone(case):
    """A case with its levels, and the conditions that they need."""
    rows = tuple(row for row in case.rows if row.kind == "level")
    needed = {term.condition for row in rows for term in row.terms}
    conditions = {name: one for name, one in case.conditions.items() if name in needed}
    return dataclasses.replace(case, rows=rows, conditions=conditions)


def complete(draws, rng):
    """Draws with others in place of those that have no value."""
    given = draws[np.isfinite(draws)]
    return np.where(np.isfinite(draws), draws, rng.choice(given, len(draws)))


def levels_of(blocks):
    """Levels of one case, from its predictions, one for each block."""
    case, rng = blocks[0].case, np.random.default_rng(1)
    for row in case.rows:
        drawn = [complete(printed(made, row, seed), rng) for seed, made in enumerate(blocks, 1)]
        yield Level(
            laboratory=case.laboratory,
            case=case.name,
            row=row.name,
            measure=row.measure,
            published=row.number("published"),
            unit=unit_of(row)[0],
            spacings=spacings_of(row),
            group=str(row.stated.get("group", "")),
            held_back=case.held_back,
            draws=np.array(drawn),
        )


def predicted(cases, stations, executor):
    """Levels of all cases with their draws."""
    blocks = [
        predict(cases, draws=DRAWS, seed=seed, stations=stations, executor=executor)
        for seed in range(1, BLOCKS + 1)
    ]
    return [level for made in zip(*blocks, strict=True) for level in levels_of(made)]


def make(out, folder):
    """Write the file of predictive draws."""
    paths = sorted(Path(folder).glob("*.toml")) if folder else shipped_cases().values()
    cases = [read_case(path) for path in paths]
    with ProcessPoolExecutor(2) as executor:
        found = []
        for case in filter(lambda case: case.rows, map(levels_alone, cases)):
            found += predicted([case], stations_of, executor)
            print(f"{case.name}: {len(case.rows)} levels", flush=True)
    Path(out).write_text(write_unseen(found))


def show(paths, opened):
    """Print the scores of files; beside those after the first, whether their skill differs."""
    first = None
    for path in paths:
        levels = read_unseen(Path(path))
        found = score(level for level in levels if opened or not level.held_back)
        print(f"## {Path(path).stem}\n\n{score_markdown(found)}")
        skill = found.whole.skill
        if first is not None:
            word = "differs" if is_difference(skill, first) else "cannot be distinguished"
            print(f"Skill {word} from that of the first file ({skill - first:+.2f}).\n")
        first = skill if first is None else first


def main():
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--out", help="file to write")
    parser.add_argument("--folder", help="folder with case files in place of the shipped ones")
    parser.add_argument("--show", nargs="+", default=[], help="files whose scores are printed")
    parser.add_argument("--open", action="store_true", help="show cases that were held back, too")
    options = parser.parse_args()
    if options.out:
        make(options.out, options.folder)
    show(options.show, options.open)


if __name__ == "__main__":
    main()
