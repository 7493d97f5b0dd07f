"""Layouts side by side in processes of their own: a year's work holds the interpreter lock too much for threads."""

import multiprocessing
import signal
import sys
import threading
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from multiprocessing.connection import Connection, wait
from multiprocessing.process import BaseProcess
from typing import Any, TypeVar, cast

from layout.errors import ProcessEndedError
from layout.geometry.rays import limit_threads, worker_count

T = TypeVar("T")
Told = Callable[[str, int, int], None]
Work = Callable[[Any, Any, Told | None], T]
"""What is done: (common, item, progress) -> result; a function of a module, so that another process finds it."""

TELL, DONE, FAULT = "tell", "done", "fault"
"""What a message from a process is about."""


@dataclass(frozen=True, eq=False)
class _Worker:
    """A process and this side's end of its pipe. There is no queue and no thread between: whatever moment a process is
    killed at, nothing waits for the rest of its message."""

    process: BaseProcess
    pipe: Connection


def work_through(work: Work[T], common: Any, items: Sequence[Any], told: Told | None, processes: int) -> list[T]:
    """``work`` on each item, so many at once; results in the order of the items.

    common : what all items need; told : progress; processes : 1 works in this process
    Items are begun from the last: put the longest work there. Stopping (Ctrl-C) ends the processes at once. Raises what
    ``work`` raises, and ProcessEndedError where a process ends by itself.
    """
    processes = min(processes, len(items))
    if processes <= 1:
        return [work(common, item, told) for item in items]
    workers: list[_Worker] = []
    try:
        for _ in range(processes):
            workers.append(_begun(work, common, told is not None, processes, workers))
        found = _handed_out(workers, items, told)
        for worker in workers:
            with _alive():
                worker.pipe.send(None)
    except BaseException:
        for worker in workers:
            worker.process.kill()
        raise
    finally:
        for worker in workers:
            worker.process.join()
            worker.pipe.close()
    return [found[number] for number in range(len(items))]


def _begun(work: Work[T], common: Any, tell: bool, processes: int, earlier: Sequence[_Worker]) -> _Worker:
    """A new process that waits for items."""
    # Forking shares what is loaded; elsewhere a process starts anew.
    forked = sys.platform == "linux"
    context = multiprocessing.get_context("fork") if forked else multiprocessing.get_context("spawn")
    here, there = context.Pipe()
    inherited = [worker.pipe for worker in earlier] + [here] if forked else []
    threads = max(1, worker_count() // processes)
    process = context.Process(target=_serve, args=(there, inherited, work, common, threads, tell), daemon=True)
    process.start()
    there.close()
    return _Worker(process, here)


def _handed_out(workers: Sequence[_Worker], items: Sequence[Any], told: Told | None) -> dict[int, Any]:
    """Results by the items' numbers; each process gets its next item once it is done with one."""
    left, found = list(enumerate(items)), {}
    for worker in workers:
        with _alive():
            worker.pipe.send(left.pop())
    busy = [worker.pipe for worker in workers]
    while busy:
        for pipe in cast(list[Connection], wait(busy)):
            with _alive():
                kind, content = pipe.recv()
            if kind == FAULT:
                raise content
            if kind == TELL:
                if told is not None:
                    told(*content)
                continue
            found[content[0]] = content[1]
            if left:
                with _alive():
                    pipe.send(left.pop())
            else:
                busy.remove(pipe)
    return found


@contextmanager
def _alive() -> Iterator[None]:
    """The other end of a pipe is there, or it is told that it is not."""
    try:
        yield
    except (EOFError, BrokenPipeError, ConnectionResetError):
        raise ProcessEndedError("a process ended before its work was done; is there memory enough?") from None


def _serve(
    pipe: Connection, inherited: Sequence[Connection], work: Work[T], common: Any, threads: int, tell: bool
) -> None:
    """What a process does: item after item until there are none.

    inherited : the other side's ends, closed here so that a process ends when the one that began it is gone
    """
    signal.signal(signal.SIGINT, signal.SIG_IGN)  # the key that stops the program is the first process's to answer
    for end in inherited:
        end.close()
    limit_threads(threads)
    lock = threading.Lock()

    def send(kind: str, content: Any) -> None:
        with lock:
            pipe.send((kind, content))

    told = (lambda *message: send(TELL, message)) if tell else None
    try:
        while (job := pipe.recv()) is not None:
            number, item = job
            send(DONE, (number, work(common, item, told)))
    except EOFError:
        return
    except BaseException as error:
        send(FAULT, error)
        raise SystemExit(1) from error
