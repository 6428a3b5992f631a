"""How many rows a second does a sweep rate, and what does a second process add?

Run with `-m speed`. The figures are printed, not asserted: they are the machine's.
"""

import resource
from pathlib import Path

import pytest

from model.scenario import default
from model.sweep import SweepReport, sweep
from model.sweep_grid import Grid

ROWS = 10_000
FEW = 320


def planned() -> Grid:
    """All of 25 numbers of cores, 20 accelerator shares and 20 numbers of sessions."""
    rows = tuple(
        (cores, share, sessions)
        for cores in range(16, 66, 2)
        for share in range(5, 105, 5)
        for sessions in range(10, 210, 10)
    )
    columns = ("host.cores", "accelerator.share_pct", "sessions")
    return Grid("planned", columns, rows, tuple(range(1, len(rows) + 1)))


def scattered() -> Grid:
    """Rows of which each has its own mix of people, so that nothing is found again."""
    rows = tuple((10 + 60 * row / FEW, 1 + row % 200) for row in range(FEW))
    columns = ("roles[0].weight_pct", "sessions")
    return Grid("scattered", columns, rows, tuple(range(1, FEW + 1)))


def timed(grid: Grid, out: Path, processes: int) -> tuple[SweepReport, float]:
    """One sweep, and the CPU time that its processes used. [s]"""
    begun = resource.getrusage(resource.RUSAGE_CHILDREN)
    report = sweep(grid, default(), out, processes)
    ended = resource.getrusage(resource.RUSAGE_CHILDREN)
    return report, ended.ru_utime + ended.ru_stime - begun.ru_utime - begun.ru_stime


def told(what: str, run: tuple[SweepReport, float]) -> str:
    """The line for one run."""
    report, cpu_s = run
    return (
        f"{what}: {report.rows} rows in {report.seconds:.1f} s, {report.rows_per_s:.1f} rows/s, "
        f"{cpu_s:.1f} s of CPU time"
    )


@pytest.mark.speed
def test_rows_a_second(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """10,000 rows of the example, and what 1 and 2 processes do of rows that share nothing."""
    few = Grid("planned", planned().columns, planned().rows[:2_000], planned().numbers[:2_000])
    apart = [timed(scattered(), tmp_path / f"{n}.csv", n) for n in (1, 2)]
    alike = [timed(few, tmp_path / f"few{n}.csv", n) for n in (1, 2)]
    whole = timed(planned(), tmp_path / "planned.csv", 2)
    with capsys.disabled():
        print("\nstarting the processes included")
        print(told("every combination of three inputs, 2 processes", whole))
        for what, runs in (("a part of it", alike), ("every row another mix", apart)):
            for processes, run in zip((1, 2), runs, strict=True):
                print(told(f"{what}, {processes} process(es)", run))
            one, two = runs[0][0].seconds, runs[1][0].seconds
            print(f"  2 processes are {one / two:.2f} times as fast")
    assert whole[0].rows == ROWS
