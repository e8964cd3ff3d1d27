"""Gas in banks over time from `hydro run`, against CoolProp and the closed forms of an ideal gas."""

import CoolProp as cp
import numpy as np

import hydro
from check_valves import supply
from model import gas

VALVE = {"bore": "30 mm", "discharge_coefficient": 0.9}


def checks(table):
    for kind, name, tolerance in (("nitrogen", "Nitrogen", 2e-4), ("air", "Air", 2e-3)):
        eos = cp.AbstractState("HEOS", name)
        for bar, celsius in ((10, 20), (100, -20), (200, 20), (240, 40), (300, 0)):
            data = supply(kind, "real", bar, 1, VALVE)
            data["gas_banks"]["b"]["temperature"] = f"{celsius} degC"
            mass = hydro.call("run", data, "--rows", "2")["series"]["gas_banks"]["b"]["mass_kg"][0]
            eos.update(cp.PT_INPUTS, bar * 1e5, celsius + 273.15)
            # nitrogen: GERG-2008 is close to the reference equation (Span et al. 2000, 0.02 %). Air: a mixture of three
            # gases in GERG-2008, one pseudo-pure gas in Lemmon et al. (2000); each states 0.1 % in density
            table.near(f"density of {kind}, {bar} bar, {celsius} degC", "CoolProp", mass / 5.0, eos.rhomass(), relative=tolerance)
        data = supply(kind, "real", 240, 1, VALVE)
        data["duty"]["end"] = "40 s"
        bank = hydro.call("run", data)["series"]["gas_banks"]["b"]
        eos.update(cp.PT_INPUTS, 240e5, 293.15)
        entropy = eos.smass()
        for row in (50, 100, 200):
            eos.update(cp.PSmass_INPUTS, bank["pressure_pa"][row], entropy)
            # what stays in an adiabatic bank expands at constant entropy; the two equations of state differ as in density, and
            # more near the critical point of air (133 K), where the expansion ends
            table.near(f"{kind} left in the bank, {bank['pressure_pa'][row] / 1e5:.1f} bar: temperature", "CoolProp, isentrope", bank["temperature_k"][row], eos.T(), relative=tolerance)
    data = supply("nitrogen", "ideal", 200, 1, VALVE)
    data["tolerance"] = 1e-9
    data["duty"]["end"] = "20 s"
    got = hydro.call("run", data)["series"]
    bank, time = got["gas_banks"]["b"], np.array(got["time_s"])
    rate = 2 * 0.9 * np.pi / 4 * 0.03**2 / 5.0 * np.sqrt(1.4 * gas.of("nitrogen", False).R * 293.15) * (2 / 2.4) ** 3
    shape = (1 + 0.2 * rate * time) ** -2
    # choked from an adiabatic vessel: m' = -c m sqrt(T), T ~ m^0.4. 1e-6: hundred times the tolerance of the run
    table.below("ideal bank emptied through a choked throat: temperature", "closed form", np.max(np.abs(np.array(bank["temperature_k"]) / (293.15 * shape) - 1)), 1e-6)
    table.below("ideal bank emptied through a choked throat: pressure", "closed form", np.max(np.abs(np.array(bank["pressure_pa"]) / (200e5 * shape**3.5) - 1)), 1e-6)
