"""Times hydro against the vectorised scipy model, on the same files, in turns. Prints ratios, asserts nothing.

Only the solve counts on both sides: hydro's `solver.solve_time_s`, and here the solve with the network read and
prepared beforehand for the steady cases (the analysis of the pattern is not counted, to the advantage of scipy).
"""

import statistics
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
    case = model.read(path)
    prepared = model.Steady(case)
    import numpy as np
    pressure = prepared.outlet(np.array([v.pressure for v in case.vessels if v.kind == "ullage"]), np.array([t.water for t in case.tanks]))
    ours, theirs, iterations = [], [], (0, 0)
    for _ in range(repeats):
        got = hydro.call("flow", path, "--timing")
        ours.append(got["solver"]["solve_time_s"])
        begin = time.perf_counter()
        result = prepared.solve(pressure)
        theirs.append(time.perf_counter() - begin)
        iterations = got["solver"]["iterations"], result.iterations
    return prepared.n, ours, theirs, iterations


def emptying(path, repeats):
    case = model.read(path)
    ours, theirs = [], []
    for _ in range(repeats):
        ours.append(hydro.call("run", path, "--timing", "--set", "tolerance=1e-6", "--set", "inertia=off")["solver"]["solve_time_s"])
        begin = time.perf_counter()
        run = model.run(case, rtol=1e-6, most=20000)
        theirs.append(time.perf_counter() - begin)
    return run.steady.n, ours, theirs, ("", run.evaluations)


def moving(path, repeats):
    """With the column of water set moving, beside a rigid column written for one tank, one pipe and one panel."""
    case = model.read(path)
    ours, theirs = [], []
    for _ in range(repeats):
        got = hydro.call("run", path, "--timing", "--set", "tolerance=1e-6", "--set", "inertia=on")
        ours.append(got["solver"]["solve_time_s"])
        begin = time.perf_counter()
        column = Column(case)
        column.run(rtol=1e-6)
        theirs.append(time.perf_counter() - begin)
    return 1, ours, theirs, (got["solver"]["steps"], column.evaluations)


def main():
    quick = "--quick" in sys.argv
    print("case | unknown pressures | hydro, median s | scipy, median s | ratio (least, most) | iterations or evaluations | hydro, least us an unknown")

    def show(title, measure, path, repeats):
        try:
            unknowns, ours, theirs, work = measure(path, repeats)
        except (hydro.Failed, model.Unsupported, KeyError, RuntimeError) as error:
            print(f"{title} | not measured: {type(error).__name__} {error}")
            return
        ratios = [b / a for a, b in zip(ours, theirs)]
        print(f"{title} | {unknowns} | {statistics.median(ours):.3e} | {statistics.median(theirs):.3e} | "
              f"{statistics.median(theirs) / statistics.median(ours):.1f} ({min(ratios):.1f}, {max(ratios):.1f}) | {work[0]}, {work[1]} | {1e6 * min(ours) / unknowns:.2f}", flush=True)

    with tempfile.TemporaryDirectory() as folder:
        for columns, rows in STEADY[: 2 if quick else None]:
            path = Path(folder) / f"grid-{columns}-{rows}.yaml"
            path.write_text(grid(columns, rows), encoding="utf-8")
            show(f"steady, {columns} x {rows} panels", steady, path, 3 if columns * rows > 50000 else 5 if quick else 9)
    # both with a tolerance of 1e-6 a step
    files = [HERE / "cases" / "blowdown.yaml"] + sorted((ROOT / "networks").glob("*.yaml"))
    for path in files[:2] if quick else files:
        show(f"run, {path.name}", emptying, path, 3)
    show("run with inertia, 01-one-panel.yaml", moving, ROOT / "networks" / "01-one-panel.yaml", 3 if quick else 9)


if __name__ == "__main__":
    main()
