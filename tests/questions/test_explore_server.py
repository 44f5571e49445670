"""The page's server: what it gives is what single calls give, and what it refuses it says."""

import http.client
import io
import json
import random
import re
import signal
import socket
import threading
import time
from contextlib import closing, contextmanager, suppress

import pandas
import pytest

import metersim as m
from metersim.cli import main
from metersim.files.faults import BadInput
from metersim.machine.given import scenario_of
from metersim.machine.losses import REASONS
from metersim.machine.sections import all_fields
from metersim.measures.limits import cautions
from metersim.questions.explore import command, server
from metersim.questions.explore.api import MOST_BODY, ROUTES, reply_to
from metersim.questions.explore.controls import MAIN, controls_of, values_of
from metersim.questions.explore.hiddenjson import state_json
from metersim.questions.explore.server import ASSETS, SAFE, Server
from metersim.questions.explore.sessions import MOST_SESSIONS, Sessions
from metersim.questions.explore.words import words_of
from metersim.questions.shared.game.meter import replayed
from metersim.questions.shared.motion.followed import SCRIPTS
from tests.test_ends import ended, started

DRAWS = 2
BENCH = m.load_scenario("maize_bench", "turns=20")
KIND = {"Content-Type": "application/json"}


@contextmanager
def served(scenario=BENCH, file="maize_bench"):
    """A server in a thread, on a free port."""
    with Server(Sessions(scenario, file, DRAWS)) as one:
        thread = threading.Thread(target=one.serve_forever, kwargs={"poll_interval": 0.02})
        thread.start()
        try:
            yield one
        finally:
            one.shutdown()
            thread.join()


@pytest.fixture(scope="module")
def page():
    with served() as one:
        yield one


def sent(page, method, path, body=None, headers=KIND, **more):
    """Status, headers and body of a reply."""
    link = http.client.HTTPConnection(server.HOST, page.server_port, timeout=120)
    try:
        link.request(method, path, body, {**headers, **more})
        reply = link.getresponse()
        return reply.status, reply.headers, reply.read()
    finally:
        link.close()


def asked(page, route, **given):
    """Status and body of a request of the page."""
    status, _, body = sent(page, "POST", f"/api/{route}", json.dumps(given))
    return status, body


def said(page, route, **given):
    """JSON of a request that succeeds."""
    status, body = asked(page, route, **given)
    assert status == 200, body
    return json.loads(body)


def lines(body):
    return [json.loads(line) for line in body.splitlines()]


@pytest.fixture
def session(page):
    return said(page, "open")["session"]


def test_it_gives_its_own_files_alone_with_headers_that_keep_others_out(page):
    for path in {"/", "/page.css", "/page.js", *(f"/{one}" for one in SCRIPTS)} & {*ASSETS}:
        status, headers, body = sent(page, "GET", path)
        assert status == 200 and body == ASSETS[path].read_bytes()
        assert {name: headers[name] for name in SAFE} == SAFE
    assert sent(page, "GET", "/favicon.ico")[0] == 204
    for path in ("/server.py", "/../server.py", "/%2e%2e/server.py", "//etc/passwd", "/page.js/"):
        assert sent(page, "GET", path)[0] == 404, path


def test_no_file_of_the_page_fetches_anything_from_elsewhere():
    for file in {*ASSETS.values()}:
        text = file.read_text() if file.is_file() else ""
        text = text.replace("http://www.w3.org/2000/svg", "")  # a name, which nothing fetches
        assert "://" not in text and "eval(" not in text, file
        if file.suffix == ".html":
            assert "<style" not in text and " style=" not in text and " onclick=" not in text


def test_opening_gives_all_settings_with_the_first_ones_first(page):
    made = said(page, "open")
    assert (made["name"], made["units"], made["changes"]) == ("maize_bench", "metric", [])
    keys = [one["key"] for one in made["settings"]]
    assert [one["key"] for one in made["settings"] if one["main"]] == keys[: len(MAIN)]
    assert keys[: len(MAIN)] == list(MAIN)
    assert {*keys} == {f"{section}.{name}" for section, name in all_fields()}
    vacuum = made["settings"][1]
    assert vacuum["typed"] == {"metric": "vacuum_kpa", "us": "vacuum_inh2o"}
    assert vacuum["unit"] == {"metric": "kPa", "us": "inH2O"}
    assert [vacuum[end]["metric"] for end in ("low", "value", "high")] == [2, 4, 8]
    assert vacuum["step"] == {"metric": 0.5, "us": 2.0}
    assert any(one["name"] == "maize_field" and one["shows"] for one in made["scenarios"])


@pytest.mark.parametrize("name", ["maize_bench", "half_parked_open", "canola_small_seed"])
def test_both_ends_of_every_slider_are_allowed(name):
    scenario = m.load_scenario(name)
    for one in controls_of(scenario):
        if one.spec.kind not in ("number", "count"):
            continue
        made = one.to_dict()
        for system in ("metric", "us"):
            low, high, step = (made[end][system] for end in ("low", "high", "step"))
            assert low < high or one.key == "toolbar.rows", one.key
            assert step > 0 and (high - low) / step <= 200
            if one.value is None:
                continue
            assert low <= made["value"][system] <= high
            for end in {low, high}:
                scenario_of(scenario, f"{made['typed'][system]}={end}")


def test_controls_show_what_changes_made_of_a_scenario():
    moved = scenario_of(BENCH, ["speed_mph=5", "inner_guide=true", "notch=2"])
    values = values_of(controls_of(BENCH), moved)
    assert values["demand.speed"] == {"metric": 8.04672, "us": 5.0}
    assert values["guide.inner_guide"] is True and values["seed.size_cv"] == {
        "metric": None,
        "us": None,
    }


def test_a_redraw_is_that_of_python_line_by_line(page, session):
    changes, other = ["notch=1", "vacuum_kpa=3.2"], ["notch=0"]
    assert said(page, "pin", session=session, changes=other) == {"pinned": other}
    status, body = asked(page, "redraw", session=session, changes=changes, seed=3, cells=8)
    found = lines(body)
    request = m.Request(changes, seed=3, cells=8)
    wanted = [*m.redraw(BENCH, request, pinned=other, draws=DRAWS)]
    assert status == 200 and [one["state"] for one in found] == [one.state for one in wanted]
    assert found[0]["data"] == json.loads(json.dumps(wanted[0].to_dict()))
    assert found[-1]["data"] == json.loads(json.dumps(wanted[-1].to_dict()))
    assert found[1:-1] == [
        {"state": "updating", "done": one.done, "draws": one.draws} for one in wanted[1:-1]
    ]
    assert found[0]["settings"]["vacuum.vacuum"]["metric"] == 3.2
    words = found[-1]["words"]
    assert len(words["table"]) == 7 and all(row[3] for row in words["table"])
    assert "all uncertainty" in words["heads"][2] and words["differs"]
    assert "sampling error alone" in found[0]["words"]["heads"][2]
    assert said(page, "unpin", session=session) == {"pinned": None}
    status, body = asked(page, "redraw", session=session, changes=changes, total=False)
    (alone,) = lines(body)
    assert alone["data"]["pinned"] is None and {row[3] for row in alone["words"]["table"]} == {None}


def test_its_sentences_are_those_of_the_command(page, session, capsys):
    _, body = asked(page, "redraw", session=session, changes=["notch=1"], units="us")
    words = lines(body)[-1]["words"]
    run = ["run", "maize_bench", "--turns", "20", "--draws", str(DRAWS), "--set", "notch=1"]
    assert main([*run, "--units", "us"]) == 0
    told = capsys.readouterr().out
    for sentence in (*words["headline"], words["spoils"], *words["outside"]):
        assert sentence.partition(" (set by")[0] in told
    assert "mph" in words["headline"][0] and "km/h" not in json.dumps(words)
    for label, value, interval, _ in words["table"]:
        assert any(line.split("  ")[0] == label and value in line for line in told.splitlines())
        assert interval in told


def test_a_setting_that_drops_no_seed_has_its_words(page, session):
    _, body = asked(page, "redraw", session=session, changes=["vacuum_kpa=0"], total=False)
    words = lines(body)[0]["words"]
    assert words["headline"] == ["No seed leaves the meter."]
    assert words["spoils"].endswith(", 100 of 100 cells.")
    assert "none" in words["table"][0][1]


def test_what_is_outside_evidence_is_said_with_the_names_of_the_controls():
    scenario = m.load_scenario("maize_bench", ["cells=12", "vacuum_kpa=0.5", "turns=20"])
    words = words_of(next(m.redraw(scenario, draws=0)))
    assert len(words["outside"]) == len(cautions(scenario)) > 2
    labels = {one.to_dict()["label"] for one in controls_of(scenario)}
    named = [re.search(r"\(set by (.+)\)\.$", one) for one in words["outside"]]
    assert {one for found in named if found for one in found[1].split(", ")} <= labels
    assert "holes on the disc" in json.dumps(words["outside"])


def test_faults_are_those_of_the_command(page, session, capsys):
    wrong = ["vacuum_kpa=99", "foo=1", "notch=x", "hole_diameter_mm=nan"]
    status, body = asked(page, "redraw", session=session, changes=wrong)
    assert main(["run", "maize_bench", *(word for one in wrong for word in ("--set", one))]) == 2
    printed = capsys.readouterr().err.splitlines()
    faults = json.loads(body)["faults"]
    assert status == 400 and len(faults) == 4
    assert {*faults} == {line.removeprefix("metersim: --set: ") for line in printed}
    assert asked(page, "pin", session=session, changes=wrong)[0] == 400
    status, body = asked(page, "redraw", session=session, changes=["turns=1000", "tick=0.01"])
    (fault,) = json.loads(body)["faults"]
    assert status == 400 and "30,000 cells and 100,000 ticks; the page takes" in fault


def test_a_newer_request_ends_the_older_one(page, session):
    link = http.client.HTTPConnection(server.HOST, page.server_port, timeout=120)
    older = {"session": session, "changes": ["notch=2", "turns=4000"]}
    link.request("POST", "/api/redraw", json.dumps(older), KIND)
    deadline = time.monotonic() + 60
    explorer = page.sessions.get(session).explorer
    while not explorer._newest and time.monotonic() < deadline:
        time.sleep(0.005)
    _, body = asked(page, "redraw", session=session, changes=["notch=1"])
    *_, last = lines(link.getresponse().read())
    link.close()
    assert last == {"state": "cancelled"} and lines(body)[-1]["state"] == "total"


def test_two_pages_at_once_have_their_own_settings(page):
    first, second = (said(page, "open")["session"] for _ in range(2))
    said(page, "pin", session=first, changes=["notch=2"])
    found = {}

    def ask(name, notch):
        found[name] = asked(page, "redraw", session=name, changes=[f"notch={notch}"])

    threads = [threading.Thread(target=ask, args=pair) for pair in ((first, 1), (second, 3))]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    one, two = (lines(found[name][1])[-1]["data"] for name in (first, second))
    assert one["state"] == two["state"] == "total"
    assert one["changes"][-1] == "notch=1" and one["pinned"] and two["pinned"] is None


@pytest.mark.parametrize("units", ["metric", "us"])
def test_a_saved_scenario_opens_again_as_it_was(page, session, units):
    speed = {"metric": "speed_kmh=7", "us": "speed_mph=5"}[units]
    changes = ["notch=1", "vacuum_kpa={low = 3, high = 4}", "lot=soybean", speed]
    changes.append("hole_diameter_mm=3.5")
    _, text = asked(page, "save", session=session, changes=changes, units=units)
    made = said(page, "open", text=text.decode(), name="mine.toml")
    assert made["name"] == "mine" and ("units" in text.decode()) == (units == "us")
    assert asked(page, "save", session=made["session"], units=units)[1] == text
    pair = []
    for number, given in ((session, changes), (made["session"], [])):
        _, body = asked(page, "redraw", session=number, changes=given, total=False)
        pair.append(lines(body)[0])
    assert pair[0]["words"]["table"] == pair[1]["words"]["table"]
    if units == "metric":
        for part in ("cells", "spacing", "strip", "disc", "histogram"):
            assert pair[0]["data"][part] == pair[1]["data"][part]


def test_csv_and_figure_are_of_the_run_that_is_shown(page, session):
    run = m.simulate(scenario_of(BENCH, "notch=1"), seed=3)
    given = {"session": session, "changes": ["notch=1"], "seed": 3}
    _, body = asked(page, "csv", **given)
    table = pandas.read_csv(io.BytesIO(body))
    assert table["position_m"].tolist() == run.seeds.position.tolist()
    _, body = asked(page, "csv", what="cells", **given)
    table = pandas.read_csv(io.BytesIO(body))
    assert table["released"].tolist() == run.cells.released.tolist()
    assert table["reason"].tolist() == [REASONS[k] for k in run.cells.reason]
    moved = said(page, "motion", first=10**9, cells=5, **given)
    assert moved["first"] == len(run.cells) - 5
    assert {one["cell"]: one["released"] for one in moved["cells"]}.items() >= {
        cell: int(run.cells.released[cell]) for cell in range(len(run.cells) - 5, len(run.cells))
    }.items()


@pytest.mark.slow
def test_a_figure_is_that_of_python(page, session):
    run = m.simulate(scenario_of(BENCH, "notch=1"), seed=3)
    given = {"session": session, "changes": ["notch=1"], "seed": 3}
    status, headers, body = sent(
        page, "POST", "/api/figure", json.dumps({**given, "kind": "svg", "units": "us"})
    )
    assert status == 200 and headers["Content-Type"] == "image/svg+xml"
    assert body == m.questions.shared.page.encoded(m.draw(run, "us"), "page.svg")


@pytest.mark.parametrize(
    ("method", "path", "headers", "status"),
    [
        ("GET", "/", {"Host": "example.test"}, 403),
        ("GET", "/", {"Host": "127.0.0.1"}, 403),
        ("POST", "/api/open", {"Host": "127.0.0.1.example.test:80"}, 403),
        ("POST", "/api/open", {"Origin": "https://example.test"}, 403),
        ("POST", "/api/open", {"Origin": "null"}, 403),
        ("POST", "/api/open", {"Content-Type": "text/plain"}, 415),
        ("POST", "/api/open", {"Content-Type": "application/x-www-form-urlencoded"}, 415),
        ("POST", "/api/open", {"Content-Length": "-1"}, 411),
        ("POST", "/api/open", {"Content-Length": "1" + "0" * 30}, 413),
        ("POST", "/api/open", {"Content-Length": str(MOST_BODY + 1)}, 413),
        ("POST", "/api/nothing", {}, 404),
        ("POST", "/api/../server.py", {}, 404),
        ("POST", "/", {}, 405),
        ("GET", "/api/open", {}, 405),
        ("PUT", "/api/open", {}, 405),
        ("HEAD", "/", {}, 405),
    ],
)
def test_what_is_not_for_it_is_refused_with_a_line(page, method, path, headers, status):
    found, had, body = sent(page, method, path, "{}", KIND | headers)
    assert found == status and had["X-Content-Type-Options"] == "nosniff"
    if method != "HEAD":
        assert len(json.loads(body)["faults"]) == 1


def test_its_own_origin_and_localhost_are_welcome(page):
    for name in ("127.0.0.1", "localhost"):
        own = {"Host": f"{name}:{page.server_port}", "Origin": f"http://{name}:{page.server_port}"}
        assert sent(page, "POST", "/api/open", "{}", KIND | own)[0] == 200


DEEP = '{"a":' * 5_000 + "1" + "}" * 5_000


@pytest.mark.parametrize(
    ("route", "body", "word"),
    [
        ("open", "", "not valid JSON"),
        ("open", "[]", "must be a JSON object"),
        ("open", "\xff", "not valid JSON"),
        ("open", DEEP, "nested too deep"),
        ("open", '{"scenario": "../../etc/passwd"}', "is not shipped"),
        ("open", '{"scenario": 3}', "must be a text"),
        ("open", '{"scenario": "\\ud800"}', "must be a text"),
        ("open", '{"text": "a = ", "name": "../x.toml"}', "x.toml: is not valid TOML"),
        ("open", '{"text": "extends = \'/etc/passwd\'"}', "no shipped scenario"),
        ("open", "{\"text\": \"extends = 'maize_bench'\\nmeter = '/etc/x'\"}", "no meter file"),
        ("open", "{\"text\": \"extends = 'maize_bench'\\n[seed]\\nlot = 'x.toml'\"}", "no shipped"),
        ("open", '{"text": "extends = \'maize_bench\'\\n[run]\\nturns = 9999999"}', "fewer turns"),
        ("open", '{"text": "extends = 5\\n[run]\\nturns = true"}', "must be the path or name"),
        ("redraw", '{"seed": NaN}', "NaN is no number of JSON"),
        ("redraw", '{"seed": 1e400}', "whole number"),
        ("redraw", '{"seed": 1' + "0" * 400 + "}", "whole number"),
        ("redraw", '{"seed": 1' + "0" * 5_000 + "}", "not valid JSON"),
        ("redraw", '{"seed": -1}', "whole number"),
        ("redraw", '{"seed": true}', "whole number"),
        ("redraw", '{"cells": 201}', "from 1 to 200"),
        ("redraw", '{"first": -1}', "whole number"),
        ("redraw", '{"units": ["us"]}', "metric or us"),
        ("redraw", '{"total": 1}', "true or false"),
        ("redraw", '{"changes": "notch=1"}', "list of texts"),
        ("redraw", '{"changes": [["notch=1"]]}', "list of texts"),
        ("redraw", '{"changes": ["notch"]}', "must read key=value"),
        ("redraw", '{"changes": ["lot=/etc/passwd.toml"]}', "is no shipped lot"),
        ("redraw", '{"changes": ["rows.1=lot=/etc/passwd.toml"]}', "is no shipped lot"),
        ("redraw", '{"changes": ["vacuum_kpa=1e999"]}', "is not allowed"),
        ("redraw", '{"changes": ["vacuum_kpa={low=1,high={low=1}}"]}', "is not allowed"),
        ("redraw", '{"changes": ["' + "x" * 3_000 + '"]}', "letters at most"),
        ("pin", '{"changes": ["turns=9999999"]}', "fewer turns"),
        ("motion", '{"cells": 10000}', "whole number"),
        ("save", '{"changes": ["notch=99"]}', "is not allowed"),
        ("figure", '{"kind": "exe"}', "png or svg or pdf"),
        ("figure", '{"kind": {}}', "png or svg or pdf"),
        ("csv", '{"what": "../secret"}', "seeds or cells"),
        ("hidden", '{"acts": [1]}', "list of objects"),
        ("hidden", '{"acts": [' + ",".join(["{}"] * 41) + "]}", "40 at most"),
    ],
)
def test_what_makes_no_sense_is_said_in_a_line(page, session, route, body, word):
    if '{"' in body and route not in ("open", "hidden"):
        body = body.replace("{", f'{{"session": "{session}", ', 1)
    status, _, told = sent(page, "POST", f"/api/{route}", body.encode("latin-1"))
    assert status == 400
    assert any(word in line for line in json.loads(told)["faults"])


def test_a_page_that_is_gone_is_told_so(page):
    old = said(page, "open")["session"]
    for _ in range(MOST_SESSIONS):
        said(page, "open")
    for number in (old, "", "x"):
        status, body = asked(page, "redraw", session=number)
        assert status == 404 and "Load it anew" in json.loads(body)["faults"][0]


def test_a_game_with_a_hidden_fault_is_replayed_from_its_acts(page):
    acts = [{"count": 100}]
    found = said(page, "hidden", number=7, level=1, units="us", acts=acts)
    assert found == json.loads(json.dumps(state_json(replayed(7, 1, "us", acts))))
    assert asked(page, "hidden", number=7, acts=[{"count": "x"}])[0] == 400
    assert asked(page, "hidden", number=-1)[0] == asked(page, "hidden", level=9)[0] == 400


def anything(chance, deep=0):
    """Random JSON, often with keys and values that mean something."""
    words = ["", "notch", "notch=1", "turns=3", "a\0b", "us", "png", "\u2028", "lot=x.toml", "="]
    plain = [None, True, -1, 0, 7, 10**30, 1e308, -0.5, *words]
    kind = chance.random()
    if deep > 3 or kind < 0.5:
        return chance.choice(plain)
    if kind < 0.75:
        return [anything(chance, deep + 1) for _ in range(chance.randrange(4))]
    return {chance.choice(words): anything(chance, deep + 1) for _ in range(chance.randrange(4))}


KEYS = ("changes", "seed", "units", "total", "first", "cells", "kind", "what", "text", "name")


def test_no_request_breaks_it():
    """Routes take whatever JSON there is, and either answer or say what is wrong."""
    sessions = Sessions(m.load_scenario("maize_bench", "turns=2"), "maize_bench", 0)
    number = json.loads(reply_to(sessions, "metric", "open", b"{}").content)["session"]
    chance, seen = random.Random(7), set()
    for k in range(250):
        given = {key: anything(chance) for key in chance.sample(KEYS, 3)}
        route = chance.choice(sorted({*ROUTES} - {"figure", "hidden"}))
        body = json.dumps({"session": number, **given} if k % 9 else anything(chance))
        reply = reply_to(sessions, "metric", route, body.encode())
        content = reply.content if isinstance(reply.content, bytes) else b"".join(reply.content)
        assert reply.status in (200, 400, 404) and content.strip(), body
        seen.add((route, reply.status))
    assert len(seen) > 12


def test_the_command_gives_the_address_first_and_ends_with_a_line(monkeypatch):
    def interrupted(self):
        raise KeyboardInterrupt

    opened = []
    monkeypatch.setattr(Server, "serve_forever", interrupted)
    monkeypatch.setattr(command, "_show", opened.append)
    words = ["explore", "maize_bench", "--port", "0"]
    for more in ([], ["--no-browser"]):
        first, last = command.answer(m.cli.read([*words, "--units", "us", *more]))
        assert first.startswith("http://127.0.0.1:") and last.startswith("Stopped.")
    assert len(opened) == 1 and opened[0].startswith("http://127.0.0.1:")
    assert main([*words, "--no-browser"]) == 0


def test_a_port_in_use_or_out_of_range_is_one_line(page, capsys):
    for port, message in (
        (page.server_port, "is in use; give another port, or 0 for a free one"),
        (65_536, "must be a whole number from 0 to 65,535"),
    ):
        assert main(["explore", "--no-browser", "--port", str(port)]) == 2
        assert capsys.readouterr().err == f"metersim: --port: {port}: {message}\n"
    assert main(["explore", "--no-browser", "nowhere", "--port", "x"]) == 2
    assert len(capsys.readouterr().err.splitlines()) == 2


def test_a_browser_that_goes_away_leaves_the_server(page, session):
    link = http.client.HTTPConnection(server.HOST, page.server_port, timeout=120)
    link.request("POST", "/api/redraw", json.dumps({"session": session}), KIND)
    link.sock.close()
    with suppress(OSError, BadInput):
        link.close()
    assert asked(page, "redraw", session=session, total=False)[0] == 200


def plainly(page, *lines, body=b""):
    """What comes back for the lines of a request and a body, after which nothing more is sent."""
    host = f"Host: {server.HOST}:{page.server_port}"
    head = "\r\n".join((lines[0], host, "Content-Type: application/json", *lines[1:], "", ""))
    with socket.create_connection((server.HOST, page.server_port), timeout=60) as link:
        link.sendall(head.encode() + body)
        link.shutdown(socket.SHUT_WR)
        return link.makefile("rb").read()


def test_what_is_no_whole_request_is_not_acted_on(page):
    """No shorter body, no second length or origin, and no request in the body of another one."""
    opening, origin = "POST /api/open HTTP/1.1", f"Origin: http://{server.HOST}:{page.server_port}"
    whole = plainly(page, opening, "Content-Length: 2", origin, "Connection: close", body=b"{}")
    assert whole.startswith(b"HTTP/1.1 200")
    for status, *lines in (
        (400, "Content-Length: 9"),
        (411, "Content-Length: 2", "Content-Length: 3"),
        (403, "Content-Length: 2", origin, "Origin: null"),
    ):
        reply = plainly(page, opening, *lines, body=b"{}")
        assert reply.startswith(b"HTTP/1.1 %d" % status) and reply.count(b'"faults"') == 1
    inner = b"GET /hidden HTTP/1.1\r\n\r\n"
    reply = plainly(page, "GET /favicon.ico HTTP/1.1", f"Content-Length: {len(inner)}", body=inner)
    assert reply.count(b"HTTP/1.1") == 1


@pytest.mark.slow
def test_ctrl_c_ends_it_well(folder):
    """In a process of its own: the address is there before anything is asked, and status 0."""
    process = started("explore", "--port", "0", "--no-browser")
    address = process.stdout.readline().decode().split()[0]
    host = address.removeprefix("http://").rstrip("/")
    with closing(http.client.HTTPConnection(host, timeout=120)) as link:
        link.request("GET", "/")
        assert link.getresponse().read().startswith(b"<!doctype html>")
    process.send_signal(signal.SIGINT)
    assert ended(process) == (0, "Stopped. What was not saved is gone.\n", "")
