"""Times hydro against the vectorised scipy model, on the same files, in turns. Prints ratios, asserts nothing.

A steady network is timed three times, repeated in a warm process on either side, the file read beforehand: with
everything counted (set-up, analysis of the pattern, solve; scipy's ends with the flows and pressures, hydro's with its
result: velocities, Reynolds numbers, fluxes, holes, margins, ways of the loss, findings); as far as the flows and pressures
on both sides, which is like for like; and the Newton iterations from a cold start alone, all else prepared. `COST` names the
program tests/examples/cost.rs, which does hydro's share. Of a run, hydro's `solver.solve_time_s` counts.
"""

import json
import os
import statistics
import subprocess
import sys
import tempfile
import time
from pathlib import Path

import hydro
import model
from generate import grid
from hydro import ROOT
from model.column import Column

HERE = Path(__file__).resolve().parent
STEADY = ((5, 10), (40, 25), (100, 100), (316, 316))


def steady(path, repeats):
    """Unknowns, and for the whole, as far as the flows and for the iterations alone the times of hydro and of scipy; iterations
    of both."""
    case = model.read(path)
    import numpy as np
    ours, theirs = ([], [], []), ([], [], [])
    for _ in range(repeats):
        done = subprocess.run([os.environ["COST"], str(path)], capture_output=True, text=True, check=False)
        if done.returncode:
            raise RuntimeError(done.stderr.strip())
        got = json.loads(done.stdout)
        ours[0].append(got["whole_s"])
        ours[1].append(got["to_flows_s"])
        ours[2].append(got["newton_median_s"])
        whole, newton = [], []
        while not whole or len(whole) < 50 and sum(whole) < 0.5:
            begin = time.perf_counter()
            prepared = model.Steady(case)
            pressure = prepared.outlet(np.array([v.pressure for v in case.vessels if v.kind == "ullage"]), np.array([t.water for t in case.tanks]))
            ready = time.perf_counter()
            result = prepared.solve(pressure)
            end = time.perf_counter()
            whole.append(end - begin)
            newton.append(end - ready)
        theirs[0].append(statistics.median(whole))
        theirs[1].append(statistics.median(whole))
        theirs[2].append(statistics.median(newton))
    return prepared.n, ours, theirs, (got["iterations"], result.iterations)


def running(path, repeats, inertia, theirs_of):
    """Times of a run: hydro's, and those of `theirs_of`, which runs the other side and gives its unknowns and evaluations."""
    case = model.read(path)
    ours, theirs = [], []
    for _ in range(repeats):
        got = hydro.call("run", path, "--timing", "--set", "tolerance=1e-6", "--set", f"inertia={inertia}")["solver"]
        ours.append(got["solve_time_s"])
        begin = time.perf_counter()
        unknowns, evaluations = theirs_of(case)
        theirs.append(time.perf_counter() - begin)
    return unknowns, (ours,), (theirs,), (got["network_solves"], evaluations)


def emptying(path, repeats):
    def theirs(case):
        run = model.run(case, rtol=1e-6, most=20000)
        return run.steady.n, run.evaluations

    return running(path, repeats, "off", theirs)


def moving(path, repeats):
    """With the column of water set moving, beside a rigid column written for one tank, one pipe and one panel."""
    def theirs(case):
        column = Column(case)
        column.run(rtol=1e-6)
        return 1, column.evaluations

    return running(path, repeats, "on", theirs)


def main():
    quick = "--quick" in sys.argv
    print("case | unknown pressures | hydro, median s | scipy, median s | ratio (least, most) | iterations, networks or evaluations | hydro, least us an unknown")

    def show(titles, measure, path, repeats):
        try:
            unknowns, ours, theirs, work = measure(path, repeats)
        except (hydro.Failed, model.Unsupported, KeyError, RuntimeError) as error:
            print(f"{titles[0]} | not measured: {type(error).__name__} {error}")
            return
        for title, our, their in zip(titles, ours, theirs):
            ratios = [b / a for a, b in zip(our, their)]
            print(f"{title} | {unknowns} | {statistics.median(our):.3e} | {statistics.median(their):.3e} | "
                  f"{statistics.median(their) / statistics.median(our):.1f} ({min(ratios):.1f}, {max(ratios):.1f}) | {work[0]}, {work[1]} | {1e6 * min(our) / unknowns:.2f}", flush=True)

    with tempfile.TemporaryDirectory() as folder:
        for columns, rows in STEADY[: 2 if quick else None]:
            path = Path(folder) / f"grid-{columns}-{rows}.yaml"
            path.write_text(grid(columns, rows), encoding="utf-8")
            plate = f"{columns} x {rows} panels"
            show((f"steady, everything counted (hydro's results too), {plate}", f"to flows and pressures on both sides, {plate}", f"its iterations alone, {plate}"), steady, path, 3 if columns * rows > 50000 else 5)
    # both with a tolerance of 1e-6 a step
    files = [HERE / "cases" / "blowdown.yaml"] + sorted((ROOT / "networks").glob("*.yaml"))
    for path in files[:2] if quick else files:
        show((f"run, {path.name}",), emptying, path, 3)
    one = ROOT / "networks" / "01-one-panel.yaml"
    show(("run with inertia, 01-one-panel.yaml",), moving, one, 3 if quick else 9)


if __name__ == "__main__":
    main()
