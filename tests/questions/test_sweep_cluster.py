"""Beyond one machine: a cluster of workers, here on loopback, gives the very same rows."""

import logging
import os

import pytest

from metersim.questions.sweep.plan import plan_sweep
from metersim.questions.sweep.study import sweep

distributed = pytest.importorskip("distributed")

# what the library of the cluster itself warns of, on busy machines and as it closes
pytestmark = [
    pytest.mark.filterwarnings("ignore::DeprecationWarning:(distributed|dask|tornado|asyncio).*"),
    pytest.mark.filterwarnings("ignore::ResourceWarning"),
    pytest.mark.filterwarnings("ignore::pytest.PytestUnraisableExceptionWarning"),
]


@pytest.fixture
def client():
    """A client of two workers, each a process of its own."""
    with (
        distributed.LocalCluster(
            n_workers=2,
            threads_per_worker=1,
            processes=True,
            host="127.0.0.1",
            dashboard_address="127.0.0.1:0",  # any port that is free
            silence_logs=logging.CRITICAL,
        ) as cluster,
        distributed.Client(cluster, timeout="60s") as client,
    ):
        yield client


@pytest.mark.slow
def test_a_cluster_writes_the_bytes_of_one_machine(client, tmp_path):
    """Its workers are other processes, so what they know came with the work."""
    plan = plan_sweep("maize_field", ["vacuum_kpa=2:6:5"], changes=["turns=4"], replicates=2)
    sweep(plan, out=tmp_path / "here.csv")
    with client.get_executor() as executor:
        assert executor.submit(os.getpid).result() != os.getpid()
        sweep(plan, executor=executor, ahead=6, out=tmp_path / "there.csv")
    assert (tmp_path / "there.csv").read_bytes() == (tmp_path / "here.csv").read_bytes()
