"""One tank, one pipe, one panel, with the pipe's water as a rigid column that is set moving, and drains when the tank is out.

States: temperature of the gas, water of the tank or what is left of it in the pipe, flow.
"""

from dataclasses import dataclass

import numpy as np
from scipy.integrate import solve_ivp

from . import friction
from . import gas as gases
from .reader import Unsupported


class Column:
    def __init__(self, case):
        e = case.edges
        if len(case.tanks) != 1 or list(e.kind) != ["pipe"] or len(case.panel_name) != 1 or case.valves or len(case.vessels) != 1:
            raise Unsupported("anything but one tank, one pipe and one panel")
        if case.vessels[0].model not in ("energy", "adiabatic") or not np.isnan(e.friction[0]):
            raise Unsupported("a held ullage, a given friction factor")
        self.case, self.tank, self.vessel = case, case.tanks[0], case.vessels[0]
        self.gas = gases.of(case.gas, case.real)
        self.mass = self.gas.density(self.vessel.pressure, self.vessel.temperature) * (self.tank.volume - self.tank.water)
        self.area = np.pi / 4 * e.bore[0] ** 2
        self.length, self.bore, self.loss, self.relative = e.length[0], e.bore[0], e.loss[0], e.roughness[0] / e.bore[0]
        self.room = self.area * self.length
        self.bottom, self.end = (case.elevation[self.tank.node], case.elevation[case.panel_node[0]])
        self.holes = case.hole_area[0]
        self.evaluations = 0

    def friction(self, flow, length, loss):
        """Loss of a length and a sum of coefficients, Pa."""
        c = self.case
        reynolds = np.array([c.density * flow * self.bore / (self.area * c.viscosity)])
        scaled = friction.loss(np.maximum(reynolds, 0.0), self.relative)[0][0]
        return 0.5 * c.viscosity**2 / (c.density * self.bore**2) * scaled * length / self.bore + 0.5 * loss * c.density * (flow / self.area) ** 2

    def at(self, y, draining):
        """Pressure of the gas, and the rates."""
        self.evaluations += 1
        c, (temperature, water, flow) = self.case, y
        volume = self.tank.volume - self.tank.heel + self.room - water if draining else self.tank.volume - water
        density = self.mass / volume
        p, _, cv, _, _, u_rho = self.gas.state(temperature, density)
        weight = c.density * c.gravity
        if draining:
            left, loss = water, max(self.loss - 1.0, 0.0)
            share = water / self.room
            head = p + weight * (share * self.bottom + (1.0 - share) * self.end)
        else:
            left, loss = self.room, self.loss
            head = p + weight * (self.bottom + water / self.tank.area)
        length = max(left, 1e-6 * self.room) / self.area
        panel = c.ambient_pressure + 0.5 * c.density * (flow / self.holes) ** 2
        pushes = head - panel - weight * self.end - self.friction(flow, length, loss)
        heat = self.vessel.conductance * (c.ambient_temperature - temperature) if self.vessel.model == "energy" else 0.0
        density_rate = -density * flow / volume
        warming = (heat - p * flow - self.mass * u_rho * density_rate) / (self.mass * cv)
        return p, np.array([warming, -flow, pushes * self.area / (c.density * length)])

    def run(self, rtol=1e-9, method="LSODA"):
        """The whole run: until the pipe is empty or the duty ends. Times of both, and the solutions."""
        y = np.array([self.vessel.temperature, self.tank.water, 0.0])
        scale = np.array([300.0, self.tank.water, 3.0 * self.area])
        time, end, pieces, stops = self.case.duty.get("start", 0.0), self.case.duty["end"], [], []
        for draining, least in ((False, self.tank.heel), (True, 1e-9 * self.room)):
            if draining:
                y[1] = self.room
            gone = lambda t, y, least=least: y[1] - least
            gone.terminal, gone.direction = True, -1
            out = solve_ivp(lambda t, y: self.at(y, draining)[1], (time, end), y, method=method, rtol=rtol, atol=1e-2 * rtol * scale,
                            events=gone, dense_output=True)
            if out.status < 0:
                raise RuntimeError(out.message)
            y, time = out.y[:, -1].copy(), out.t[-1]
            pieces.append((out.t[0], time, out.sol, draining))
            stops.append(time if out.status == 1 else np.nan)
            if out.status != 1:
                break
        return Run(self, pieces, *(stops + [np.nan])[:2])


@dataclass
class Run:
    column: Column
    pieces: list
    tank_empty: float
    line_empty: float

    def sample(self, time):
        """Pressure of the gas, its temperature, and the flow."""
        piece = next((p for p in self.pieces if time <= p[1]), self.pieces[-1])
        y = piece[2](time)
        return self.column.at(y, piece[3])[0], y[0], y[2]
