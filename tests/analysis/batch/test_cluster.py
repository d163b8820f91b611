"""Panels on a Dask cluster of this computer: two workers, one of which is killed half-way."""

import os
import signal
import sys

import pytest

from analysis.batch.cluster import work_off_on_cluster
from analysis.batch.fingerprint import made_by
from analysis.batch.one_panel import DONE, FAILED, Order
from analysis.record.input_files import hash_inputs
from tests.made_up.season import add_bad_panel, add_panel, results_of
from vision.errors import WetlineError

distributed = pytest.importorskip("distributed")
pytestmark = [pytest.mark.slow, pytest.mark.filterwarnings("ignore")]


def local_cluster(workers, threads):
    return distributed.LocalCluster(
        n_workers=workers,
        threads_per_worker=threads,
        host="127.0.0.1",
        dashboard_address=None,
        silence_logs=60,
    )


def order_for(folder):
    return Order(folder.name, folder, hash_inputs(folder), "new", made_by())


@pytest.mark.skipif(sys.platform == "win32", reason="sends a signal")
def test_all_panels_are_done_though_a_worker_is_killed(tmp_path):
    names = [f"panel {number}" for number in range(4)]
    orders = [order_for(add_panel(tmp_path, name)) for name in names]
    orders.append(order_for(add_bad_panel(tmp_path, "bad")))
    outcomes = {}
    with local_cluster(2, 1) as cluster:
        for word in work_off_on_cluster(orders, cluster.scheduler_address):
            outcomes[word.order.name] = word.outcome
            if len(outcomes) == 2:
                os.kill(cluster.workers[0].process.process.pid, signal.SIGKILL)
    assert {name: outcomes[name].state for name in names} == dict.fromkeys(names, DONE)
    assert outcomes["bad"].state == FAILED
    first = results_of(tmp_path / names[0])
    for name in names[1:]:
        assert results_of(tmp_path / name)["front.csv"] == first["front.csv"]


def test_an_address_where_nobody_is_and_unfit_workers_are_refused(tmp_path, monkeypatch):
    order = order_for(add_bad_panel(tmp_path, "a"))
    with monkeypatch.context() as hasty:
        hasty.setattr("analysis.batch.cluster.ANSWERS_WITHIN_S", 0.5)
        with pytest.raises(WetlineError, match="no Dask scheduler answers there"):
            list(work_off_on_cluster([order], "tcp://127.0.0.1:9"))
    with local_cluster(1, 2) as cluster, pytest.raises(WetlineError, match="--nthreads 1"):
        list(work_off_on_cluster([order], cluster.scheduler_address))
