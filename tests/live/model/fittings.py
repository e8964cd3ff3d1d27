"""Loss coefficients by name and the coefficient of a hole."""

import numpy as np

# Crane TP-410 (2009), A-26 to A-30: multiples of f_T, the friction factor of complete turbulence in commercial steel.
# `check_valves` compares what hydro makes of the names with the `fluids` library.
MULTIPLE = {
    "bend_90_long_radius": 14.0, "bend_90_short_radius": 20.0, "bend_90_radius_3": 12.0, "bend_45": 16.0,
    "elbow_90_standard": 30.0, "mitre_90": 60.0, "mitre_60": 25.0, "mitre_45": 15.0, "mitre_30": 8.0,
    "tee_through": 20.0, "tee_branch": 60.0, "gate_valve": 8.0, "ball_valve": 3.0, "plug_valve": 18.0,
    "globe_valve": 340.0, "check_swing": 100.0, "check_swing_clearway": 50.0, "check_lift": 600.0,
    "bend_180": 0.25 * np.pi * 1.5 + 1.5 * 14.0,
}
# by nominal size: up to 8 in, 10 to 14 in, 16 in and above
BY_SIZE = {"butterfly_valve": (45.0, 35.0, 25.0), "check_tilting_disc": (40.0, 30.0, 20.0)}
FIXED = {"entrance_sharp": 0.5, "entrance_rounded": 0.04, "entrance_projecting": 0.78, "exit": 1.0}


def turbulent_friction(bore):
    """f_T of a bore in m: Crane's equation 2-8 with a roughness of 0.0018 in."""
    return 0.25 / np.log10(0.0018 * 0.0254 / (3.7 * bore)) ** 2


def loss_of(name, bore):
    """K of one fitting `name` on `bore` (m)."""
    if name in FIXED:
        return FIXED[name]
    multiple = BY_SIZE[name][(bore > 0.23) + (bore > 0.37)] if name in BY_SIZE else MULTIPLE[name]
    return multiple * turbulent_friction(bore)


def hole_coefficient(slenderness):
    """Discharge coefficient of a square-edged hole in a large plate, free discharge; `slenderness` is plate / diameter.

    Cd = 1/sqrt(zeta) with the loss coefficient of a thick-edged orifice (Rennels and Hudson, Pipe Flow, 2012).
    """
    t = min(slenderness, 1.4) / 1.4
    thick = (1.0 - 0.5 * t**2.5 - 0.5 * t**3) ** 4.5
    zeta = 0.183 + thick * 1.622**2 + (1.0 - thick) * (0.387 + 1.0)
    return 1.0 / np.sqrt(zeta)
