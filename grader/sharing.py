"""Share slow work out among processes, and hand each result on as soon as it is there."""

from __future__ import annotations

import os
import signal
import threading
from collections.abc import Callable, Iterator, Sequence
from concurrent.futures import FIRST_COMPLETED, Future, ProcessPoolExecutor, wait
from concurrent.futures.process import BrokenProcessPool
from multiprocessing import get_context, parent_process
from multiprocessing.connection import wait as wait_for
from typing import TypeVar

import psutil

from grader.errors import GraderError

Item = TypeVar("Item")
Result = TypeVar("Result")

_BYTES_A_WORKER = 1_500_000_000
"""Working memory of one photo of 12 million pixels, about 60 bytes a pixel, doubled."""

_LEAST_ITEMS = 3
"""Starting a process costs about two seconds of imports: not worth it for fewer."""


class Failed(str):
    """Why the work on an item failed: one sentence, or several, in plain words."""

    __slots__ = ()


def each_result(
    work: Callable[[Item], Result], items: Sequence[Item], *, workers: int | None = 1
) -> Iterator[tuple[int, Result | Failed]]:
    """Work on items, at most a few ahead of what is taken from the iterator.

    Parameters
    ----------
    work : callable
        A function of a module, or a partial of one, where there are several workers.
    items : sequence
    workers : int, optional
        Processes; as many as cores and free memory allow where None.

    Yields
    ------
    tuple of (int, result)
        Position of the item, and what came out: `Failed` where it raised or ended its process.
        With several workers in the order in which they are done.
    """
    count = min(_workers(workers, len(items)), len(items))
    if count < 2:
        for position, item in enumerate(items):
            yield position, _tried(work, item)
        return
    missing = set(range(len(items)))
    try:
        for position, result in _shared(work, items, count):
            missing.discard(position)
            yield position, result
    except BrokenProcessPool:
        # A process died outright (no memory, a crash in a library). One at a time shows which
        # item did it, and the others get done all the same.
        for position in sorted(missing):
            yield position, _alone(work, items[position])


def _shared(
    work: Callable[[Item], Result], items: Sequence[Item], workers: int
) -> Iterator[tuple[int, Result | Failed]]:
    with _pool(workers) as pool:
        running: dict[Future[Result | Failed], int] = {}
        following = iter(range(len(items)))
        try:
            while True:
                # Only a few ahead, so that stopping need not wait for the whole batch.
                while len(running) < 2 * workers:
                    position = next(following, None)
                    if position is None:
                        break
                    running[pool.submit(_tried, work, items[position])] = position
                if not running:
                    return
                finished, _ = wait(running, return_when=FIRST_COMPLETED)
                for future in finished:
                    yield running.pop(future), future.result()
        except BaseException:
            pool.shutdown(wait=False, cancel_futures=True)
            raise


def _tried(work: Callable[[Item], Result], item: Item) -> Result | Failed:
    try:
        return work(item)
    except GraderError as error:
        return Failed(f"{str(error).rstrip('.')}.")
    except Exception as error:
        # A fault of ours on one item must not cost the maker the rest.
        return Failed(f"The analysis failed ({type(error).__name__}: {error}).")


def _alone(work: Callable[[Item], Result], item: Item) -> Result | Failed:
    try:
        with _pool(1) as pool:
            return pool.submit(_tried, work, item).result()
    except BrokenProcessPool:
        return Failed("The analysis was ended by the system, perhaps for want of memory.")


def _pool(workers: int) -> ProcessPoolExecutor:
    # "spawn" works alike on every system; forking a process that has threads is unsafe.
    return ProcessPoolExecutor(workers, get_context("spawn"), initializer=_start)


def _start() -> None:
    import cv2

    # The items already share the cores out; threads of their own would fight over them.
    cv2.setNumThreads(1)
    # Ctrl-C reaches every process of the terminal: workers end at once, without a traceback.
    signal.signal(signal.SIGINT, signal.SIG_DFL)
    threading.Thread(target=_end_with_parent, daemon=True).start()


def _end_with_parent() -> None:
    # A program that is killed outright cannot end its workers: they would wait for ever for the
    # next item, each with its memory.
    parent = parent_process()
    if parent is not None:
        wait_for([parent.sentinel])
        os._exit(1)


def _workers(asked: int | None, items: int) -> int:
    if asked is not None:
        return max(1, asked)
    if items < _LEAST_ITEMS:
        return 1
    cores = len(os.sched_getaffinity(0)) if hasattr(os, "sched_getaffinity") else os.cpu_count()
    # What files are kept in against being read again counts as free: the system gives it up.
    free = int(psutil.virtual_memory().available)
    return max(1, min(cores or 1, free // _BYTES_A_WORKER))
