"""Reads a number with a unit into SI. Pressure levels become absolute, temperatures kelvin."""

import re

_FACTOR = {
    "m": 1.0, "mm": 1e-3, "cm": 1e-2, "km": 1e3, "um": 1e-6, "µm": 1e-6, "in": 0.0254, "ft": 0.3048,
    "L": 1e-3, "l": 1e-3, "mL": 1e-6, "gal": 3.785411784e-3,
    "s": 1.0, "ms": 1e-3, "min": 60.0, "h": 3600.0, "hr": 3600.0,
    "kg": 1.0, "g": 1e-3, "t": 1e3, "lb": 0.45359237, "mol": 1.0, "N": 1.0,
    "Pa": 1.0, "hPa": 1e2, "mPa": 1e-3, "kPa": 1e3, "MPa": 1e6, "bar": 1e5, "mbar": 1e2, "psi": 6894.757293168361, "atm": 101325.0,
    "J": 1.0, "kJ": 1e3, "MJ": 1e6, "W": 1.0, "kW": 1e3, "MW": 1e6, "K": 1.0, "cP": 1e-3, "%": 1e-2,
    "gpm": 3.785411784e-3 / 60.0, "cfs": 0.3048**3,
}
_NUMBER = re.compile(r"^\s*([-+]?(?:\d[\d_]*\.?\d*|\.\d+)(?:[eE][-+]?\d+)?)\s*(.*?)\s*$")
_TOKEN = re.compile(r"\s*(?:([A-Za-zµ%]+)\^?(-?\d+)?|([/()*·])|(\d+))")
_TEMPERATURE = {"degC": (1.0, 273.15), "°C": (1.0, 273.15), "degF": (5.0 / 9.0, 459.67 * 5.0 / 9.0), "°F": (5.0 / 9.0, 459.67 * 5.0 / 9.0), "K": (1.0, 0.0)}
_LEVEL = re.compile(r"^([A-Za-z]+?)\s*\(?([ga])\)?$")


def split(value):
    """The number and the unit's text of `value`; a bare number has the unit ''."""
    if isinstance(value, (int, float)) and not isinstance(value, bool):
        return float(value), ""
    found = _NUMBER.match(str(value))
    if not found:
        raise ValueError(f"no number with a unit: {value!r}")
    return float(found.group(1).replace("_", "")), found.group(2)


def factor(unit):
    """SI value of one `unit`, a product of powers such as `L/s/m2`, `mPa s` or `m3/(s Pa)`."""
    stack, result, sign, at = [], 1.0, 1, 0
    while at < len(unit):
        found = _TOKEN.match(unit, at)
        if not found:
            raise ValueError(f"unit not understood: {unit!r}")
        at = found.end()
        symbol, power, mark, _ = found.groups()
        if symbol:
            result *= _FACTOR[symbol] ** ((stack[-1] if stack else 1) * sign * int(power or 1))
            sign = 1
        elif mark == "/":
            sign = -1
        elif mark == "(":
            stack.append((stack[-1] if stack else 1) * sign)
            sign = 1
        elif mark == ")":
            stack.pop()
    return result


def si(value):
    """SI value of a quantity that is neither a temperature nor a pressure level."""
    number, unit = split(value)
    return number * factor(unit)


def temperature(value):
    """Kelvin."""
    number, unit = split(value)
    slope, offset = _TEMPERATURE[unit]
    return number * slope + offset


def pressure(value, ambient):
    """Pa absolute of a pressure level marked (g) or (a)."""
    number, unit = split(value)
    found = _LEVEL.match(unit)
    if not found or found.group(1) not in _FACTOR:
        raise ValueError(f"a pressure level needs (g) or (a): {value!r}")
    absolute = number * _FACTOR[found.group(1)]
    return absolute + ambient if found.group(2) == "g" else absolute
