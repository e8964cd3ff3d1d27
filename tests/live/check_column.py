"""The run of `networks/01-one-panel.yaml` with its column of water set moving, and drained when the tank is out, against scipy."""

import numpy as np

import hydro
import model
from model.column import Column

FILE = hydro.ROOT / "networks" / "01-one-panel.yaml"


def compare(table, title, sets, gas_tolerance):
    options = [word for pair in sets for word in ("--set", pair)]
    got = hydro.call("run", FILE, "--rows", "301", "--set", "inertia=on", "--set", "tolerance=1e-8", *options)
    case = model.read(FILE)
    for pair in sets:
        case.real = case.real and pair != "gas_model=ideal"
    wanted = Column(case).run(rtol=1e-10)
    source = "scipy solve_ivp" + (", CoolProp" if case.real else "")
    times = {event["code"]: event["time_s"] for event in got["events"]}
    for code, time in (("tank_empty", wanted.tank_empty), ("line_empty", wanted.line_empty)):
        table.below(f"{title}: {code}", source, abs(times[code] / time - 1), gas_tolerance)
    series = got["series"]
    tank, flow = series["tanks"]["tank"], series["passages"]["drop"]["flow_m3_s"]
    # the row behind the end of the line has no flow any more
    rows = [k for k, time in enumerate(series["time_s"]) if 0.0 < time < times["line_empty"] - 1e-6]
    reference = np.array([wanted.sample(series["time_s"][k]) for k in rows])
    for name, value, column in (("pressure", tank["pressure_pa"], 0), ("gas temperature", tank["gas_temperature_k"], 1), ("flow", flow, 2)):
        scale = np.max(reference[:, column])
        error = np.max(np.abs(np.array(value)[rows] - reference[:, column])) / scale
        # a row's flows are those 10 microseconds on, in which the column at rest gains 1.5e-4 of its greatest flow
        table.below(f"{title}: {name}, {len(rows)} rows", source, error, max(gas_tolerance, 3e-4) if name == "flow" else gas_tolerance)


def checks(table):
    # 1e-5: what a step of 1e-8 leaves; the last ten thousandth of the line is drained by the law of that length in hydro
    table.section("column, ideal gas", lambda table: compare(table, "column, ideal", ["gas_model=ideal"], 1e-5))
    # 1e-3: GERG-2008 claims 0.1 % in the density of nitrogen, CoolProp has the reference equation
    table.section("column, real gas", lambda table: compare(table, "column, real", [], 1e-3))
