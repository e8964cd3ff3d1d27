"""The gas over the water of a tank: inflow through choked valves, outflow of the water, heat through the walls, evaporation.

An own set of five balances, integrated by `scipy.integrate.solve_ivp`, with CoolProp's reference equation of nitrogen: it
reads nothing of the case but its numbers below and shares no code with the other checks.
"""

from pathlib import Path

import CoolProp as cp
import numpy as np
import yaml
from scipy.integrate import solve_ivp
from scipy.optimize import brentq, minimize_scalar

import hydro

CASES = Path(__file__).resolve().parent / "cases"

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


class Moist:
    """A tank of warm water below moist nitrogen: pressures added by Dalton's law, CoolProp's nitrogen and water."""

    WATER, T_WATER, T_AMBIENT, DENSITY = 20.0, 333.15, 283.15, 983.0
    HEAT_WATER, HEAT_WALL, DRAIN, HUMIDITY, END = 250.0, 150.0, np.pi / 4 * 0.04**2, 0.2, 400.0

    def __init__(self):
        self.eos = cp.AbstractState("HEOS", "Nitrogen")
        self.bulk = cp.AbstractState("HEOS", "Nitrogen")
        self.steam = cp.AbstractState("HEOS", "Water")
        self.steam.update(cp.QT_INPUTS, 1.0, self.T_WATER)
        self.saturation, h = self.steam.p(), self.steam.hmass()
        self.steam.update(cp.QT_INPUTS, 0.0, self.T_WATER)
        self.latent, self.r = h - self.steam.hmass(), self.steam.gas_constant() / self.steam.molar_mass()
        # the heat of vapour as an ideal gas, at thin steam of every kelvin, summed from the water's temperature
        self.kelvins = np.arange(250.0, 360.0)
        heats = []
        for kelvin in self.kelvins:
            self.steam.update(cp.DmassT_INPUTS, 1e-6, kelvin)
            heats.append(self.steam.cp0mass())
        sums = np.concatenate([[0.0], np.cumsum(0.5 * (np.array(heats[1:]) + heats[:-1]))])
        self.sums = sums - np.interp(self.T_WATER, self.kelvins, sums)

    def vapour_enthalpy(self, temperature):
        """Above liquid water of the tank."""
        return self.latent + np.interp(temperature, self.kelvins, self.sums)

    def temperature(self, mass, vapour, volume, energy, guess):
        def missing(t):
            self.eos.update(cp.DmassT_INPUTS, mass / volume, t)
            return mass * self.eos.umass() + vapour * (self.vapour_enthalpy(t) - self.r * t) - energy

        return brentq(missing, guess - 30.0, guess + 30.0, xtol=1e-11)

    def read(self, y):
        """Pressure, of which vapour, temperature, outflow, and what evaporates."""
        mass, energy, vapour, water = y
        volume = VOLUME - water
        t = self.temperature(mass, vapour, volume, energy, 300.0)
        self.eos.update(cp.DmassT_INPUTS, mass / volume, t)
        of_vapour = vapour * self.r * t / volume
        p = self.eos.p() + of_vapour
        self.bulk.update(cp.PT_INPUTS, p, t)
        alpha = self.bulk.conductivity() / (self.bulk.rhomass() * self.bulk.cpmass())
        # Chilton and Colburn: h/(rho cp) Le^(-2/3), Le = alpha/D; D of Marrero and Mason, as quoted
        diffusivity = 1.87e-10 * t**2.072 / (p / 101325)
        transfer = self.HEAT_WATER / (self.bulk.rhomass() * self.bulk.cpmass()) * (diffusivity / alpha) ** (2 / 3)
        evaporates = transfer * (self.saturation - of_vapour) / (self.r * self.T_WATER)
        head = p + self.DENSITY * G * water / SURFACE - AMBIENT
        return p, of_vapour, t, self.DRAIN * np.sqrt(2 * head / (self.DENSITY * LOSS)), evaporates

    def solve(self, dry=False):
        volume = VOLUME - self.WATER
        of_vapour = 0.0 if dry else self.HUMIDITY * self.saturation
        self.eos.update(cp.PT_INPUTS, 6e5 - of_vapour, self.T_AMBIENT)
        mass, vapour = self.eos.rhomass() * volume, of_vapour * volume / (self.r * self.T_AMBIENT)
        energy = mass * self.eos.umass() + vapour * (self.vapour_enthalpy(self.T_AMBIENT) - self.r * self.T_AMBIENT)

        def rates(_, y):
            p, _, t, out, evaporates = self.read(y)
            evaporates = 0.0 if dry else evaporates
            sinks = out + evaporates / self.DENSITY
            heat = self.HEAT_WATER * (self.T_WATER - t) + self.HEAT_WALL * (self.T_AMBIENT - t)
            return [0.0, heat + evaporates * self.latent - p * sinks, evaporates, -sinks]

        start = np.array([mass, energy, vapour, self.WATER])
        done = solve_ivp(rates, (0.0, self.END), start, method="LSODA", rtol=1e-9, atol=1e-10 * np.maximum(np.abs(start), 1.0), dense_output=True)
        if not done.success:
            raise RuntimeError(done.message)
        return done.sol


def evaporation(table, data):
    got = hydro.call("run", data, "--rows", "41")
    model = Moist()
    solution = model.solve()
    series, tank = got["series"], got["series"]["tanks"]["tank"]
    wanted = [(solution(time), *model.read(solution(time))) for time in series["time_s"]]
    pairs = {
        "pressure": (tank["pressure_pa"], [p for _, p, *_ in wanted]),
        "pressure of the vapour": (tank["vapour_pressure_pa"], [v for _, _, v, *_ in wanted]),
        "gas temperature": (tank["gas_temperature_k"], [t for _, _, _, t, *_ in wanted]),
        "water": (tank["water_m3"], [y[3] for y, *_ in wanted]),
        "outflow": (tank["outflow_m3_s"], [out for *_, out, _ in wanted]),
    }
    for name, (value, reference) in pairs.items():
        error = np.max(np.abs(np.array(value) / np.array(reference) - 1))
        # as for the dry gas; the vapour has one heat in hydro, CoolProp's over the temperature here
        table.below(f"evaporation: {name}, {len(wanted)} rows", "scipy solve_ivp, CoolProp", error, 1e-3)
    table.below("evaporation: water and vapour kept", "conservation", abs(got["balance"]["water_error_m3"]), 1e-8)
    # Dry gas over the same water: what leaving it out does, in hydro and in the model of its own
    dry = hydro.call("run", {**data, "tanks": {"tank": {k: v for k, v in data["tanks"]["tank"].items() if k not in ("evaporation", "humidity")}}}, "--rows", "41")
    solution = model.solve(dry=True)
    more = tank["pressure_pa"][-1] - dry["series"]["tanks"]["tank"]["pressure_pa"][-1]
    model_more = pairs["pressure"][1][-1] - model.read(solution(dry["series"]["time_s"][-1]))[0]
    table.below("evaporation: pressure that it adds in the end", "scipy solve_ivp, CoolProp", abs(more / model_more - 1), 2e-2)
    # Another law of the diffusivity: Fuller, Schettler and Giddings with their volumes (from memory), which they give to some 5 %
    m = 2 / (1 / 28.0134 + 1 / 18.0153)
    fuller = 1e-4 * 0.00143 * 313.15**1.75 / (1.01325 * np.sqrt(m) * (18.5 ** (1 / 3) + 13.1 ** (1 / 3)) ** 2)
    table.below("evaporation: diffusivity at 40 degC", "Fuller's method", abs(1.87e-10 * 313.15**2.072 / fuller - 1), 0.08)


def checks(table):
    with open(CASES / "ullage.yaml", encoding="utf-8") as file:
        data = yaml.safe_load(file)
    # 1e-7: hydro integrates with 1e-9 a step, scipy with 1e-10, and errors gather over some hundred steps
    table.section("ullage, ideal gas", lambda table: compare(table, "ullage, ideal", {**data, "gas_model": "ideal"}, False, 1e-7))
    # 1e-3: GERG-2008 claims 0.1 % in the density of nitrogen up to 300 bar, CoolProp has the reference equation
    table.section("ullage, real gas", lambda table: compare(table, "ullage, real", data, True, 1e-3))
    with open(CASES / "evaporation.yaml", encoding="utf-8") as file:
        moist = yaml.safe_load(file)
    table.section("evaporation", lambda table: evaporation(table, moist))
