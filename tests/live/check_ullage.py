"""The gas over the water of a tank: inflow through choked valves, outflow of the water, heat through the walls.

An own set of five balances, integrated by `scipy.integrate.solve_ivp`, with CoolProp's reference equation of nitrogen: it
reads nothing of the case but its numbers below and shares no code with the other checks.
"""

from pathlib import Path

import CoolProp as cp
import numpy as np
import yaml
from scipy.integrate import solve_ivp
from scipy.optimize import minimize_scalar

import hydro

CASE = Path(__file__).resolve().parent / "cases" / "ullage.yaml"

AMBIENT, T_AMBIENT, DENSITY, G = 100e3, 293.15, 998.0, 9.81
BANK = 12 * 0.5
VOLUME, SURFACE, WATER = 30.0, np.pi / 4 * 2.4**2, 24.0
INLET = 3 * 0.82 * np.pi / 4 * 0.016**2
DRAIN, LOSS = np.pi / 4 * 0.25**2, 2.4
HEAT_BANK, HEAT_TANK = 900.0, 2500.0
END = 13.0


class Nitrogen:
    """Constant-property gas of the same gamma as hydro's ideal one, or CoolProp's nitrogen."""

    def __init__(self, real):
        self.real = real
        self.eos, self.aside = (cp.AbstractState("HEOS", "Nitrogen") for _ in range(2))
        self.r, self.cv = 8.31446261815324 / 28.0134e-3, 2.5 * 8.31446261815324 / 28.0134e-3

    def at(self, pressure, temperature):
        """Density and internal energy."""
        if not self.real:
            return pressure / (self.r * temperature), self.cv * temperature
        self.eos.update(cp.PT_INPUTS, pressure, temperature)
        return self.eos.rhomass(), self.eos.umass()

    def state(self, density, energy):
        """Pressure, temperature, enthalpy."""
        if not self.real:
            temperature = energy / self.cv
            return density * self.r * temperature, temperature, energy + self.r * temperature
        self.eos.update(cp.DmassUmass_INPUTS, density, energy)
        return self.eos.p(), self.eos.T(), self.eos.hmass()

    def choked(self, pressure, temperature):
        """Greatest mass flux of an isentropic expansion, found by search, and the pressure there."""
        if not self.real:
            return pressure * np.sqrt(1.4 / (self.r * temperature)) * (2 / 2.4) ** 3, pressure * (2 / 2.4) ** 3.5
        s = self.aside
        s.update(cp.PT_INPUTS, pressure, temperature)
        enthalpy, entropy = s.hmass(), s.smass()

        def slower(share):
            s.update(cp.PSmass_INPUTS, share * pressure, entropy)
            return -s.rhomass() * np.sqrt(2 * (enthalpy - s.hmass()))

        # the flux is flat about its greatest, so 1e-6 in the pressure leaves 1e-12 in the flux
        best = minimize_scalar(slower, bounds=(0.3, 0.7), method="bounded", options={"xatol": 1e-6})
        return -best.fun, best.x * pressure


def outflow(pressure, water):
    return DRAIN * np.sqrt(2 * (pressure + DENSITY * G * water / SURFACE - AMBIENT) / (DENSITY * LOSS))


def model(real):
    """The solution over time, and what is made of a state."""
    gas = Nitrogen(real)
    rho_bank, u_bank = gas.at(250e5, 293.15)
    rho, u = gas.at(9e5, 293.15)
    mass_bank, mass = rho_bank * BANK, rho * (VOLUME - WATER)
    lowest = [np.inf]

    def read(y):
        bank, tank = gas.state(y[0] / BANK, y[1] / y[0]), gas.state(y[2] / (VOLUME - y[4]), y[3] / y[2])
        return bank, tank, outflow(tank[0], y[4])

    def rates(_, y):
        (p_bank, t_bank, h_bank), (p, t, _), out = read(y)
        flux, throat = gas.choked(p_bank, t_bank)
        lowest[0] = min(lowest[0], throat / p)
        flow = INLET * flux
        return [-flow, -flow * h_bank + HEAT_BANK * (T_AMBIENT - t_bank), flow, flow * h_bank + HEAT_TANK * (T_AMBIENT - t) - p * out, -out]

    start = [mass_bank, mass_bank * u_bank, mass, mass * u, WATER]
    done = solve_ivp(rates, (0.0, END), start, method="DOP853", rtol=1e-10, atol=1e-10 * np.abs(start), dense_output=True)
    if not done.success:
        raise RuntimeError(done.message)
    return done.sol, read, lowest[0]


def compare(table, title, data, real, tolerance):
    got = hydro.call("run", data, "--rows", "45")
    solution, read, lowest = model(real)
    table.equal(f"{title}: the valves stay choked", "scipy, greatest flux", bool(lowest > 1.0) and not any("choking" in event["code"] for event in got["events"]), True)
    series = got["series"]
    tank, bank = series["tanks"]["tank"], series["gas_banks"]["bank"]
    wanted = [(y, *read(y)) for y in (solution(time) for time in series["time_s"])]
    pairs = {
        "pressure of the tank": (tank["pressure_pa"], [p for _, _, (p, _, _), _ in wanted]),
        "gas temperature of the tank": (tank["gas_temperature_k"], [t for _, _, (_, t, _), _ in wanted]),
        "water of the tank": (tank["water_m3"], [y[4] for y, *_ in wanted]),
        "outflow": (tank["outflow_m3_s"], [out for *_, out in wanted]),
        "pressure of the bank": (bank["pressure_pa"], [p for _, (p, _, _), _, _ in wanted]),
        "temperature of the bank": (bank["temperature_k"], [t for _, (_, t, _), _, _ in wanted]),
        "gas in the bank": (bank["mass_kg"], [y[0] for y, *_ in wanted]),
    }
    for name, (value, reference) in pairs.items():
        error = np.max(np.abs(np.array(value) / np.array(reference) - 1))
        table.below(f"{title}: {name}, {len(wanted)} rows", "scipy solve_ivp" + (", CoolProp" if real else ""), error, tolerance)


def checks(table):
    with open(CASE, encoding="utf-8") as file:
        data = yaml.safe_load(file)
    # 1e-7: hydro integrates with 1e-9 a step, scipy with 1e-10, and errors gather over some hundred steps
    table.section("ullage, ideal gas", lambda table: compare(table, "ullage, ideal", {**data, "gas_model": "ideal"}, False, 1e-7))
    # 1e-3: GERG-2008 claims 0.1 % in the density of nitrogen up to 300 bar, CoolProp has the reference equation
    table.section("ullage, real gas", lambda table: compare(table, "ullage, real", data, True, 1e-3))
