"""Layouts side by side in processes of their own: a year's work holds the interpreter lock too much for threads."""

import multiprocessing
import signal
import sys
from collections.abc import Callable, Sequence
from concurrent.futures import Future, ProcessPoolExecutor, wait
from typing import Any, TypeVar

from layout.geometry.rays import limit_threads, worker_count

T = TypeVar("T")
Told = Callable[[str, int, int], None]
Work = Callable[[Any, Any, Told | None], T]
"""What is done: (common, item, progress) -> result; a function of a module, so that another process finds it."""

POLL_S = 0.1

_common: Any = None
_messages: Any = None


def work_through(work: Work[T], common: Any, items: Sequence[Any], told: Told | None, processes: int) -> list[T]:
    """``work`` on each item, so many at once; results in the order of the items.

    common : what all items need; told : progress; processes : 1 works in this process
    Items are begun from the last: put the longest work there. Stopping (Ctrl-C) ends the processes at once.
    """
    processes = min(processes, len(items))
    if processes <= 1:
        return [work(common, item, told) for item in items]
    # Forking shares what is loaded; elsewhere a process starts anew.
    context = multiprocessing.get_context("fork" if sys.platform == "linux" else "spawn")
    before = set(multiprocessing.active_children())
    messages = context.SimpleQueue()
    threads = max(1, worker_count() // processes)
    pool = ProcessPoolExecutor(processes, context, _begin, (common, messages, threads, told is not None))
    try:
        jobs: list[Future[T]] = [pool.submit(_one, work, item) for item in reversed(items)]
        waiting: set[Future[T]] = set(jobs)
        while waiting:
            finished, waiting = wait(waiting, POLL_S)
            while told is not None and not messages.empty():
                told(*messages.get())
            for job in finished:
                job.result()  # a fault ends the rest now
        return [job.result() for job in reversed(jobs)]
    except BaseException:
        for child in set(multiprocessing.active_children()) - before:
            child.terminate()
        raise
    finally:
        pool.shutdown(wait=True, cancel_futures=True)


def _begin(common: Any, messages: Any, threads: int, tell: bool) -> None:
    """What a new process keeps; the key that stops the program is the first process's to answer."""
    global _common, _messages
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    limit_threads(threads)
    _common, _messages = common, messages if tell else None


def _one(work: Work[T], item: Any) -> T:
    messages = _messages
    return work(_common, item, None if messages is None else lambda *message: messages.put(message))
