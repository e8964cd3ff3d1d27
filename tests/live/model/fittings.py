"""Loss coefficients by name and the coefficient of a hole."""

import numpy as np
from fluids import fittings


def _crane(per_friction_factor):
    return lambda bore: per_friction_factor * fittings.ft_Crane(bore)


# Crane TP-410, through the `fluids` library where it has them.
LOSS = {
    "entrance_sharp": lambda bore: 0.5,
    "exit": lambda bore: 1.0,
    "bend_90_long_radius": lambda bore: fittings.bend_rounded_Crane(bore, 90.0, 1.5 * bore),
}


def loss_of(name, bore):
    """K of one fitting `name` on `bore` (m)."""
    return LOSS[name](bore)


def hole_coefficient(slenderness):
    """Discharge coefficient of a square-edged hole in a large plate, free discharge; `slenderness` is plate / diameter.

    Cd = 1/sqrt(zeta) with the loss coefficient of a thick-edged orifice (Rennels and Hudson, Pipe Flow, 2012).
    """
    t = min(slenderness, 1.4) / 1.4
    thick = (1.0 - 0.5 * t**2.5 - 0.5 * t**3) ** 4.5
    zeta = 0.183 + thick * 1.622**2 + (1.0 - thick) * (0.387 + 1.0)
    return 1.0 / np.sqrt(zeta)
