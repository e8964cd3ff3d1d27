"""The Python model against closed forms: what the other checks lean on. (`hydro` in the table is the model here.)"""

import numpy as np
from fluids.control_valve import size_control_valve_g
from fluids.friction import Colebrook

import model
from model import friction, gas, units
from model.reader import opened

G, AMBIENT = 9.80665, 101325.0


def site(**more):
    return {"ambient_pressure": "101.325 kPa(a)", "water_temperature": "20 degC", "water_density": "1000 kg/m3", **more}


def tank(pressure, **more):
    return {"volume": "10 m3", "diameter": "2 m", "bottom": "1 m", "water": "3 m3", "pressure": pressure, "gas_temperature": "20 degC", **more}


def reading(table):
    """Units by their definitions."""
    for text, value in (("30 L/s/m2", 0.03), ("1.0016 mPa s", 1.0016e-3), ("45000 gal/min", 45000 * 3.785411784e-3 / 60), ("24in", 0.6096), ("85 %", 0.85),
                        ("2 m3/(s Pa)", 2.0), ("62.4 lb/ft3", 62.4 * 0.45359237 / 0.3048**3), ("5 L/(s bar)", 5e-8)):
        table.near(f"model: {text}", "definition", units.si(text), value, relative=1e-14)
    for text, value in (("12.5 bar(g)", 12.5e5 + AMBIENT), ("14.5 psia", 14.5 * 6894.757293168361), ("0 barg", AMBIENT), ("300 kPa (a)", 3e5)):
        table.near(f"model: {text}", "definition", units.pressure(text, AMBIENT), value, relative=1e-14)
    table.near("model: valve half open while it closes", "definition", float(opened(1.0, 5.0, 2.0, 6.0)), 0.5, relative=1e-14)
    table.near("model: valve that closes before it is open", "definition", float(opened(1.0, 2.0, 2.0, 2.5)), 0.25, relative=1e-14)


def friction_factor(table):
    """The friction factor against an independent solution, and the bridge between Re 2000 and 4000 against its definition."""
    worst = 0.0
    for re in np.geomspace(4000, 1e9, 23):
        for rough in (0.0, 1e-6, 1e-4, 1e-2, 0.05):
            worst = max(worst, abs(friction.colebrook(np.array([re]), np.array([rough]))[0][0] / Colebrook(re, rough) - 1))
    table.below("model: Colebrook-White, 115 points", "fluids.friction.Colebrook", worst, 1e-11)
    for rough in (0.0, 0.05):
        at = lambda re: [float(v[0]) for v in friction.loss(np.array([re]), np.array([rough]))]
        for edge in (2000.0, 4000.0):
            for what, k in (("value", 0), ("slope", 1)):
                table.near(f"model: bridge at Re {edge:.0f}, roughness {rough}, {what} from both sides", "definition", at(edge - 1e-6)[k], at(edge + 1e-6)[k], relative=1e-6)
        re = np.linspace(100.0, 20000.0, 998)
        at = lambda re: friction.loss(re, np.full_like(re, rough))
        slope, step = at(re)[1], 1e-5 * re
        table.below(f"model: slope of the loss, roughness {rough}", "central difference",
                    np.max(np.abs((at(re + step)[0] - at(re - step)[0]) / (2 * step) / slope - 1)), 1e-5)
        table.equal(f"model: loss rises over Re, roughness {rough}", "definition", bool(np.all(slope > 0)), True)


def flows(table):
    """Steady flows with a closed form: Torricelli, a free jet over a weir, pipes in parallel."""
    base = {"site": site(), "tanks": {"t": tank("3 bar(g)")}, "outfalls": {"o": {"elevation": "0 m"}},
            "duty": {"end": "1 s"}}
    level = 3.0 / (np.pi / 4 * 2.0**2)
    drive = 3e5 + 1000 * G * (level + 1.0)
    pipe = {"from": "t", "to": "o", "length": "12 m", "bore": "100 mm", "friction_factor": 0.02, "loss_coefficient": 1.6}
    q = model.flow(model.from_dict({**base, "pipes": {"p": pipe}})).flow[0]
    table.near("model: tank through one pipe", "closed form", q, np.pi / 4 * 0.01 * np.sqrt(2 * drive / 1000 / (0.02 * 120 + 1.6)), relative=1e-10)
    two = {"a": {**pipe, "to": "h"}, "b": {**pipe, "from": "h"}, "c": {**pipe, "from": "h", "loss_coefficient": 13.6}}
    r = model.flow(model.from_dict({**base, "headers": {"h": {"elevation": "5 m"}}, "pipes": two}))
    # K 4, then K 4 and K 16 in parallel: q = qb (1 + 1/2), so K of the pair on the full flow is 4 / 1.5^2
    table.near("model: pipes in parallel", "closed form", r.flow[0], np.pi / 4 * 0.01 * np.sqrt(2 * drive / 1000 / (4 + 4 / 2.25)), relative=1e-10)
    weir = {"from": "t", "to": "o", "bore": "200 mm", "apex": "6 m", "rise": {"length": "5 m", "loss_coefficient": 0.9},
            "fall": {"length": "5 m", "loss_coefficient": 0.1}, "vent": {"bore": "50 mm", "discharge_coefficient": 0.6}, "friction_factor": 0.02}
    for pressure, code in ((0.6, 1), (0.2, 1)):
        r = model.flow(model.from_dict({**base, "tanks": {"t": tank(f"{pressure} bar(g)")}, "weir_pipes": {"w": weir}}))
        jet = max(pressure * 1e5 + 1000 * G * (level + 1.0 - 6.0), 0.0)
        table.near(f"model: vented weir, {pressure} bar", "closed form", r.flow[0], np.pi / 4 * 0.04 * np.sqrt(2 * jet / 1000 / (0.02 * 25 + 0.9 + 1.0)), absolute=1e-10)
        table.equal(f"model: vented weir, {pressure} bar, admits air", "closed form", int(r.vent[0]), code)
    siphon = {k: v for k, v in weir.items() if k != "vent"}
    r = model.flow(model.from_dict({**base, "tanks": {"t": tank("0.2 bar(g)")}, "weir_pipes": {"w": siphon}}))
    table.near("model: weir without vent", "closed form", r.flow[0], np.pi / 4 * 0.04 * np.sqrt(2 * (0.2e5 + 1000 * G * (level + 1)) / 1000 / (1.0 + 1.0)), relative=1e-10)


def gas_laws(table):
    """Valve laws against other implementations."""
    ideal, air = gas.of("nitrogen", False), gas.of("air", False)
    p, t = 50e5, 290.0
    state = t, ideal.density(p, t), p
    # NACA Report 1135, eq. for choked flow: m = A p sqrt(g/(R T)) (2/(g+1))^((g+1)/(2(g-1)))
    table.near("model: choked throat, ideal", "closed form", gas.valve_flow(ideal, ("throat", 1.0, 1.0), 1.0, state, 1e5),
               p * np.sqrt(1.4 / (ideal.R * t)) * (2 / 2.4) ** 3, relative=1e-12)
    for down in (30e5, 45e5):
        w = gas.valve_flow(ideal, ("kv", 10 / 3600, 0.7), 1.0, state, down)
        normal = 101325 / (ideal.R * 273.15)
        kv = size_control_valve_g(T=t, MW=28.0134, mu=1.8e-5, gamma=1.4, Z=1.0, P1=p, P2=down, Q=w / normal, xT=0.7)
        # N9 of the standard is printed as 24.6, three digits
        table.near(f"model: IEC 60534, {down / 1e5:.0f} bar behind", "fluids.control_valve", kv, 10.0, relative=2e-3)
    rho = air.density(7e5, 293.15)
    # ISO 6358-1 eq. (1): at the reference temperature a choked valve passes C p1 rho0
    table.near("model: ISO 6358, choked", "closed form", gas.valve_flow(air, ("sonic", 1e-8, 0.3), 1.0, (293.15, rho, 7e5), 1e5), 1e-8 * 7e5 * 1.185, relative=1e-12)
    table.near("model: ISO 6358, half way to no flow", "closed form", gas.valve_flow(air, ("sonic", 1e-8, 0.3), 1.0, (293.15, rho, 7e5), 0.65 * 7e5),
               1e-8 * 7e5 * 1.185 * np.sqrt(0.75), relative=1e-12)
    real = gas.of("nitrogen", True)
    for bar in (10, 240):
        rho = real.density(bar * 1e5, 293.15)
        table.near(f"model: greatest flux at {bar} bar, real", "search over the pressure", real.isentropic_flux(293.15, rho, 1e5), gas.greatest_flux(real, 293.15, rho), relative=1e-9)


def emptying(table):
    """Runs with a closed form in ideal gas."""
    idle = {"tanks": {"t": tank("0 bar(g)", heel="1 m3")}, "headers": {"h": {"elevation": "0 m"}}, "pipes": {"p": {"from": "t", "to": "h", "length": "1 m", "bore": "100 mm"}}}
    data = {"site": site(), "gas": "nitrogen", "gas_model": "ideal", **idle,
            "gas_banks": {"b": {"bottles": 1, "bottle_volume": "1 m3", "pressure": "200 bar(a)", "temperature": "20 degC"}},
            "gas_headers": {"sink": {"volume": "1e6 m3", "pressure": "1 bar(a)"}},
            "gas_valves": {"v": {"from": "b", "to": "sink", "installed": 1, "open": 1, "bore": "20 mm", "discharge_coefficient": 0.8}}, "duty": {"end": "20 s"}}
    r = model.run(model.from_dict(data))
    R = 8.31446261815324 / 28.0134e-3
    rate = 0.8 * np.pi / 4 * 0.02**2 / 1.0 * np.sqrt(1.4 * R * 293.15) * (2 / 2.4) ** 3
    shrink = (1 + 0.2 * rate * 20.0) ** -2  # T/T0 of a choked adiabatic vessel: d'Alembert form of m' = -c m sqrt(T)
    table.near("model: choked emptying of a bank, temperature", "closed form", r.final[r.N * 1 + 0], 293.15 * shrink, relative=1e-7)
    table.near("model: choked emptying of a bank, mass", "closed form", r.final[0], 200e5 / (R * 293.15) * shrink**2.5, relative=1e-7)
    # a tank without gas inflow: p V^1.4; emptied through a pipe to an outfall
    data = {"site": site(), "gas_model": "ideal", "tanks": {"t": tank("8 bar(a)")}, "outfalls": {"o": {"elevation": "1 m", "pressure": "0 bar(a)"}},
            "pipes": {"p": {"from": "t", "to": "o", "length": "1 m", "bore": "100 mm", "friction_factor": 0.02, "loss_coefficient": 3.8}}, "duty": {"end": "100 s"}}
    r = model.run(model.from_dict(data))
    table.near("model: expansion of a closed ullage", "p V^1.4", float(r.at(r.time, r.final)["pressure"][0]), 8e5 * 0.7**1.4, relative=1e-8)
    # the time: integral of dV / q over the volume, by quadrature, apart from any integrator of ours
    from scipy.integrate import quad
    q = lambda w: np.pi / 4 * 0.01 * np.sqrt(2 * (8e5 * (7 / (10 - w)) ** 1.4 + 1000 * G * w / np.pi) / 1000 / 4.0)
    table.near("model: time to empty a closed tank", "quadrature", float(r.time), quad(lambda w: 1 / q(w), 0, 3, epsabs=0, epsrel=1e-12)[0], relative=1e-8)


def checks(table):
    for name, check in (("reading", reading), ("friction factor", friction_factor), ("flows", flows), ("gas laws", gas_laws), ("emptying", emptying)):
        table.section(f"model: {name}", check)
