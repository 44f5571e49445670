"""The scenarios that a comparison compares, from names, files, or one key that is varied."""

from __future__ import annotations

from collections.abc import Sequence
from functools import partial
from pathlib import Path

from metersim.faults import all_of, bad
from metersim.reading import listed, load_scenario, section_of
from metersim.scenario import Scenario

MOST = 6  # values of one key, that a figure can tell apart


def variants(
    *scenarios: str | Path | Scenario,
    vary: str | None = None,
    changes: str | Sequence[str] = (),
    labels: Sequence[str] = (),
) -> dict[str, Scenario]:
    """Scenarios to compare, by what tells them apart.

    Parameters
    ----------
    *scenarios : str, Path or Scenario
        Two or more: shipped ones by name, files, or scenarios of your own making.  One, by name
        or file, with `vary`.
    vary : str, optional
        Values of one key, ``key=a,b``.
    changes : str or sequence of str
        Changes of single keys for all, as ``key=value``; takes names or files.
    labels : sequence of str
        One each; else the names, or the values of what is varied.

    Raises
    ------
    BadInput
        With every fault found.
    ValueError
        For a `Scenario` together with `vary` or `changes`, or other than one label each.
    """
    if not scenarios or (vary is None) == (len(scenarios) == 1):
        raise bad("compare", "", "give either --vary key=a,b or a second scenario")
    made = [one for one in scenarios if isinstance(one, Scenario)]
    if made and (vary is not None or changes):
        raise ValueError(
            f"{made[0].name!r} is made already; give vary and changes with the name or file of "
            "a scenario, or change it with its method replace"
        )
    changes = listed(changes)
    loads = [partial(_loaded, one, changes) for one in scenarios]
    names = _names(scenarios)
    if vary is not None:
        names = _settings(vary)
        loads = [partial(_loaded, scenarios[0], [*changes, name], "--vary") for name in names]
    names = list(labels) or names
    if len(names) != len(loads):
        raise ValueError(f"{len(loads)} scenarios with {len(names)} labels; give one label each")
    for name in names:
        if names.count(name) > 1:
            raise bad("compare", name, "is there twice; compare what differs, or give labels")
    return dict(zip(names, all_of(*loads), strict=True))


def _loaded(
    scenario: str | Path | Scenario, changes: Sequence[str], changed_by: str = "--set"
) -> Scenario:
    if isinstance(scenario, Scenario):
        return scenario
    return load_scenario(scenario, changes, changed_by=changed_by)


def _names(scenarios: Sequence[str | Path | Scenario]) -> list[str]:
    """The shortest names that tell scenarios apart."""
    short = [one.name if isinstance(one, Scenario) else Path(one).stem for one in scenarios]
    if len(set(short)) == len(short):
        return short
    return [
        ", ".join((one.name, *one.changes)) if isinstance(one, Scenario) else str(one)
        for one in scenarios
    ]


def _settings(vary: str) -> list[str]:
    """The single settings that ``key=a,b`` stands for."""
    key, _, values = (part.strip() for part in vary.partition("="))
    if "{" in values:
        message = "takes values; give a range with --set, or in the files of two scenarios"
        raise bad("--vary", vary, message)
    words = [word.strip() for word in values.split(",") if word.strip()]
    if not 2 <= len(words) <= MOST:
        message = f"must read key=a,b with 2 to {MOST} values, such as vacuum_kpa=3,4"
        raise bad("--vary", vary, message)
    if section_of(key) == ("run", "turns"):
        raise bad("--vary", key, "all variants are watched equally long; set it with --set")
    return [f"{key}={word}" for word in words]
