"""Friction of pipes: `f Re^2` over `Re`, the pressure loss in its own scale. Vectorised.

Below Re 2000 `f = 64/Re`; above 4000 Colebrook-White; between, the cubic in Re that meets both with value and slope.
"""

import numpy as np

LAMINAR, TURBULENT = 2000.0, 4000.0


def colebrook(reynolds, relative_roughness):
    """Darcy friction factor and its slope df/dRe, iterated until it no longer moves."""
    a, c, k = relative_roughness / 3.7, 2.51 / reynolds, 2.0 / np.log(10.0)
    x = -k * np.log(a + 5.74 / reynolds**0.9)
    for _ in range(30):
        s = a + c * x
        step = (x + k * np.log(s)) / (1.0 + k * c / s)
        x -= step
        if np.max(np.abs(step), initial=0.0) < 1e-14:
            break
    s = a + c * x
    slope = k * c * x / reynolds / s / (1.0 + k * c / s)  # dx/dRe of x + k ln(a + c x) = 0
    return x**-2, -2.0 * x**-3 * slope


def loss(reynolds, relative_roughness):
    """`L = f Re^2` and dL/dRe for `reynolds >= 0`."""
    f, df = colebrook(np.maximum(reynolds, TURBULENT), relative_roughness)
    re = np.maximum(reynolds, TURBULENT)
    value, slope = f * re**2, 2.0 * f * re + df * re**2
    low = reynolds < TURBULENT
    if np.any(low):
        width = TURBULENT - LAMINAR
        end, end_slope = value[low], slope[low]
        t = (reynolds[low] - LAMINAR) / width
        start, start_slope = 64.0 * LAMINAR, 64.0
        bridge = ((2 * t**3 - 3 * t**2 + 1) * start + (t**3 - 2 * t**2 + t) * width * start_slope
                  + (3 * t**2 - 2 * t**3) * end + (t**3 - t**2) * width * end_slope)
        bridge_slope = ((6 * t**2 - 6 * t) * (start - end) / width + (3 * t**2 - 4 * t + 1) * start_slope + (3 * t**2 - 2 * t) * end_slope)
        value[low] = np.where(t < 0, 64.0 * reynolds[low], bridge)
        slope[low] = np.where(t < 0, 64.0, bridge_slope)
    return value, slope
