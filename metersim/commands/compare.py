"""Says what changes when a setting changes, on the same luck."""

from __future__ import annotations

import argparse

from metersim import outputs
from metersim.commands.shared import (
    changes_of,
    check_unknown,
    check_vary,
    draws_of,
    harvest_of,
    replicates_of,
    seed_of,
)
from metersim.faults import all_of
from metersim.reports.compare import comparison
from metersim.studies.compare import compare
from metersim.studies.variants import variants


def answer(options: argparse.Namespace) -> str:
    """Compare as the options say, draw what they ask for, and tell the result."""
    names = [name for name in (options.scenario, options.other) if name is not None]
    named, seed, replicates, draws, harvest, *_ = all_of(
        lambda: variants(*names, vary=options.vary, changes=changes_of(options)),
        lambda: seed_of(options),
        lambda: replicates_of(options),
        lambda: draws_of(options),
        lambda: harvest_of(options),
        lambda: check_vary(options),
        lambda: outputs.check_writable(
            [("--figure", options.figure)], [options.scenario, options.other]
        ),
    )
    check_unknown(options, *named.values())
    result = compare(
        *named.values(),
        labels=list(named),
        seed=seed,
        replicates=replicates,
        engine=options.engine,
        keep=bool(options.figure),
        draws=draws,
        plants=options.plants,
    )
    if options.figure:
        from metersim.figures import comparison_figure, encoded

        drawn = comparison_figure(result, options.units)
        outputs.write_all([(options.figure, encoded(drawn, options.figure))])
    return comparison(result, options.units, harvest)
