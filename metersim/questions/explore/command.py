"""The command `explore`: a page on this computer to move settings and see what happens."""

from __future__ import annotations

import argparse
from collections.abc import Iterator
from contextlib import suppress

from metersim.files.faults import all_of, whole
from metersim.machine.reading import load_scenario
from metersim.questions.shared.options import changes_of, units_option

USUAL_PORT = 8320
USUAL = "maize_bench"


def add_options(command: argparse.ArgumentParser) -> None:
    """Add the options of ``metersim explore``."""
    add = command.add_argument
    add(
        "scenario",
        metavar="SCENARIO",
        nargs="?",
        default=USUAL,
        help=f"a scenario file, or the name of a shipped one ({USUAL})",
    )
    add(
        "--set",
        action="append",
        default=[],
        metavar="KEY=VALUE",
        help="change one key of the scenario; may be repeated; 'metersim list keys' lists all",
    )
    add(
        "--port",
        default=str(USUAL_PORT),
        metavar="N",
        help=f"port of this computer ({USUAL_PORT}); 0 takes a free one",
    )
    add("--no-browser", action="store_true", help="open no browser; give the address alone")
    units_option(command)
    command.set_defaults(turns=None)


def answer(options: argparse.Namespace) -> Iterator[str]:
    """The address of the page, and a last line when it is stopped."""
    scenario, port = all_of(
        lambda: load_scenario(options.scenario, changes_of(options)),
        lambda: whole("--port", options.port, 0, 65_535),
    )
    from metersim.questions.explore.server import Server
    from metersim.questions.explore.sessions import Sessions

    with Server(Sessions(scenario, options.scenario), port, options.units) as server:
        yield f"{server.address} shows {scenario.name} on this computer alone; Ctrl-C stops it."
        with suppress(KeyboardInterrupt):
            if not options.no_browser:
                _show(server.address)
            server.serve_forever()
    yield "Stopped. What was not saved is gone."


def _show(address: str) -> None:
    """Open the address in a browser with windows, if there is one; it must not stop the page."""
    import threading
    import webbrowser

    def show() -> None:
        with suppress(Exception):
            browser = webbrowser.get()
            if type(browser) is not webbrowser.GenericBrowser:  # that would take the terminal
                browser.open(address)

    threading.Thread(target=show, daemon=True).start()
