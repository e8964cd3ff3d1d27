"""Friction of pipes from `hydro flow`, against `fluids.friction.Colebrook` and 64/Re.

A file for every Reynolds number (set by the water's viscosity) holds a pipe for every roughness, as long as the wanted
velocity asks for; the friction factor follows from the velocity and the loss that hydro reports.
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
    bore, velocity, drop = 0.1, 1.0, 2.0e5
    drive = drop + DENSITY * G * 8.0 / np.pi  # the outfall lies at the tank's bottom
    data = {"site": {"ambient_pressure": "101.325 kPa(a)", "water_temperature": "20 degC", "water_density": f"{DENSITY} kg/m3"},
            "tanks": {"t": {"volume": "10 m3", "diameter": "2 m", "bottom": "0 m", "water": "8 m3", "pressure": f"{drop / 1e5} bar(g)"}},
            "outfalls": {"o": {"elevation": "0 m", "pressure": "0 bar(g)"}}, "duty": {"end": "1 s"}}
    worst = {"64/Re": 0.0, "bridge": 0.0, "Colebrook": 0.0}
    for re in REYNOLDS:
        data["site"]["water_viscosity"] = f"{DENSITY * velocity * bore / re!r} Pa s"
        lengths = [drive * bore / (reference(re, rough) * DENSITY * velocity**2 / 2) for rough in ROUGHNESS]
        data["pipes"] = {f"p{k}": {"from": "t", "to": "o", "length": f"{length!r} m", "bore": f"{bore!r} m", "roughness": f"{rough * bore!r} m"}
                         for k, (length, rough) in enumerate(zip(lengths, ROUGHNESS))}
        result = hydro.call("flow", data)
        for k, (length, rough) in enumerate(zip(lengths, ROUGHNESS)):
            pipe = result["passages"][f"p{k}"]
            f = pipe["pressure_loss_pa"] * 2 * bore / (length * DENSITY * pipe["velocity_m_s"] ** 2)
            kind = "64/Re" if re < 2000 else "Colebrook" if re > 4000 else "bridge"
            worst[kind] = max(worst[kind], abs(f / reference(pipe["reynolds"], rough) - 1), abs(pipe["reynolds"] / re - 1))
    # 2e-8: hydro's laws carry a least loss coefficient of 1e-6 that keeps their slope finite (here f L/D is 450)
    table.below("friction factor, Re 10 .. 1900", "64/Re", worst["64/Re"], 2e-8)
    table.below("friction factor, Re 2300 .. 3700", "cubic between Re 2000 and 4000", worst["bridge"], 2e-8)
    table.below("friction factor, Re 4100 .. 1e8, roughness 0 .. 0.05", "fluids.friction.Colebrook", worst["Colebrook"], 2e-8)
