"""Properties of water over 1 .. 60 degC from `hydro flow`, against iapws and CoolProp."""

from CoolProp.CoolProp import PropsSI
from iapws import IAPWS97
from iapws.iapws97 import _PSat_T

import hydro

AMBIENT = 101325.0


def checks(table):
    data = {"site": {"ambient_pressure": "101.325 kPa(a)"},
            "tanks": {"t": {"volume": "10 m3", "diameter": "2 m", "bottom": "1 m", "water": "8 m3", "pressure": "1 bar(g)"}},
            "outfalls": {"o": {"elevation": "0 m"}},
            "pipes": {"p": {"from": "t", "to": "o", "length": "10 m", "bore": "100 mm", "roughness": "0.05 mm", "loss_coefficient": 1}}, "duty": {"end": "1 s"}}
    for celsius in (1, 4, 10, 20, 30, 40, 50, 60):
        data["site"]["water_temperature"] = f"{celsius} degC"
        got, t = hydro.call("flow", data)["water"], celsius + 273.15
        state = IAPWS97(T=t, P=AMBIENT / 1e6)
        # the same standard, coded apart: rounding. hydro may take the density at another pressure near ambient
        # (4.6e-10 per Pa, so 1e-6 allows 2 kPa).
        table.near(f"density at {celsius} degC", "iapws IF97", got["density_kg_m3"], state.rho, relative=1e-6)
        table.near(f"viscosity at {celsius} degC", "iapws", got["viscosity_pa_s"], state.mu, relative=1e-6)
        table.near(f"vapour pressure at {celsius} degC", "iapws IF97", got["vapour_pressure_pa"], _PSat_T(t) * 1e6, relative=1e-8)
        # IF97 against IAPWS-95: the industrial formulation is a fit; up to 1.3e-5 apart in density here, 7e-5 in vapour pressure
        table.near(f"density at {celsius} degC", "CoolProp IAPWS-95", got["density_kg_m3"], PropsSI("D", "T", t, "P", AMBIENT, "Water"), relative=2e-5)
        table.near(f"viscosity at {celsius} degC", "CoolProp", got["viscosity_pa_s"], PropsSI("V", "T", t, "P", AMBIENT, "Water"), relative=5e-5)
        table.near(f"vapour pressure at {celsius} degC", "CoolProp IAPWS-95", got["vapour_pressure_pa"], PropsSI("P", "T", t, "Q", 0, "Water"), relative=2e-4)
