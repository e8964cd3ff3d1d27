"""The pressurising gas and the laws of its valves."""

import CoolProp as cp
import numpy as np
from scipy.optimize import brentq, minimize_scalar

MOLAR_MASS = {"nitrogen": 28.0134e-3, "air": 28.96546e-3}
R_UNIVERSAL = 8.31446261815324
GAMMA = 1.4
# ISO 6358: reference state of the sonic conductance
T_REFERENCE, DENSITY_REFERENCE = 293.15, 1.185


class Ideal:
    """Constant heats, gamma 1.4."""

    def __init__(self, kind):
        self.R = R_UNIVERSAL / MOLAR_MASS[kind]
        self.cv = self.R / (GAMMA - 1.0)
        self.gamma = GAMMA

    def density(self, pressure, temperature):
        return pressure / (self.R * temperature)

    def state(self, temperature, density):
        """p, h, cv, dp/dT, dp/drho, du/drho at constant T."""
        p = density * self.R * temperature
        return p, (self.cv + self.R) * temperature, self.cv, density * self.R, self.R * temperature, 0.0

    def isentropic_flux(self, temperature, density, downstream):
        """Mass flux of an isentropic expansion to `downstream`, or to the pressure of greatest flux, kg/(s m2)."""
        g, p = GAMMA, density * self.R * temperature
        ratio = max(downstream / p, (2.0 / (g + 1.0)) ** (g / (g - 1.0)))
        if ratio >= 1.0:
            return 0.0
        return p * np.sqrt(2.0 * g / ((g - 1.0) * self.R * temperature) * (ratio ** (2.0 / g) - ratio ** ((g + 1.0) / g)))


class Real:
    """CoolProp's reference equations."""

    def __init__(self, kind):
        self.eos = cp.AbstractState("HEOS", {"nitrogen": "Nitrogen", "air": "Air"}[kind])
        self.eos.specify_phase(cp.iphase_gas)
        self.aside = cp.AbstractState("HEOS", {"nitrogen": "Nitrogen", "air": "Air"}[kind])

    def density(self, pressure, temperature):
        self.aside.update(cp.PT_INPUTS, pressure, temperature)
        return self.aside.rhomass()

    def state(self, temperature, density):
        s = self.eos
        s.update(cp.DmassT_INPUTS, density, temperature)
        p, slope = s.p(), s.first_partial_deriv(cp.iP, cp.iT, cp.iDmass)
        return p, s.hmass(), s.cvmass(), slope, s.first_partial_deriv(cp.iP, cp.iDmass, cp.iT), (p - temperature * slope) / density**2

    @property
    def gamma(self):
        return GAMMA

    def isentropic_flux(self, temperature, density, downstream):
        s = self.aside
        s.update(cp.DmassT_INPUTS, density, temperature)
        p, h, entropy = s.p(), s.hmass(), s.smass()
        if downstream >= p:
            return 0.0

        def at(pressure):
            s.update(cp.PSmass_INPUTS, pressure, entropy)
            return s.rhomass() * np.sqrt(max(2.0 * (h - s.hmass()), 0.0)), s.rhomass(), s.hmass()

        def faster_than_sound(pressure):
            s.update(cp.PSmass_INPUTS, pressure, entropy)
            return 2.0 * (h - s.hmass()) - s.speed_sound() ** 2

        # the greatest flux is where the gas moves at the speed of sound
        throat = brentq(faster_than_sound, 0.3 * p, 0.7 * p, xtol=1e-4, rtol=1e-12)
        return at(max(throat, downstream))[0]


def of(kind, real):
    return Real(kind) if real else Ideal(kind)


def greatest_flux(gas, temperature, density):
    """Greatest isentropic mass flux found by search over the pressure, without the speed of sound."""
    p = gas.state(temperature, density)[0]
    return -minimize_scalar(lambda to: -_flux_to(gas, temperature, density, to), bounds=(0.3 * p, 0.7 * p), method="bounded", options={"xatol": 1.0}).fun


def _flux_to(gas, temperature, density, to):
    s = gas.aside
    s.update(cp.DmassT_INPUTS, density, temperature)
    h, entropy = s.hmass(), s.smass()
    s.update(cp.PSmass_INPUTS, to, entropy)
    return s.rhomass() * np.sqrt(max(2.0 * (h - s.hmass()), 0.0))


def valve_flow(gas, law, share, upstream, downstream):
    """Mass flow of one valve, kg/s. `upstream` is (T, rho, p), `downstream` a pressure below it."""
    temperature, density, pressure = upstream
    kind, a, b = law
    if share <= 0.0 or downstream >= pressure:
        return 0.0
    if kind == "throat":
        return share * a * b * gas.isentropic_flux(temperature, density, downstream)
    if kind == "kv":
        # IEC 60534-2-1: W = N6 Kv Y sqrt(x p1 rho1), N6 = sqrt(1000) for Kv in m3/h at 1 bar, p in bar (printed 31.6)
        limit = gas.gamma / 1.4 * b
        x = min(1.0 - downstream / pressure, limit)
        kv = a * 3600.0
        return share * np.sqrt(1000.0) / 3600.0 * kv * (1.0 - x / (3.0 * limit)) * np.sqrt(x * pressure / 1e5 * density)
    # ISO 6358-1
    ratio = downstream / pressure
    subsonic = 1.0 if ratio <= b else np.sqrt(max(1.0 - ((ratio - b) / (1.0 - b)) ** 2, 0.0))
    return share * a * pressure * DENSITY_REFERENCE * np.sqrt(T_REFERENCE / temperature) * subsonic
