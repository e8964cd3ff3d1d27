"""What a run of a plate of some 10 000 cells costs, beside the same run without what goes from one network to the next.

A run keeps the factor of a matrix while steps with it do, and starts every network from the one before. Beside its time
stands what it would be

- with every linear system factorised anew: the time measured, and for each system solved with a kept factor one
  factorisation of a matrix of the same plate by `faer` alone (the number of systems as it is: with factors of their own
  there would be somewhat fewer);
- with every network solved anew: as many cold steady solves of the same plate as networks were solved.

Both from times measured in the same turn, the least of all turns. `COST` names the program tests/examples/cost.rs. Asserts
nothing.
"""

import json
import os
import subprocess
import sys
import tempfile
from pathlib import Path

import hydro
from generate import cells

CASES = (("off", 5), ("on", 1))  # inertia, seconds of duty


def main():
    quick = "--quick" in sys.argv
    print("\nrun of a plate in cells, least of the turns")
    print("case | unknown pressures | steps | networks | linear systems | factorisations | the run, s | every system factorised anew, s | every network solved anew, s")
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "network.yaml"
        path.write_text(cells(5, 20), encoding="utf-8")
        costs, times, work = [], {case: [] for case in CASES}, {}
        try:
            for _ in range(1 if quick else 3):
                done = subprocess.run([os.environ["COST"], str(path)], capture_output=True, text=True, check=True)
                costs.append(json.loads(done.stdout))
                for case in CASES[: 1 if quick else None]:
                    inertia, end = case
                    got = hydro.call("run", path, "--timing", "--rows", "11", "--set", f"inertia={inertia}", "--set", f"duty.end={end} s")["solver"]
                    times[case].append(got["solve_time_s"])
                    work[case] = got
        except (hydro.Failed, subprocess.CalledProcessError) as error:
            print(f"not measured: {error}")
            return
    factor = min(cost["library_factor_s"] for cost in costs)
    cold = min(cost["newton_s"] for cost in costs)
    for case, got in work.items():
        took = min(times[case])
        kept = max(got["linear_systems"] - got["factorisations"], 0)
        print(f"5 x 5 panels of 20 x 20 cells, {case[1]} s, inertia {case[0]} | {costs[0]['unknowns']} | {got['steps']} | {got['network_solves']} | "
              f"{got['linear_systems']} | {got['factorisations']} | {took:.2f} | {took + kept * factor:.2f} | {got['network_solves'] * cold:.2f}", flush=True)


if __name__ == "__main__":
    main()
