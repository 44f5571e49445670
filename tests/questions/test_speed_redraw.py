"""Speed of a redraw, off by default: ``pytest -m benchmark -n 0 -s``."""

import http.client
import json
import threading
import time

import pytest

import metersim as m
from metersim.questions.explore.server import HOST, Server
from metersim.questions.explore.sessions import Sessions
from tests.yardstick import seconds_of_a_pass

pytestmark = pytest.mark.benchmark
MOST = 6.0  # passes, for what moves with a slider
MOST_SERVED = 8.0  # passes, for the same with the words of a page, over a connection
ROUNDS = 12


@pytest.mark.parametrize("name", ["maize_bench", "maize_field"])
def test_a_redraw_takes_few_passes(name):
    """300 turns beside a pinned setting, with their JSON, in a process that is warm."""
    page = m.Explorer(name)
    page.pin("turns=300")

    def redrawn(vacuum):
        return next(page.redraw(m.Request(["turns=300", "notch=1", f"vacuum_kpa={vacuum}"])))

    def seconds(vacuum):
        start = time.process_time()
        json.dumps(redrawn(vacuum).to_dict(), allow_nan=False)
        return time.process_time() - start

    seconds(3.0)
    taken = [(seconds(3 + k / 50), seconds_of_a_pass(5)) for k in range(1, ROUNDS + 1)]
    passes = min(one for one, _ in taken) / min(one for _, one in taken)
    print(f"\n{name}: {passes:.1f} passes a redraw of 300 turns")
    assert passes <= MOST


@pytest.mark.parametrize("name", ["maize_bench", "maize_field"])
def test_the_first_line_of_a_page_takes_few_passes(name):
    """The same as a page gets it, both ends of the connection counted."""
    scenario = m.load_scenario(name, "turns=300")
    with Server(Sessions(scenario, name, draws=0)) as server:
        thread = threading.Thread(target=server.serve_forever)
        thread.start()
        link = http.client.HTTPConnection(HOST, server.server_port)

        def asked(route, **given):
            start = time.process_time()
            headers = {"Content-Type": "application/json"}
            link.request("POST", f"/api/{route}", json.dumps(given), headers)
            body = link.getresponse().read()
            return time.process_time() - start, json.loads(body)

        page = asked("open")[1]["session"]
        asked("pin", session=page, changes=[])
        taken = []
        for k in range(ROUNDS + 1):
            changes = ["notch=1", f"vacuum_kpa={3 + k / 50}"]
            seconds, found = asked("redraw", session=page, changes=changes)
            taken.append((seconds, seconds_of_a_pass(5)))
        server.shutdown()
        thread.join()
    link.close()
    passes = min(one for one, _ in taken[1:]) / min(one for _, one in taken)
    print(f"\n{name}: {passes:.1f} passes a redraw of 300 turns over a connection")
    assert found["data"]["pinned"] and passes <= MOST_SERVED
