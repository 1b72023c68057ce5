"""Benchmarks of the studies of sessions: `python tests/benchmarks/recovery.py [PART ...]`.

`recovery`: an author whose every number is off, 2,000 simulated sessions with the true numbers, and
how far the learnt numbers are from the truth; by kind, before and after, with how often the 95 %
intervals hold the truth. `tally`: the time and the memory of a tally over 10,000 simulated logs.
Nothing is asserted; `--sessions N` and `--seed N` change the numbers.
"""

import argparse
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable, Sequence
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
sys.path[:0] = [str(ROOT), str(ROOT / "tests")]

from study.shop import distort, simulate_shop, write_shop  # noqa: E402

from faulttree.study.cases import gather  # noqa: E402
from faulttree.study.counting import numbers_of  # noqa: E402
from faulttree.study.learn import Lesson, learn  # noqa: E402
from faulttree.tree.load import load_all  # noqa: E402
from faulttree.tree.model import Knowledge  # noqa: E402

VEHICLE = "camper-four"
KINDS = ("how_common", "brings_on", "points_to", "by_chance")


def compared(lesson: Lesson, truth: Knowledge, kind: str) -> list[tuple[float, float, bool]]:
    """For every number of a kind that is offered: its error before and after, and whether held."""
    true = numbers_of(truth)
    rows = []
    for n in lesson.numbers:
        if n.kind == kind and n.offered:
            t = true[n.kind, n.cause, n.where, n.band]
            rows.append((abs(n.old - t), abs(n.new - t), n.low <= t <= n.high))
    return rows


def recovery(sessions: int, seed: int) -> None:
    """Print how well known numbers are recovered, through logs on the disk."""
    truth = load_all(ROOT / "trees", learned=False)
    author = distort(truth, seed)
    pace = {test: 1.5 * t.minutes for test, t in truth.tests.items()}
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        write_shop(folder, simulate_shop(truth, sessions, seed, vehicle=VEHICLE, pace=pace))
        begin = time.perf_counter()
        gathered = gather(author, folder)
        read = time.perf_counter()
        lesson = learn(author, gathered)
        end = time.perf_counter()
    print(f"\n{lesson.sessions} sessions; {sum(gathered.skipped.values())} skipped, ", end="")
    print(f"{len(gathered.contradictions)} contradictory; strength {lesson.strength:g}")
    print(f"reading the logs {read - begin:.1f} s, learning {end - read:.1f} s")
    print("\n  kind        numbers    mean error            worst error           held by 95 %")
    print("                         before -> after       before -> after")
    for kind in KINDS:
        rows = compared(lesson, truth, kind)
        if not rows:
            continue
        before, after, held = zip(*rows, strict=True)
        n = len(rows)
        print(
            f"  {kind:10}  {n:7}    {sum(before) / n:.4f} -> {sum(after) / n:.4f}      "
            f"{max(before):.3f} -> {max(after):.3f}        {sum(held) / n:6.1%}"
        )
    times = [t for t in lesson.minutes if t.offered]
    off = [abs(t.new / pace[t.test] - 1.0) for t in times]
    print(
        f"\n  minutes of {len(times)} tests, the truth 1.5 times the author's: mean error ", end=""
    )
    print(f"{sum(off) / len(off):.1%}, worst {max(off):.1%} of the truth")


PROBE = """
import re, sys, time
from pathlib import Path
from faulttree.study.tally import tally
begin = time.perf_counter()
counts = tally(Path(sys.argv[1]))
took = time.perf_counter() - begin
# Not of the process that started this one, as getrusage has it; Linux alone tells.
peak = re.search(r"VmHWM:\\s+(\\d+) kB", Path("/proc/self/status").read_text())
print(counts.sessions, took, int(peak[1]) / 1024)
"""


def tallied(sessions: int, seed: int) -> None:
    """Print the time and peak memory of a tally, beside one of an empty folder and of a tenth."""
    truth = load_all(ROOT / "trees", learned=False)
    with tempfile.TemporaryDirectory() as name:
        print("\n  sessions    logs MB   seconds   peak MB")
        for count in (0, sessions // 10, sessions):
            folder = Path(name) / str(count)
            write_shop(folder, simulate_shop(truth, count, seed, vehicle=VEHICLE))
            size = sum(path.stat().st_size for path in folder.iterdir()) / 2**20
            # A process of its own, so that the peak is the tally's alone.
            done = subprocess.run(
                [sys.executable, "-c", PROBE, str(folder)],
                capture_output=True,
                text=True,
                check=True,
                cwd=ROOT,
            )
            counted, took, peak = done.stdout.split()
            print(f"  {counted:>8}   {size:8.1f}  {float(took):8.2f}  {float(peak):8.1f}")


PARTS: dict[str, tuple[Callable[[int, int], None], int]] = {
    "recovery": (recovery, 2_000),
    "tally": (tallied, 10_000),
}


def main(arguments: Sequence[str] | None = None) -> None:
    """Run the parts that are named, or all."""
    parser = argparse.ArgumentParser(description="Benchmarks of the studies of sessions.")
    parser.add_argument("parts", nargs="*", choices=[*PARTS, []], help="which; all if none")
    parser.add_argument("--sessions", type=int, help="how many; 2,000 and 10,000 if not said")
    parser.add_argument("--seed", type=int, default=7)
    options = parser.parse_args(arguments)
    for name in options.parts or PARTS:
        run, usual = PARTS[name]
        run(options.sessions or usual, options.seed)


if __name__ == "__main__":
    main()
