"""The notebook for students runs from top to bottom, and its claims hold.

Its cells are plain Python, so they run here in one namespace, as a kernel would run them.  A kernel
of its own (nbclient, ipykernel) would bring 37 packages into both environments of `.ci/run`, and
check nothing more.  The notebook is kept without outputs: pictures and last digits change with the
libraries, and a reader makes them anew in seconds.
"""

import json
from pathlib import Path

import matplotlib
import pytest

from metersim.machine import pickup
from metersim.machine.reading import shipped_scenarios

NOTEBOOK = Path(__file__).parents[1] / "scenarios" / "student.ipynb"
CELLS = json.loads(NOTEBOOK.read_text(encoding="utf-8"))["cells"]
CODE = {cell["id"]: "".join(cell["source"]) for cell in CELLS if cell["cell_type"] == "code"}


@pytest.fixture
def canvas():
    """A backend without a window; what was drawn is closed."""
    with matplotlib.rc_context():
        matplotlib.use("Agg")
        yield
        import matplotlib.pyplot as plt

        plt.close("all")


def run(*names):
    """Run cells in turn in one namespace, all by default."""
    made = {"__name__": "__main__"}
    for name in names or CODE:
        exec(compile(CODE[name], f"cell {name}", "exec"), made)
    return made


@pytest.mark.slow
def test_every_cell_runs_and_every_claim_holds(canvas, folder, capsys):
    made = run()
    out, err = capsys.readouterr()
    assert "swept off  tooth" in out and "gate changed at 90 s" in out and err == ""
    assert not list(folder.iterdir())
    assert len(made["counted"]) >= 5


@pytest.mark.slow
def test_a_hand_that_knows_other_physics_is_noticed(canvas, monkeypatch):
    """Negative control: seeds that are lost more often, in the simulation alone."""
    usual = pickup.loss_rate
    monkeypatch.setattr(pickup, "loss_rate", lambda *given: 1.3 * usual(*given))
    with pytest.raises(AssertionError):
        run("one-call", "hand")


def test_each_cell_states_what_its_text_claims():
    assert len(CODE) >= 6
    for code in CODE.values():
        assert "assert " in code
        assert max(map(len, code.splitlines())) <= 120


def test_it_is_plain_python_without_outputs():
    """No magic of a kernel, and nothing that differs from one computer to the next."""
    for cell in CELLS:
        assert cell["metadata"] == {}
        if cell["cell_type"] == "code":
            assert (cell["outputs"], cell["execution_count"]) == ([], None)
            compile(CODE[cell["id"]], cell["id"], "exec")
    assert len({cell["id"] for cell in CELLS}) == len(CELLS)


def test_it_is_no_scenario():
    assert NOTEBOOK.stem not in shipped_scenarios()
