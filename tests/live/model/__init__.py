"""An independent model of what a network file describes, on numpy, scipy and CoolProp.

`reader` reads the file into arrays, `steady` solves the flows, `gas` knows the gas and its valves, `blowdown`
integrates the emptying of the tanks.
"""

from .blowdown import run
from .reader import Unsupported, from_dict, read
from .steady import Steady, flow

__all__ = ["Steady", "Unsupported", "flow", "from_dict", "read", "run"]
