"""A country of sites: the same plan, its pieces shared out by dask.

Needs the optional extra `cluster`. Rows are those of `hours.plan_chunks`, in its order.
"""

from __future__ import annotations

from collections import deque
from collections.abc import Iterator
from contextlib import contextmanager
from typing import Any

import pandas as pd

from orient.planning.hours import Limits, pieces, planner
from orient.planning.rig import Rig

#: Pieces sent out ahead of the one that is awaited, for each worker thread.
_AHEAD = 4


class NoDask(ValueError):
    """The optional extra `cluster` is not installed."""


@contextmanager
def cluster(address: str, workers: int = 1) -> Iterator[Any]:
    """A dask client: of the scheduler at an address, or of a cluster on this machine.

    Args:
        address: such as "tcp://10.0.0.5:8786", or "local".
        workers: processes of a local cluster.

    Raises:
        NoDask: the extra is not installed.
        OSError: nothing answers at the address.
    """
    try:
        from distributed import Client, LocalCluster
    except ImportError:
        raise NoDask("a cluster needs dask: pip install 'orient[cluster]'") from None
    if address != "local":
        with Client(address, timeout="10s", set_as_default=False) as client:
            yield client
        return
    with (
        LocalCluster(n_workers=workers, threads_per_worker=1, dashboard_address=None) as local,
        Client(local, set_as_default=False) as client,
    ):
        yield client


def plan_chunks(
    client: Any,
    sites: pd.DataFrame,
    dates: Any,
    rig: Rig | None = None,
    limits: Limits | None = None,
    step_min: float = 10.0,
) -> Iterator[pd.DataFrame]:
    """`hours.plan_chunks` on a cluster: the same tables in the same order.

    Only a few pieces for each worker are under way at a time, so that neither the
    scheduler nor this process ever holds the whole.

    Args:
        client: of `cluster`, or any dask client whose workers have this package.
        sites, dates, rig, limits, step_min: as for `hours.plan_chunks`.
    """
    work = planner(dates, rig, limits, step_min)
    threads = sum(client.nthreads().values())
    waiting: deque[Any] = deque()
    for piece in pieces(sites, len(dates)):
        waiting.append(client.submit(work, piece, pure=False))
        if len(waiting) > _AHEAD * max(threads, 1):
            yield waiting.popleft().result()
    while waiting:
        yield waiting.popleft().result()
