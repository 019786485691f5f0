"""Blocks over workers: on this machine, or on a cluster that is there already."""

from __future__ import annotations

import logging
import os
from contextlib import contextmanager
from importlib.util import find_spec
from typing import TYPE_CHECKING, Any

from covercrop.base.errors import CovercropError, RegionError
from covercrop.region.stored import reason

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator, Mapping

    from distributed import Client

    from covercrop.region.part import Part

#: What a worker is started with.  By its own default it gives memory back to the system as soon as 64 KiB of it are
#: free, and has to ask for it again at the next array: that took more time than the models.
WORKER_ENVIRONMENT = {"MALLOC_TRIM_THRESHOLD_": 2**27, "MALLOC_MMAP_THRESHOLD_": 2**25}

NEEDED = ("xarray", "dask", "distributed", "zarr", "netCDF4", "cftime")


def check_installed() -> None:
    """Say how to get what is not installed.

    Raises
    ------
    RegionError
        If a package of the extra is missing.
    """
    missing = [name for name in NEEDED if find_spec(name) is None]
    if missing:
        are, them = ("are", "them") if len(missing) > 1 else ("is", "it")
        raise RegionError(f"{', '.join(missing)} {are} not installed; pip install 'covercrop[region]' brings {them}")


def processes(asked: int | None) -> int:
    """Number of processes to work with: as many as there are cores, by default."""
    return asked or os.cpu_count() or 1


def run_here(part: Part, jobs: Mapping[int, Any], done: Callable[[int], None]) -> None:
    """Work through blocks one after the other in this process; takes and raises what :func:`run` does."""
    for number, job in jobs.items():
        with _told(number):
            answers = job.compute(scheduler="synchronous")
        part.save(number, answers)
        done(number)


@contextmanager
def _told(number: int) -> Iterator[None]:
    """Say of which block it is that something went wrong with."""
    try:
        yield
    except CovercropError:
        raise
    except Exception as error:  # whatever a damaged input, a worker or a cluster may come to
        raise RegionError(
            f"block {number} could not be worked out ({type(error).__name__}: {reason(error)}); what is done is kept: "
            "see whether the input is whole there, and run the same command again"
        ) from error


#: A cluster that does not answer within so long is taken not to be there [s].
PATIENCE = 10


@contextmanager
def workers(scheduler: str | None, count: int) -> Iterator[Client]:
    """Workers to hand blocks to.

    Parameters
    ----------
    scheduler : str or None
        Address of a cluster's scheduler; None for processes on this machine.
    count : int
        Number of those.

    Raises
    ------
    RegionError
        If the cluster does not answer.
    """
    import dask
    from distributed import Client, LocalCluster

    options: dict[str, Any] = {
        "distributed.admin.large-graph-warning-threshold": "1GiB",
        "distributed.comm.timeouts.connect": f"{PATIENCE}s",
        "distributed.worker.profile.enabled": False,
        **{f"distributed.nanny.pre-spawn-environ.{name}": value for name, value in WORKER_ENVIRONMENT.items()},
    }
    with dask.config.set(options):
        if scheduler is not None:
            try:
                client = Client(scheduler, timeout=PATIENCE)
            except (OSError, ValueError, TypeError, ImportError) as error:
                raise RegionError(
                    f"`scheduler` {scheduler}: no cluster answers there ({type(error).__name__}); check the address, "
                    "or leave it out to work on this machine"
                ) from None
            with client:
                yield client
            return
        with (
            LocalCluster(
                n_workers=count,
                threads_per_worker=1,
                dashboard_address="127.0.0.1:0",  # the usual port may be another run's
                silence_logs=logging.CRITICAL,
            ) as cluster,
            Client(cluster) as client,
        ):
            yield client


def run(client: Client, part: Part, jobs: Mapping[int, Any], done: Callable[[int], None]) -> None:
    """Work through blocks, each kept as soon as it is there.

    Parameters
    ----------
    client : distributed.Client
    part : Part
    jobs : mapping of int to dask.delayed.Delayed
        By the number of the block.
    done : callable
        Told the number of each block that is kept.

    Raises
    ------
    CovercropError
        If a block cannot be worked out; what was kept stays.
    """
    from distributed import as_completed

    numbers = list(jobs)
    futures = client.compute([jobs[number] for number in numbers], retries=2)
    number_of = {future.key: number for future, number in zip(futures, numbers, strict=True)}
    waiting = as_completed(futures)
    del futures  # so that a future, and what it holds, can go once its block is kept
    for future in waiting:
        number = number_of[future.key]
        with _told(number):
            answers = future.result()
        part.save(number, answers)
        done(number)
