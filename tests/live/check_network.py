"""Steady networks from `hydro flow`, against the Python model: every flow of every file."""

import numpy as np
import yaml

import hydro
import model
from generate import grid
from hydro import ROOT
from pathlib import Path

CASES = Path(__file__).resolve().parent / "cases"


def difference(got, want, case):
    """Largest difference of a flow, relative to it, or to a thousandth of the largest flow where it is small."""
    names = case.edges.name + case.panel_name
    reference = np.concatenate((want.flow, want.holes))
    value = np.array([got["passages"][name]["flow_m3_s"] for name in case.edges.name] + [got["panels"][name]["flow_m3_s"] for name in case.panel_name])
    size = np.maximum(np.abs(reference), 1e-3 * np.max(np.abs(reference)))
    error = np.abs(value - reference) / size
    worst = int(np.argmax(error))
    return error[worst], names[worst]


def compare(table, title, network, case, time=None):
    options = () if time is None else ("--at", f"{time!r} s")
    got = hydro.call("flow", network, *options)
    error, worst = difference(got, model.flow(case, time), case)
    # both solve to their own tolerance, well below 1e-6 of a flow
    table.below(f"{title}: {len(case.edges.name) + len(case.panel_name)} flows, worst {worst}", "scipy model", error, 1e-6)


def checks(table):
    def one(path):
        def check(table):
            case = model.read(path)
            compare(table, path.name, path, case)
            # in the middle of the first stroke
            moving = np.flatnonzero(np.isfinite(case.edges.opens_at) & (case.edges.stroke > 0))
            if len(moving):
                k = moving[0]
                compare(table, f"{path.name} in mid stroke", path, case, float(case.edges.opens_at[k] + 0.5 * case.edges.stroke[k]))
        return check

    for path in sorted(CASES.glob("*.yaml")) + sorted((ROOT / "networks").glob("*.yaml")):
        try:
            model.read(path)
        except model.Unsupported as error:
            table.note(f"{path.name}: not compared, the Python model has no {error}")
            continue
        table.section(path.name, one(path))
    for columns, rows in ((5, 10), (40, 25)):
        data = yaml.safe_load(grid(columns, rows))
        table.section(f"grid {columns} x {rows}", lambda table: compare(table, f"grid {columns} x {rows}", data, model.from_dict(data)))
