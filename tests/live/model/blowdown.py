"""Emptying of the tanks over time: gas balances by scipy, the water network solved inside, events restart.

States: mass and temperature of every gas vessel, water volume of every tank.
"""

import numpy as np
from scipy.integrate import solve_ivp

from . import gas as gases
from .reader import Unsupported, opened
from .steady import Steady

FULL, HOLDS, SHUT = "full", "holds", "shut"  # what a regulated valve does


class Blowdown:
    def __init__(self, case):
        self.case, self.steady, self.gas = case, Steady(case), gases.of(case.gas, case.real)
        vessels = case.vessels
        self.N, self.M = len(vessels), len(case.tanks)
        self.ullage = np.array([k for k, vessel in enumerate(vessels) if vessel.kind == "ullage"], dtype=int)
        self.volume = np.array([vessel.volume for vessel in vessels])
        self.tank_volume = np.array([tank.volume for tank in case.tanks])
        self.heel = np.array([tank.heel for tank in case.tanks])
        self.conductance = np.array([0.0 if vessel.model == "adiabatic" else vessel.conductance for vessel in vessels])
        water = np.array([tank.water for tank in case.tanks])
        self.volume[self.ullage] = self.tank_volume - water
        self.start_volume = self.volume.copy()
        temperature = np.array([vessel.temperature for vessel in vessels])
        mass = self.volume * [self.gas.density(vessel.pressure, vessel.temperature) for vessel in vessels]
        self.y0 = np.concatenate((mass, temperature, water))
        self.mode = [None if np.isnan(valve.limit) else SHUT for valve in case.valves]
        self.empty = water <= self.heel
        self.warm, self.last, self.evaluations, self.most = None, None, 0, 10**6
        self.receives = {valve.end for valve in case.valves}
        for k, vessel in enumerate(vessels):
            if vessel.model == "polytropic" and k in self.receives:
                raise Unsupported("polytropic ullage with gas inflow")

    # ---- the right-hand side -------------------------------------------------------------------------------------

    def at(self, time, y):
        """Everything that follows from the state; kept for the last state asked for."""
        key = (time, y.tobytes(), tuple(self.mode), self.empty.tobytes())
        if self.last is not None and self.last[0] == key:
            return self.last[1]
        self.evaluations += 1
        if self.evaluations > self.most:
            raise RuntimeError(f"more than {self.most} evaluations, at {time:.4g} s")
        N, M = self.N, self.M
        mass, temperature, water = y[:N], y[N: 2 * N], y[2 * N:]
        volume = self.volume.copy()
        volume[self.ullage] = self.tank_volume - water
        density = mass / volume
        props = np.array([self.gas.state(t, r) for t, r in zip(temperature, density)])
        pressure = props[:, 0]
        result = self.steady.solve(self.steady.outlet(pressure[self.ullage], water), time, self.empty, self.warm)
        self.warm = result
        outflow = self.steady.tank_outflow(result)
        now = dict(pressure=pressure, density=density, volume=volume, temperature=temperature, props=props, water=result, outflow=outflow)
        self._gas(time, now)
        self.last = (key, now)
        return now

    def _gas(self, time, now):
        case, p = self.case, now["pressure"]
        flows, full = np.zeros(len(case.valves)), np.zeros(len(case.valves))
        for k, valve in enumerate(case.valves):
            share = float(opened(valve.opens_at, valve.closes_at, valve.stroke, time))
            a, b = valve.start, valve.end
            forward = p[a] >= p[b]
            up, down = (a, b) if forward else (b, a)
            if forward or self.mode[k] is None:
                state = now["temperature"][up], now["density"][up], p[up]
                full[k] = (1.0 if forward else -1.0) * valve.count * gases.valve_flow(self.gas, valve.law, share, state, p[down])
            flows[k] = full[k] if self.mode[k] in (None, FULL) else 0.0
        holding = [k for k, mode in enumerate(self.mode) if mode == HOLDS]
        if holding:
            outlets = [case.valves[k].end for k in holding]
            base = self._rates(now, flows)[2][outlets]
            slope = np.zeros((len(holding), len(holding)))
            for column, k in enumerate(holding):
                trial = flows.copy()
                trial[k] = 1.0
                slope[:, column] = self._rates(now, trial)[2][outlets] - base
            flows[holding] = np.linalg.solve(slope, -base)
        now["flows"], now["full"] = flows, full
        now["mass_rate"], now["temperature_rate"], now["pressure_rate"] = self._rates(now, flows)

    def _rates(self, now, flows):
        """dm/dt, dT/dt and dp/dt of every vessel with the valves' `flows`."""
        case = self.case
        p, h, cv, p_t, p_rho, u_rho = now["props"].T
        density, volume, t = now["density"], now["volume"], now["temperature"]
        u = h - p / density
        rate, energy = np.zeros(self.N), self.conductance * (case.ambient_temperature - t)
        for valve, flow in zip(case.valves, flows):
            carried = flow * (h[valve.start] if flow >= 0 else h[valve.end])
            rate[valve.start] -= flow
            rate[valve.end] += flow
            energy[valve.start] -= carried
            energy[valve.end] += carried
        growth = np.zeros(self.N)
        growth[self.ullage] = now["outflow"]
        energy -= p * growth
        density_rate = (rate - density * growth) / volume
        warming = (energy - rate * u - density * volume * u_rho * density_rate) / (density * volume * cv)
        for k, vessel in enumerate(case.vessels):
            if vessel.model == "isothermal":
                warming[k] = 0.0
            elif vessel.model == "polytropic":  # p V^n constant
                pressure_rate = -vessel.exponent * p[k] * growth[k] / volume[k]
                warming[k] = (pressure_rate - p_rho[k] * density_rate[k]) / p_t[k]
        return rate, warming, p_t * warming + p_rho * density_rate

    def rhs(self, time, y):
        now = self.at(time, y)
        return np.concatenate((now["mass_rate"], now["temperature_rate"], np.where(self.empty, 0.0, -now["outflow"])))

    # ---- events --------------------------------------------------------------------------------------------------

    def _events(self, time, y):
        """(function, what to do) for everything that can change the equations from here."""
        found = []

        def add(function, direction, action):
            function.terminal, function.direction = True, direction
            found.append((function, action))

        for k in range(self.M):
            if not self.empty[k]:
                add(lambda t, y, k=k: y[2 * self.N + k] - self.heel[k], -1, ("empty", k))
            if np.isfinite(self.case.tanks[k].relief):
                add(lambda t, y, k=k: self.at(t, y)["pressure"][self.ullage[k]] - self.case.tanks[k].relief, 1, ("relief", k))
        for k, mode in enumerate(self.mode):
            valve = self.case.valves[k]
            over = lambda t, y, v=valve: self.at(t, y)["pressure"][v.end] / v.limit - 1.0
            least = 1e-8 * max(abs(self.at(time, y)["full"][k]), 1e-3)
            # each a little beyond the border, so that the state it starts from is on one side
            if mode == FULL:
                add(lambda t, y, over=over: over(t, y) - 1e-9, 1, (HOLDS, k))
            elif mode == HOLDS:
                add(lambda t, y, k=k, least=least: self.at(t, y)["full"][k] - self.at(t, y)["flows"][k] + least, -1, (FULL, k))
                add(lambda t, y, k=k, least=least: self.at(t, y)["flows"][k] + least, -1, (SHUT, k))
            elif mode == SHUT:
                add(lambda t, y, over=over: over(t, y) + 1e-9, -1, (HOLDS, k))
        return found

    def _settle_modes(self, time, y):
        """Modes of the regulated valves from the pressures alone (at the start, after a jump)."""
        for k, valve in enumerate(self.case.valves):
            if self.mode[k] is None:
                continue
            self.mode[k] = FULL
            p = self.at(time, y)["pressure"][valve.end]
            if p > valve.limit * (1 + 1e-7):
                self.mode[k] = SHUT
            elif p > valve.limit * (1 - 1e-7):
                self.mode[k] = HOLDS
                now = self.at(time, y)
                self.mode[k] = SHUT if now["flows"][k] < 0 else FULL if now["flows"][k] > now["full"][k] else HOLDS

    def marks(self, start, end):
        """Known times at which the equations bend."""
        times = {start, end}
        e = self.case.edges
        moving = [(e.opens_at[k], e.closes_at[k], e.stroke[k]) for k in range(len(e.name)) if np.isfinite(e.opens_at[k]) or np.isfinite(e.closes_at[k])]
        moving += [(valve.opens_at, valve.closes_at, valve.stroke) for valve in self.case.valves]
        for opens, closes, stroke in moving:
            times |= {opens, opens + stroke, closes, closes + stroke * (min(1.0, (closes - opens) / stroke) if stroke > 0 and np.isfinite(closes) else 1.0)}
        for table, _ in self.case.plume:
            times |= set(table.time)
        duty = self.case.duty
        if "ignition" in duty:
            times |= {duty["ignition"], duty["ignition"] + duty.get("hold", 0.0)}
        return sorted(t for t in times if start <= t <= end and np.isfinite(t))

    # ---- the run -------------------------------------------------------------------------------------------------

    def run(self, rtol=1e-9, method="LSODA", most=10**6):
        """Integrates to the end; more than `most` evaluations of the right-hand side are an error."""
        self.most = most
        case = self.case
        start, end = case.duty.get("start", 0.0), case.duty["end"]
        N = self.N
        self.pieces, events = [], []
        y, time = self.y0.copy(), start
        scale = np.concatenate((np.maximum(y[:N], 1e-3), np.full(N, 300.0), np.maximum(y[2 * N:], 1e-3)))
        self._settle_modes(time, y)
        for mark in self.marks(start, end)[1:]:
            # a time just inside the piece decides what a jump at its ends is: shift the state by nothing, look once
            self._settle_modes(time + 1e-12 * max(1.0, abs(time)), y)
            while time < mark and not np.all(self.empty):
                active = self._events(time, y)
                out = solve_ivp(self.rhs, (time, mark), y, method=method, rtol=rtol, atol=rtol * 1e-2 * scale,
                                events=[function for function, _ in active], dense_output=True)
                if out.status < 0:
                    raise RuntimeError(out.message)
                y, time = out.y[:, -1].copy(), out.t[-1]
                self.pieces.append((out.t[0], time, out.sol, tuple(self.mode), self.empty.copy()))
                if out.status == 1:
                    for (_, (what, k)), times in zip(active, out.t_events):
                        if not len(times):
                            continue
                        if what == "empty":
                            self.empty[k] = True
                            y[2 * N + k] = self.heel[k]
                            self.warm = None
                            events.append((time, case.tanks[k].name, "tank_empty"))
                        elif what == "relief":
                            raise Unsupported("an opening relief valve")
                        else:
                            self.mode[k] = what
                            if what == HOLDS:
                                now = self.at(time, y)
                                self.mode[k] = FULL if now["flows"][k] > now["full"][k] else SHUT if now["flows"][k] < 0 else HOLDS
            if np.all(self.empty):
                break
        self.final, self.time, self.events, self.start = y, time, events, start
        return self

    def state(self, time):
        """State and all that follows from it at a `time` within the finished run."""
        ends = [piece[1] for piece in self.pieces]
        _, _, solution, mode, empty = self.pieces[min(np.searchsorted(ends, time, side="left"), len(ends) - 1)]
        self.mode, self.empty = list(mode), empty
        y = solution(time)
        return y, self.at(time, y)

    def sample(self, times):
        """Series at `times` (clipped to the run) in the shape of the results: kind, name, quantity."""
        case, N = self.case, self.N
        times = np.clip(np.asarray(times, dtype=float), self.start, self.time)
        rows = [self.state(t) for t in times]
        pick = lambda get: np.array([get(y, now) for y, now in rows])
        series = {"time_s": times, "tanks": {}, "gas_banks": {}, "gas_valves": {}, "panels": {}, "passages": {}}
        for k, tank in enumerate(case.tanks):
            v = self.ullage[k]
            series["tanks"][tank.name] = dict(
                pressure_pa=pick(lambda y, now: now["pressure"][v]), water_m3=pick(lambda y, now: y[2 * N + k]),
                gas_temperature_k=pick(lambda y, now: y[N + v]), outflow_m3_s=pick(lambda y, now: now["outflow"][k]))
        for k, vessel in enumerate(case.vessels):
            if vessel.kind == "bank":
                series["gas_banks"][vessel.name] = dict(
                    pressure_pa=pick(lambda y, now: now["pressure"][k]), temperature_k=pick(lambda y, now: y[N + k]), mass_kg=pick(lambda y, now: y[k]))
        for k, valve in enumerate(case.valves):
            series["gas_valves"][valve.name] = dict(flow_kg_s=pick(lambda y, now: now["flows"][k]))
        for k, name in enumerate(case.panel_name):
            series["panels"][name] = dict(flow_m3_s=pick(lambda y, now: now["water"].holes[k]))
        for k, name in enumerate(case.edges.name):
            series["passages"][name] = dict(flow_m3_s=pick(lambda y, now: now["water"].flow[k]))
        return series


def run(case, **options):
    """The finished run of a case."""
    return Blowdown(case).run(**options)
