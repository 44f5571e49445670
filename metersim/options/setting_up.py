"""Options of the commands about setting a meter up by looks at it."""

from __future__ import annotations

from metersim.options.common import scenario_option, units_option, workers_option

TYPE_CHECKING = False  # as typing.TYPE_CHECKING, without importing typing
if TYPE_CHECKING:
    import argparse

    Commands = argparse._SubParsersAction[argparse.ArgumentParser]


def add_commands(commands: Commands) -> None:
    """Declare them."""
    one = commands.add_parser("ladder", help="say what each single step of each setting does")
    _watched_options(one, "each rung", "20,000")
    one.add_argument("--seeds", metavar="N", help="seeds of a count whose noise is told (300)")
    one.add_argument("--figure", metavar="FILE", help="draw the ladder: .png, .svg or .pdf")

    one = commands.add_parser("howmany", help="say how many seeds to count, and what a count tells")
    _watched_options(one, "each state", "120,000")
    _howmany_options(one)

    one = commands.add_parser(
        "habits", help="hold habits of operators against one another on many meters"
    )
    _habits_options(one)

    one = commands.add_parser("next", help="say what is likely off, and give one next move")
    _next_options(one)


def _watched_options(command: argparse.ArgumentParser, what: str, usual: str) -> None:
    """Which scenario, and how long it is watched on what luck."""
    scenario_option(command)
    units_option(command, "metric")
    command.add_argument("--seed", default="1", metavar="N", help="what chooses the luck (1)")
    said = f"cells that {what} is watched for; more of them say it more exactly ({usual})"
    command.add_argument("--cells", metavar="N", help=said)


def _howmany_options(command: argparse.ArgumentParser) -> None:
    add = command.add_argument
    add("--step", metavar="SETTING=+1", help="tell this step from none (notch=+1)")
    add("--vary", metavar="KEY=A,B", help="tell these two values of a key apart")
    add(
        "--limit",
        metavar="'MEASURE<=VALUE'",
        help="tell on which side of a limit the meter is, in SI; or db32t1023, nyt1628, onal1995: "
        "those of a published class",
    )
    add("--certainty", metavar="PERCENT", help="how sure, when nothing differs (95)")
    add("--power", metavar="PERCENT", help="how sure to find what differs (80)")
    add("--seeds", metavar="N", help="what a count of N can say (300); with --add, those counted")
    add(
        "--way",
        choices=("belt", "sensor"),
        default="belt",
        help="what is counted: seeds on a belt or in the row, or pulses of the sensor (belt)",
    )
    add("--add", metavar="FILE", help="add a count with the present settings to a log, as CSV")
    add("--row", metavar="NAME", help="with --add: which row of the machine")
    add("--skips", metavar="N", help="with --add: skips counted")
    add("--doubles", metavar="N", help="with --add: doubles counted")
    add("--triples", metavar="N", help="with --add: triples counted (0)")


def _habits_options(command: argparse.ArgumentParser) -> None:
    scenario_option(command)
    units_option(command, "metric", ", whose steps settings are moved by")
    add = command.add_argument
    add(
        "--habit",
        action="append",
        default=[],
        metavar="NAME",
        help="one of: leave alone, one notch, several notches, notch and vacuum, count too few, "
        "chase every count; may be repeated (all); habits of your own are tried from Python",
    )
    add("--meters", metavar="N", help="meters that each habit is given (500)")
    add("--count", metavar="N", help="cells of a look, where a habit does not say (300)")
    add(
        "--skips-most",
        metavar="PERCENT",
        help="skips that operators let pass (half a point more than when nothing is wrong)",
    )
    add("--doubles-most", metavar="PERCENT", help="the same for doubles")
    add("--seed", default="1", metavar="N", help="what chooses meters and luck (1)")
    workers_option(command, None)
    add("--csv", metavar="FILE", help="write one row a habit and meter")
    add("--figure", metavar="FILE", help="draw it for a projector: .png, .svg or .pdf")
    add("--paths", metavar="FILE", help="draw what each habit did on three meters, look by look")


def _next_options(command: argparse.ArgumentParser) -> None:
    scenario_option(command)
    units_option(command, "metric", "), and of the steps of settings (metric")
    add = command.add_argument
    add("--seeds", metavar="N", help="seeds counted at these settings, those of doubles included")
    add("--skips", metavar="N", help="skips among them")
    add("--doubles", metavar="N", help="doubles among them")
    add("--triples", metavar="N", help="triples among them (0)")
    add(
        "--way",
        choices=("belt", "sensor"),
        help="what was counted: seeds on a belt or in the row, or pulses of the sensor (belt)",
    )
    add("--cells-seen", metavar="N", help="cells looked at on the disc at rest, after the edge")
    add("--cells-loaded", metavar="N", help="those with a seed or more")
    add("--cells-doubled", metavar="N", help="those with two or more, if they were counted")
    add(
        "--log",
        metavar="FILE",
        help="counts of before, as 'howmany --add' writes them; alone, the last one of the row is "
        "the present one, at its own settings",
    )
    add("--row", metavar="NAME", help="which row of the log")
    add("--skips-most", metavar="PERCENT", help="skips to put up with (those of a meter in order)")
    add("--doubles-most", metavar="PERCENT", help="the same for doubles")
    add(
        "--also",
        action="append",
        default=[],
        choices=("guide", "hole"),
        help="parts that may be changed too; may be repeated",
    )
    add("--seed", default="1", metavar="N", help="what chooses states and luck (1)")
    workers_option(command, None)
    add("--figure", metavar="FILE", help="draw it: .png, .svg or .pdf")
