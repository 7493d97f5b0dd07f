"""Work shared out to processes: the same results in the same order, faults come back, stopping stops."""

import multiprocessing
import os
import signal
import subprocess
import sys
import time
from functools import partial
from pathlib import Path

import pandas as pd
import pytest

from layout.errors import ProcessEndedError
from layout.geometry.rays import worker_count
from layout.plan import read_plan
from layout.result import PlanResult
from layout.run import run_plan
from layout.workers import Told, work_through
from sites.errors import Fault, InputError


def scaled(common: float, item: float, told: Told | None) -> tuple[float, int, int]:
    if told is not None:
        told("scaled", 1, 1)
    return common * item, os.getpid(), worker_count()


def refused(common: str, item: int, told: Told | None) -> int:
    if item == 2:
        raise InputError([Fault(common, "key", str(item), "1")])
    return item


@pytest.mark.parametrize("processes", [1, 2, 9])
def test_results_come_in_the_order_of_the_items(processes: int) -> None:
    found = work_through(scaled, 2.0, [1.0, 5.0, 3.0], None, processes)
    assert [value for value, _, _ in found] == [2.0, 10.0, 6.0]
    here = {pid for _, pid, _ in found} == {os.getpid()}
    assert here == (processes == 1)


def test_processes_share_the_cores_and_tell_how_far_they_are() -> None:
    told: list[tuple[str, int, int]] = []
    found = work_through(scaled, 1.0, [1.0, 2.0], lambda *message: told.append(message), 2)
    assert all(threads <= max(1, worker_count() // 2) for _, _, threads in found)
    assert set(told) == {("scaled", 1, 1)}


@pytest.mark.parametrize("processes", [1, 2])
def test_a_fault_comes_back_whole(processes: int) -> None:
    with pytest.raises(InputError) as caught:
        work_through(refused, "a.toml", [1, 2, 3], None, processes)
    assert caught.value.faults == (Fault("a.toml", "key", "2", "1"),)
    assert not multiprocessing.active_children()


def large(common: None, item: int, told: Told | None) -> bytes:
    assert told is not None
    told("begun", item, 1)
    return bytes(30_000_000)


def test_stopping_in_the_midst_of_a_large_result_waits_for_nothing() -> None:
    calls = []

    def stop_at_the_third(*message: object) -> None:
        calls.append(message)
        if len(calls) == 3:
            raise KeyboardInterrupt

    with pytest.raises(KeyboardInterrupt):
        work_through(large, None, [1, 2, 3, 4], stop_at_the_third, 2)
    assert not multiprocessing.active_children()


def gone(common: None, item: int, told: Told | None) -> None:
    os._exit(3)


def test_a_process_that_ends_by_itself_is_told() -> None:
    with pytest.raises(ProcessEndedError, match="ended before its work was done"):
        work_through(gone, None, [1, 2], None, 2)
    assert not multiprocessing.active_children()


def test_a_plan_gives_the_same_year(small_plan_path: Path, small_result: PlanResult) -> None:
    alone, shared = small_result, run_plan(read_plan(small_plan_path), processes=2)
    assert list(alone.layouts) == list(shared.layouts)
    for name, result in alone.layouts.items():
        pd.testing.assert_frame_equal(result.frame, shared.layouts[name].frame, check_exact=True)
        assert repr(result.to_dict()) == repr(shared.layouts[name].to_dict())


@pytest.mark.skipif(sys.platform == "win32", reason="no such signal to a single process there")
@pytest.mark.parametrize("after_s", [0.3, 3.5])
def test_stopping_is_one_line_at_any_time(tmp_path: Path, after_s: float) -> None:
    command = [sys.executable, "-c", "from layout.start import main; raise SystemExit(main())", "compare"]
    heard = partial(signal.signal, signal.SIGINT, signal.SIG_DFL)  # tests begun in the background do not hear it
    with subprocess.Popen(
        command, cwd=tmp_path, stderr=subprocess.PIPE, stdout=subprocess.PIPE, start_new_session=True, preexec_fn=heard
    ) as run:
        time.sleep(after_s)
        os.killpg(run.pid, signal.SIGINT)
        try:
            _, err = run.communicate(timeout=30)
        finally:
            run.kill()
    assert run.returncode == 130
    assert err.decode().splitlines() == ["stopped; nothing half-written"]
    assert list(tmp_path.iterdir()) == []
