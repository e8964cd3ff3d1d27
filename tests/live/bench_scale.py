"""What a large plate costs: a cold steady solve from 1e3 to 1e6 unknown pressures, beside `faer` on the same matrices.

`COST` names the program tests/examples/cost.rs, which times a solve part by part and, on the matrix of its last
iteration, one numeric factorisation and one solve by the sparse library alone. Memory is that of `hydro flow --json`
on the same file, reading and printing included. Asserts nothing.
"""

import json
import os
import subprocess
import sys
import tempfile
from pathlib import Path

import hydro
from generate import cells, grid

CASES = (
    ("panels", "40 x 25", lambda: grid(40, 25)),
    ("panels", "100 x 100", lambda: grid(100, 100)),
    ("panels", "316 x 316", lambda: grid(316, 316)),
    ("cells", "5 x 5 panels of 20 x 20", lambda: cells(5, 20)),
    ("cells", "10 x 10 panels of 32 x 32", lambda: cells(10, 32)),
    ("cells", "20 x 20 panels of 50 x 50", lambda: cells(20, 50)),
)


def memory(path):
    """Greatest resident memory of `hydro flow`, MiB: the most that the kernel saw."""
    command = [hydro.binary(), "flow", str(path), "--json"]
    code = (
        "import resource, subprocess, sys\n"
        "subprocess.run(sys.argv[1:], stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL)\n"
        "print(resource.getrusage(resource.RUSAGE_CHILDREN).ru_maxrss / 1024)"
    )
    return float(subprocess.run([sys.executable, "-c", code, *command], capture_output=True, text=True, check=True).stdout)


def main():
    quick = "--quick" in sys.argv
    program = os.environ["COST"]
    print("\nlarge plates, cold steady solve")
    print("case | unknown pressures | iterations | of them with a new factor | solve, s | us an unknown | an iteration, s | faer factor + solve, s | ratio | memory of flow, MiB")
    with tempfile.TemporaryDirectory() as folder:
        for kind, size, make in CASES[: 2 if quick else None]:
            path = Path(folder) / "network.yaml"
            path.write_text(make(), encoding="utf-8")
            done = subprocess.run([program, str(path)], capture_output=True, text=True, check=False)
            if done.returncode:
                print(f"{kind}, {size} | not measured: {done.stderr.strip()}")
                continue
            got = json.loads(done.stdout)
            library = got["library_factor_s"] + got["library_solve_s"]
            print(f"{kind}, {size} | {got['unknowns']} | {got['iterations']} | {got['factorisations']} | {got['newton_s']:.3e} | "
                  f"{1e6 * got['newton_s'] / got['unknowns']:.2f} | {got['iteration_s']:.3e} | {library:.3e} | {got['ratio']:.2f} | {memory(path):.0f}", flush=True)


if __name__ == "__main__":
    main()
