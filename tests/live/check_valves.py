"""Loss coefficients and gas valves from `hydro`, against `fluids`, CoolProp and the standards' equations."""

import numpy as np
from fluids import fittings as crane
from fluids.control_valve import size_control_valve_g

import hydro
from model import gas
from model.fittings import hole_coefficient

DENSITY, G = 998.0, 9.80665


def water():
    return {"inertia": False,
            "site": {"ambient_pressure": "101.325 kPa(a)", "water_temperature": "20 degC", "water_density": f"{DENSITY} kg/m3", "water_viscosity": "1 mPa s"},
            "tanks": {"t": {"volume": "10 m3", "diameter": "2 m", "bottom": "0 m", "water": "8 m3", "pressure": "2 bar(g)"}},
            "outfalls": {"o": {"elevation": "0 m"}}, "duty": {"end": "1 s"}}


def water_valves(table):
    drive = 2e5 + DENSITY * G * 8.0 / np.pi
    data = water()
    ends = {"from": "t", "to": "o", "bore": "100 mm"}
    data["valves"] = {"k": {**ends, "loss_coefficient": 2.5}, "kv": {**ends, "kv": "80 m3/h"}}
    data["panels"] = {"auto": {"at": ["0 m", "0 m"], "size": ["1 m", "1 m"], "elevation": "0 m",
                               "holes": {"count": 100, "diameter": "4 mm", "plate": "3 mm", "discharge_coefficient": "auto", "cavitation": "off"}}}
    data["valves"]["wide"] = {"from": "t", "to": "auto", "bore": "1 m", "loss_coefficient": 1}
    got = hydro.call("flow", data)
    flow = lambda name: got["passages"][name]["flow_m3_s"]
    # closed forms; 1e-8 leaves room for the tolerance of the steady solve
    table.near("valve with K 2.5", "closed form", flow("k"), np.pi / 4 * 0.01 * np.sqrt(2 * drive / DENSITY / 2.5), relative=1e-8)
    table.near("valve with Kv 80", "IEC 60534: q = Kv sqrt(dp 1000/rho)", flow("kv"), 80 / 3600 * np.sqrt(drive / 1e5 * 1000 / DENSITY), relative=1e-8)
    area = 100 * hole_coefficient(0.75) * np.pi / 4 * 0.004**2
    # drive = k q^2 + l q, with the friction of Lichtarowicz et al., 1/Cd^2 = 1/Cdu^2 + 40 (1 + 2.25 r)/Re
    k = 0.5 * DENSITY * (1 / (np.pi / 4) ** 2 + 1 / area**2)
    l = 40 * (1 + 2.25 * 0.75) * got["water"]["viscosity_pa_s"] / (2 * 0.004 * 100 * np.pi / 4 * 0.004**2)
    table.near("holes with coefficient auto, plate/diameter 0.75", "Rennels & Hudson, Lichtarowicz et al.", got["panels"]["auto"]["flow_m3_s"],
               (np.sqrt(l * l + 4 * k * drive) - l) / (2 * k), relative=1e-8)
    half = hydro.call("flow", {**data, "valves": {**data["valves"], "k": {**data["valves"]["k"], "opens_at": "0 s", "stroke": "2 s"}}}, "--at", "1 s")
    table.near("valve with K 2.5, half open", "K/x^2", half["passages"]["k"]["flow_m3_s"], 0.5 * np.pi / 4 * 0.01 * np.sqrt(2 * drive / DENSITY / 2.5), relative=1e-8)


def named_fittings(table):
    """K by name against Crane TP-410 in the `fluids` library.

    3 % where f_T enters: `fluids` interpolates Crane's rounded table of f_T, hydro takes Crane's equation 2-8 for it.
    """
    bore = 0.1
    ft = crane.ft_Crane(bore)
    known = {
        "entrance_sharp": (0.5, 1e-6, "Crane TP-410 A-30, from memory"),
        "entrance_rounded": (crane.entrance_rounded(bore, rc=0.15 * bore, method="Crane"), 1e-6, "fluids, Crane A-30"),
        "exit": (crane.exit_normal(), 1e-6, "fluids.exit_normal"),
        "bend_90_long_radius": (crane.bend_rounded_Crane(bore, 90.0, bend_diameters=1.5), 0.03, "fluids.bend_rounded_Crane"),
        "bend_90_short_radius": (crane.bend_rounded_Crane(bore, 90.0, bend_diameters=1.0), 0.03, "fluids.bend_rounded_Crane"),
        "bend_90_radius_3": (crane.bend_rounded_Crane(bore, 90.0, bend_diameters=3.0), 0.03, "fluids.bend_rounded_Crane"),
        "bend_180": (crane.bend_rounded_Crane(bore, 180.0, bend_diameters=1.5), 0.03, "fluids.bend_rounded_Crane"),
        "mitre_90": (crane.bend_miter(90.0, Di=bore, method="Crane"), 0.03, "fluids.bend_miter"),
        "mitre_45": (crane.bend_miter(45.0, Di=bore, method="Crane"), 0.03, "fluids.bend_miter"),
        "gate_valve": (crane.K_gate_valve_Crane(D1=bore, D2=bore, angle=0.0), 0.03, "fluids.K_gate_valve_Crane"),
        "ball_valve": (crane.K_ball_valve_Crane(D1=bore, D2=bore, angle=0.0), 0.03, "fluids.K_ball_valve_Crane"),
        "globe_valve": (crane.K_globe_valve_Crane(D1=bore, D2=bore), 0.03, "fluids.K_globe_valve_Crane"),
        "butterfly_valve": (crane.K_butterfly_valve_Crane(D=bore, style=0), 0.03, "fluids.K_butterfly_valve_Crane"),
        "check_swing": (crane.K_swing_check_valve_Crane(D=bore, angled=True), 0.03, "fluids.K_swing_check_valve_Crane"),
        "check_swing_clearway": (crane.K_swing_check_valve_Crane(D=bore, angled=False), 0.03, "fluids.K_swing_check_valve_Crane"),
        "check_tilting_disc": (crane.K_tilting_disk_check_valve_Crane(D=bore, angle=5.0), 0.03, "fluids.K_tilting_disk_check_valve_Crane"),
        "check_lift": (crane.K_lift_check_valve_Crane(D1=bore, D2=bore, angled=False), 0.03, "fluids.K_lift_check_valve_Crane"),
        "plug_valve": (crane.K_plug_valve_Crane(D1=bore, D2=bore, angle=0.0), 0.03, "fluids.K_plug_valve_Crane"),
    }
    data = water()
    data["pipes"] = {name: {"from": "t", "to": "o", "length": "1 m", "bore": "100 mm", "roughness": "0 mm", "friction_factor": 1e-3, "fittings": {name: 2}} for name in known}
    got = hydro.call("flow", data)
    for name, (k, tolerance, source) in known.items():
        pipe = got["passages"][name]
        found = (pipe["pressure_loss_pa"] / (DENSITY * pipe["velocity_m_s"] ** 2 / 2) - 1e-3 / bore) / 2
        table.near(f"fitting {name} on 100 mm", source, found, k, relative=tolerance)
    table.note(f"fittings: f_T of `fluids` on 100 mm is {ft:.6f}")


def tees(table):
    """Crane's tees along a header, their K found back from flows and pressures; valves of large K set the flows.

    1e-6: the formulas are the same, heads of 1900 bar leave 1e-8 of them to rounding. Ratios of flow within 0.01 of a
    step of a coefficient are left out: hydro bridges the steps.
    """
    run, drop = 0.1, 1.9e8
    area = np.pi / 4 * run**2
    for angle in (30, 45, 60, 90):
        for bores in (0.4, 0.65, 1.0):
            for y in (0.15, 0.33, 0.56, 0.85):
                for combining in (False, True):
                    k = lambda share, bore: 2 * drop / DENSITY / (3.0 * share * (run / bore) ** 2) ** 2
                    branch, rest = {"bore": f"{bores * run} m", "loss_coefficient": k(y, bores * run)}, {"bore": f"{run} m", "loss_coefficient": k(1 - y, run)}
                    whole = {"bore": f"{run} m", "loss_coefficient": 1}
                    data = water()
                    high = {"elevation": "0 m", "pressure": f"{drop / 1e5} bar(g)"}
                    data["outfalls"] = {"high": high, "o": {"elevation": "0 m"}}
                    data["headers"] = {"h": {"elevation": "0 m", "length": "0.2 m", "bore": f"{run} m", "friction_factor": 1e-9, "tees": "crane", "tee_angle": f"{angle} deg"}}
                    near, far = {"to_at": "0 m", "from": "high", "to": "h"}, {"from_at": "0.2 m", "from": "h", "to": "o"}
                    if combining:
                        data["valves"] = {"b": {"from": "high", "to": "h", "to_at": "0.1 m", **branch}, "r": {**near, **rest}, "w": {**far, **whole}}
                    else:
                        data["valves"] = {"b": {"from": "h", "to": "o", "from_at": "0.1 m", **branch}, "r": {**far, **rest}, "w": {**near, **whole}}
                    at = hydro.call("flow", data)["headers"]["h"]["takeoffs"]
                    flow = {name: abs(at[name]["flow_m3_s"]) for name in "brw"}
                    head = DENSITY / 2 * (flow["w"] / area) ** 2
                    sign, word = (1, "converging") if combining else (-1, "diverging")
                    for leg, name in (("branch", "b"), ("run", "r")):
                        wanted = getattr(crane, f"K_{leg}_{word}_Crane")(run, bores * run, flow["r"], flow["b"], float(angle))
                        found = sign * (at[name]["pressure_pa"] - at["w"]["pressure_pa"]) / head
                        table.near(f"tee, {leg}, {word}, {angle} deg, y {y}, bores {bores}", "fluids, Crane TP-410", found - wanted, 0.0, absolute=1e-6)


def supply(kind, model, pressure, behind, valve):
    """A bank into a large gas header; the water side is there because a supply has one."""
    data = water()
    data.update({"gas": kind, "gas_model": model, "pipes": {"p": {"from": "t", "to": "o", "length": "1 m", "bore": "10 mm", "roughness": "0 mm"}},
                 "gas_banks": {"b": {"bottles": 10, "bottle_volume": "500 L", "pressure": f"{pressure} bar(a)", "temperature": "20 degC"}},
                 "gas_headers": {"h": {"volume": "1000 m3", "pressure": f"{behind} bar(a)", "temperature": "20 degC"}},
                 "gas_valves": {"v": {"from": "b", "to": "h", "installed": 3, "open": 2, **valve}}, "duty": {"end": "0.01 s"}})
    return data


def first_flow(data):
    return hydro.call("run", data, "--rows", "2")["series"]["gas_valves"]["v"]["flow_kg_s"][0]


def gas_valves(table):
    t, celsius20 = 293.15, {"bore": "20 mm", "discharge_coefficient": 0.84}
    area = 2 * 0.84 * np.pi / 4 * 0.02**2
    for kind in ("nitrogen", "air"):
        ideal = gas.of(kind, False)
        for pressure, behind in ((200, 1), (100, 70), (10, 9.5)):
            p = pressure * 1e5
            g, ratio = 1.4, max(behind / pressure, (2 / 2.4) ** 3.5)
            # Saint-Venant and Wantzel; the first row is the state at rest, so only rounding is between
            flux = p * np.sqrt(2 * g / (g - 1) / (ideal.R * t) * (ratio ** (2 / g) - ratio ** ((g + 1) / g)))
            table.near(f"throat, ideal {kind}, {pressure} to {behind} bar", "Saint-Venant, Wantzel", first_flow(supply(kind, "ideal", pressure, behind, celsius20)), area * flux, relative=1e-9)
        real = gas.of(kind, True)
        for pressure in (10, 100, 200, 300):
            # GERG-2008 claims 0.1 % in density up to 300 bar against its data, CoolProp has the reference equation
            flux = gas.greatest_flux(real, t, real.density(pressure * 1e5, t))
            table.near(f"choked throat, real {kind}, {pressure} bar", "CoolProp, greatest isentropic flux", first_flow(supply(kind, "real", pressure, 1, celsius20)), area * flux, relative=1e-3)
        flux = real.isentropic_flux(t, real.density(100e5, t), 80e5)
        table.near(f"throat, real {kind}, 100 to 80 bar", "CoolProp, isentropic expansion", first_flow(supply(kind, "real", 100, 80, celsius20)), area * flux, relative=1e-3)
    for behind in (5, 15, 19):
        w = first_flow(supply("nitrogen", "ideal", 20, behind, {"kv": "18 m3/h", "xt": 0.7})) / 2
        normal = 101325 / (gas.of("nitrogen", False).R * 273.15)
        kv = size_control_valve_g(T=t, MW=28.0134, mu=1.8e-5, gamma=1.4, Z=1.0, P1=20e5, P2=behind * 1e5, Q=w / normal, xT=0.7)
        # the standard prints its constants with three digits (N9 = 24.6, N6 = 31.6)
        table.near(f"Kv found back from the flow, 20 to {behind} bar", "fluids.control_valve (IEC 60534-2-1)", kv, 18.0, relative=2e-3)
    for behind in (2, 5, 6.5):
        w = first_flow(supply("air", "ideal", 7, behind, {"sonic_conductance": "2e-8 m3/(s Pa)", "critical_ratio": 0.3}))
        r = behind / 7
        shape = 1.0 if r <= 0.3 else np.sqrt(1 - ((r - 0.3) / 0.7) ** 2)
        # ISO 6358-1: C p1 rho0 sqrt(T0/T1), rho0 = 1.185 kg/m3 at 293.15 K and 100 kPa (65 % humidity); dry air 1.189
        table.near(f"sonic conductance, 7 to {behind} bar", "ISO 6358-1", w, 2 * 2e-8 * 7e5 * 1.185 * shape, relative=4e-3)


def checks(table):
    for name, check in (("water valves and holes", water_valves), ("fittings", named_fittings), ("tees", tees), ("gas valves", gas_valves)):
        table.section(name, check)
