"""Times `hydro spread`: runs a second at one and two threads, beside the scipy model, and memory against samples.

`inertia: off` is said on the command line, so that both sides compute the same quasi-steady water. Printing and reading
the file once are counted on the side of hydro. The scipy model computes the file as it is, again and again: it has no
draws to make. Asserts nothing: on a busy machine wall clock says little, so processor time is printed beside it.
"""

import os
import subprocess
import sys
import time

import hydro
import model
from hydro import ROOT

# file, samples (seconds of work, or starting up hides the scaling), whether the scipy model is done with it in minutes
FILES = (("01-one-panel.yaml", 3000, True), ("05-full-stand.yaml", 60, False))
# the tolerance of both sides, as in the runs that bench.py times
OPTIONS = ("--index-rows", "0", "--set", "inertia=off", "--set", "tolerance=1e-6", "--json")


def spread(path, samples, threads, watch=False):
    """Wall clock and processor time, s, and greatest resident memory, MiB, of a spread of so many samples."""
    command = [hydro.binary(), "spread", str(path), "--samples", str(samples), "--threads", str(threads), *OPTIONS]
    begin = time.perf_counter()
    child = subprocess.Popen(command, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL)
    done, memory = 0, 0.0
    while done == 0:
        done, status, used = os.wait4(child.pid, os.WNOHANG if watch else 0)
        memory = max(memory, resident(child.pid)) if watch else memory
        if watch:
            time.sleep(0.002)
    wall = time.perf_counter() - begin
    child.returncode = os.waitstatus_to_exitcode(status)
    if child.returncode not in (0, 1):
        raise hydro.Failed(f"exit status {child.returncode}")
    return wall, used.ru_utime + used.ru_stime, memory


def resident(process):
    """Greatest resident memory so far, MiB: that of the program itself, not of what started it as `ru_maxrss` has it."""
    try:
        with open(f"/proc/{process}/status", encoding="utf-8") as lines:
            return max((int(line.split()[1]) / 1024 for line in lines if line.startswith("VmHWM")), default=0.0)
    except OSError:
        return 0.0


def scipy_rate(path):
    """Runs a second of the scipy model: the best of three, or of as many as take 20 s."""
    case = model.read(path)
    best, started = float("inf"), time.perf_counter()
    for _ in range(3):
        if time.perf_counter() - started > 20:
            break
        begin = time.perf_counter()
        model.run(case, rtol=1e-6, most=20000)
        best = min(best, time.perf_counter() - begin)
    return 1 / best


def main():
    quick = "--quick" in sys.argv
    print(f"\nspread, {os.cpu_count()} processors, load {os.getloadavg()[0]:.1f}")
    print("case | samples | runs a second, 1 thread | 2 threads | scaling by wall clock | processor time, 1 thread over 2 | runs a second, scipy")
    for name, samples, modelled in FILES:
        path = ROOT / "networks" / name
        samples = max(samples // 4, 4) if quick else samples
        try:
            # in turns, so that what disturbs one disturbs the other; the best of three
            turns = [(spread(path, samples, 1), spread(path, samples, 2)) for _ in range(3)]
        except hydro.Failed as error:
            print(f"{name} | not measured: {error}")
            continue
        one, two = (min(turn[side][0] for turn in turns) for side in (0, 1))
        used = [min(turn[side][1] for turn in turns) for side in (0, 1)]
        try:
            theirs = f"{scipy_rate(path):.2f}" if modelled else "not timed: more than minutes a run"
        except (model.Unsupported, KeyError, RuntimeError) as error:
            theirs = f"none: {type(error).__name__} {error}"
        print(f"{name} | {samples} | {samples / one:.1f} | {samples / two:.1f} | {100 * one / (2 * two):.0f} % | {used[0] / used[1]:.2f} | {theirs}", flush=True)
    path = ROOT / "networks" / FILES[0][0]
    small, large = (spread(path, samples, 2, watch=True)[2] for samples in (200, 2000))
    print(f"greatest memory of {FILES[0][0]}: {small:.1f} MiB with 200 samples, {large:.1f} MiB with 2000", flush=True)


if __name__ == "__main__":
    main()
