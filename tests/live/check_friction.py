"""Friction of pipes from `hydro flow`, against `fluids.friction.Colebrook` and 64/Re.

One file with a pipe for every Reynolds number and roughness, each from the tank to an outfall of its own. Its length
follows from the wanted Reynolds number; the friction factor follows from the velocity and the loss that hydro reports.
"""

import numpy as np
from fluids.friction import Colebrook

import hydro
from model import friction

REYNOLDS = [10.0, 500.0, 1900.0, 2300.0, 3000.0, 3700.0, 4100.0, 1e4, 1e5, 1e6, 1e7, 1e8]
ROUGHNESS = [0.0, 1e-6, 1e-4, 1e-3, 1e-2, 5e-2]
DENSITY, G = 1000.0, 9.80665


def reference(re, rough):
    """Darcy friction factor: 64/Re, `fluids`, and between Re 2000 and 4000 the cubic from its definition."""
    if re < friction.LAMINAR:
        return 64.0 / re
    if re > friction.TURBULENT:
        return Colebrook(re, rough)
    return float(friction.loss(np.array([re]), np.array([rough]))[0][0]) / re**2


def checks(table):
    bore, drop = 0.1, 2.0e5
    level = 8.0 / (np.pi / 4 * 4.0)
    drive = drop + DENSITY * G * level  # the outfalls lie at the tank's bottom
    data = {"site": {"ambient_pressure": "101.325 kPa(a)", "water_temperature": "20 degC", "water_density": f"{DENSITY} kg/m3"},
            "tanks": {"t": {"volume": "10 m3", "diameter": "2 m", "bottom": "0 m", "water": "8 m3", "pressure": f"{drop / 1e5} bar(g)"}},
            "outfalls": {"o": {"elevation": "0 m", "pressure": "0 bar(g)"}}, "pipes": {}, "duty": {"end": "1 s"}}
    viscosity = 1e-3
    worst = {"64/Re": 0.0, "bridge": 0.0, "Colebrook": 0.0}
    for rough in ROUGHNESS:
        data["pipes"] = {}
        for k, re in enumerate(REYNOLDS):
            d = bore if re > 1e4 else 0.01
            v = re * viscosity / (DENSITY * d)
            length = drive * d / (reference(re, rough) * DENSITY * v**2 / 2)
            data["pipes"][f"p{k}"] = {"from": "t", "to": "o", "length": f"{length!r} m", "bore": f"{d!r} m", "roughness": f"{rough * d!r} m"}
        data["site"]["water_viscosity"] = f"{viscosity!r} Pa s"
        result = hydro.call("flow", data)
        for k, wanted in enumerate(REYNOLDS):
            pipe, given = result["passages"][f"p{k}"], data["pipes"][f"p{k}"]
            d, length = (float(given[key].split()[0]) for key in ("bore", "length"))
            f = pipe["pressure_loss_pa"] * 2 * d / (length * DENSITY * pipe["velocity_m_s"] ** 2)
            kind = "64/Re" if wanted < 2000 else "Colebrook" if wanted > 4000 else "bridge"
            worst[kind] = max(worst[kind], abs(f / reference(pipe["reynolds"], rough) - 1), abs(pipe["reynolds"] / wanted - 1))
    # 1e-9: hydro's balance of a pipe is as good as the tolerance of its steady solve, not as the law's last digit
    table.below("friction factor, Re 10 .. 1900", "64/Re", worst["64/Re"], 1e-9)
    table.below("friction factor, Re 2300 .. 3700", "cubic between Re 2000 and 4000", worst["bridge"], 1e-9)
    table.below("friction factor, Re 4100 .. 1e8, roughness 0 .. 0.05", "fluids.friction.Colebrook", worst["Colebrook"], 1e-9)
