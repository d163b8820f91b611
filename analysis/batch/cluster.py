"""Panels handed to the workers of an existing Dask cluster (the optional extra ``dask``)."""

from __future__ import annotations

from collections.abc import Generator, Sequence
from typing import Any

from analysis.batch.one_panel import FAILED, Order, Outcome, bring_up_to_date
from analysis.batch.workers import Finished, Progress
from vision.errors import WetlineError

ANSWERS_WITHIN_S = 10.0


def work_off_on_cluster(
    orders: Sequence[Order], address: str
) -> Generator[Progress | Finished, None, None]:
    """Do panels on the workers of a Dask cluster.

    Parameters
    ----------
    orders : sequence of Order
        Their folders must be reached by the same path from every worker.
    address : str
        Of the scheduler, such as ``tcp://192.0.2.7:8786``.

    Yields
    ------
    Finished
        As they come. A panel whose worker is lost is given to another one, by Dask's own rule
        three times at most. Closing the iterator takes back what has not begun.

    Raises
    ------
    WetlineError
        If `distributed` is not installed, nobody answers, or the workers do several panels at
        once in one process, which the drawing library does not bear.
    """
    client = _connect(address)
    try:
        futures = {
            client.submit(bring_up_to_date, order, pure=False, priority=order.weight): order
            for order in orders
        }
        try:
            yield from _gather(client, futures)
        finally:
            client.cancel(list(futures))
    finally:
        client.close()


def _gather(client: Any, futures: dict[Any, Order]) -> Generator[Progress | Finished, None, None]:
    from distributed import as_completed

    for future in as_completed(list(futures), loop=client.loop):
        order = futures[future]
        if future.status == "finished":
            yield Finished(order, future.result())
            continue
        error = future.exception() if future.status == "error" else "taken back by the cluster"
        words = " ".join(str(error).split())[:200]
        note = f"the cluster could not do it ({type(error).__name__}: {words})"
        yield Finished(order, Outcome(order.name, FAILED, note))


def _connect(address: str) -> Any:
    """Return a client of the scheduler, once it is clear that its workers can do the job."""
    try:
        from distributed import Client
    except ImportError:
        raise WetlineError(
            '--dask: needs the library `distributed`: pip install "wetline[dask]"'
        ) from None
    try:
        client = Client(address, timeout=ANSWERS_WITHIN_S, set_as_default=False)
    except (OSError, TimeoutError, ValueError) as error:
        words = " ".join(str(error).split())[:120]
        raise WetlineError(
            f"--dask {address}: no Dask scheduler answers there ({words}): give its address, such "
            "as tcp://192.0.2.7:8786"
        ) from None
    workers = client.scheduler_info()["workers"].values()
    start = "start them with `dask worker ADDRESS --nthreads 1`, one for each core"
    if not workers:
        client.close()
        raise WetlineError(f"--dask {address}: the cluster has no workers: {start}")
    if any(worker["nthreads"] > 1 for worker in workers):
        client.close()
        raise WetlineError(
            f"--dask {address}: its workers do several things at once in one process: {start}"
        )
    return client
