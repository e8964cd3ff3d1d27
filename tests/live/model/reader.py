"""Reads a network file into arrays: nodes, edges, holes, gas vessels, gas valves. SI, absolute pressures.

Written from the description of the file alone, as an independent reading of it.
"""

from dataclasses import dataclass, field

import numpy as np
import yaml
from iapws import IAPWS97
from iapws.iapws97 import _PSat_T

from . import units
from .fittings import loss_of


class Unsupported(Exception):
    """The file uses something this model does not describe."""


@dataclass
class Table:
    """A quantity over time: linear between points, constant outside."""

    time: np.ndarray
    value: np.ndarray

    def at(self, time):
        return np.interp(time, self.time, self.value)


@dataclass
class Edges:
    """Passages as arrays, one entry each. `leg` splits a weir pipe into its rise and fall."""

    name: list = field(default_factory=list)
    kind: list = field(default_factory=list)
    start: list = field(default_factory=list)
    end: list = field(default_factory=list)
    bore: list = field(default_factory=list)
    ports: list = field(default_factory=list)
    length: list = field(default_factory=list)
    roughness: list = field(default_factory=list)
    loss: list = field(default_factory=list)
    friction: list = field(default_factory=list)  # nan: friction law
    one_way: list = field(default_factory=list)
    opens_at: list = field(default_factory=list)  # -inf: open from the start
    closes_at: list = field(default_factory=list)
    stroke: list = field(default_factory=list)

    def add(self, count=1, **given):
        """Appends `count` edges; a scalar in `given` holds for all of them."""
        standard = dict(ports=1, length=0.0, roughness=0.0, loss=0.0, friction=np.nan, one_way=False,
                        opens_at=-np.inf, closes_at=np.inf, stroke=0.0)
        for key in self.__dataclass_fields__:
            value = given[key] if key in given else standard[key]
            getattr(self, key).extend(value if isinstance(value, (list, np.ndarray)) else [value] * count)

    def freeze(self):
        for key in self.__dataclass_fields__:
            if key not in ("name", "kind"):
                setattr(self, key, np.asarray(getattr(self, key)))


@dataclass
class Weir:
    edge: int
    apex: float
    rise: tuple  # length, loss coefficient
    fall: tuple
    vented: bool


@dataclass
class Vessel:
    name: str
    kind: str  # bank | header | ullage
    pressure: float
    temperature: float
    conductance: float  # to ambient, W/K
    volume: float = np.nan
    tank: int = -1
    model: str = "energy"
    exponent: float = np.nan


@dataclass
class GasValve:
    name: str
    start: int
    end: int
    count: float
    law: tuple  # ("throat", area, cd) | ("kv", kv, xt) | ("sonic", C, b)
    limit: float  # nan: plain
    opens_at: float
    closes_at: float
    stroke: float


@dataclass
class Tank:
    name: str
    node: int
    volume: float
    area: float
    water: float
    heel: float
    relief: float  # set pressure, inf when none


@dataclass
class Case:
    title: str
    ambient_pressure: float
    ambient_temperature: float
    gravity: float
    density: float
    viscosity: float
    vapour_pressure: float
    gas: str
    real: bool
    node_name: list
    elevation: np.ndarray
    fixed: dict  # node -> Pa, outfalls
    tanks: list
    panel_name: list
    panel_node: np.ndarray
    panel_area: np.ndarray
    hole_area: np.ndarray  # n Cd A, m2
    plume: list  # (Table, array of panel positions)
    edges: Edges
    weirs: list
    vessels: list
    valves: list
    duty: dict


def opened(opens_at, closes_at, stroke, time):
    """Opened share of a valve at `time`; arrays or scalars."""
    rate = 1.0 / np.where(np.asarray(stroke) > 0, stroke, 1e-300)
    with np.errstate(invalid="ignore", over="ignore"):
        up = np.where(np.isneginf(opens_at), 1.0, np.clip((time - opens_at) * rate, 0.0, 1.0))
        up = np.where((np.asarray(stroke) == 0) & (time >= np.asarray(opens_at)), 1.0, up)
        at_closing = np.where(np.isneginf(opens_at), 1.0, np.clip((np.asarray(closes_at) - opens_at) * rate, 0.0, 1.0))
        down = np.clip(at_closing - (time - np.asarray(closes_at)) * rate, 0.0, 1.0)
        down = np.where((np.asarray(stroke) == 0) & (time >= np.asarray(closes_at)), 0.0, down)
    return np.where(time >= np.asarray(closes_at), down, up)


def read(path):
    """The case in the file at `path`."""
    with open(path, encoding="utf-8") as file:
        return from_dict(yaml.load(file, Loader=getattr(yaml, "CSafeLoader", yaml.SafeLoader)))


def _area(panel):
    if "outline" in panel:
        x, y = np.array([[units.si(v) for v in point] for point in panel["outline"]]).T
        return 0.5 * abs(np.dot(x, np.roll(y, -1)) - np.dot(y, np.roll(x, -1)))
    width, height = (units.si(v) for v in panel["size"])
    return width * height


def _table(given, convert):
    if isinstance(given, dict):
        return Table(np.array([units.si(v) for v in given["time"]]), np.array([convert(v) for v in given["value"]]))
    return Table(np.zeros(1), np.array([convert(given)]))


def _moves(item):
    optional = lambda key, default: units.si(item[key]) if key in item else default
    return dict(opens_at=optional("opens_at", -np.inf), closes_at=optional("closes_at", np.inf), stroke=optional("stroke", 0.0))


def from_dict(data):
    """The case in the parsed YAML `data`."""
    section = lambda key: {str(name): item or {} for name, item in (data.get(key) or {}).items()}
    site = data.get("site") or {}
    ambient = units.pressure(site.get("ambient_pressure", "101.325 kPa(a)"), 0.0)
    level = lambda value: units.pressure(value, ambient)
    water_temperature = units.temperature(site.get("water_temperature", "20 degC"))
    around = units.temperature(site["ambient_temperature"]) if "ambient_temperature" in site else water_temperature
    water = IAPWS97(T=water_temperature, P=ambient / 1e6)
    density = units.si(site["water_density"]) if "water_density" in site else water.rho
    viscosity = units.si(site["water_viscosity"]) if "water_viscosity" in site else water.mu
    vapour = level(site["water_vapour_pressure"]) if "water_vapour_pressure" in site else _PSat_T(water_temperature) * 1e6
    if data.get("inertia") is True or str(data.get("inertia")).lower() == "on":
        raise Unsupported("inertia")

    node_name, elevation, fixed, tanks, vessels, valves, weirs = [], [], {}, [], [], [], []
    panel_name, panel_node, panel_area, hole_area, plume, edges = [], [], [], [], [], Edges()

    def node(name, height):
        node_name.append(name)
        elevation.append(height)
        return len(node_name) - 1

    for name, item in section("gas_banks").items():
        vessels.append(Vessel(name, "bank", level(item["pressure"]), units.temperature(item["temperature"]) if "temperature" in item else around,
                              units.si(item.get("wall_heat_transfer", "0 W/K")), item["bottles"] * units.si(item["bottle_volume"])))
    for name, item in section("gas_headers").items():
        vessels.append(Vessel(name, "header", level(item["pressure"]) if "pressure" in item else ambient,
                              units.temperature(item["temperature"]) if "temperature" in item else around,
                              units.si(item.get("wall_heat_transfer", "0 W/K")), units.si(item["volume"])))
    for name, item in section("tanks").items():
        volume, diameter = units.si(item["volume"]), units.si(item["diameter"])
        held = units.si(item["water"]) if "water" in item else units.si(item["filled"]) * volume
        tanks.append(Tank(name, node(name, units.si(item["bottom"])), volume, np.pi / 4 * diameter**2, held,
                          units.si(item.get("heel", "0 m3")), level(item["relief"]["set"]) if "relief" in item else np.inf))
        ullage = item.get("ullage", "energy")
        vessels.append(Vessel(name, "ullage", level(item["pressure"]), units.temperature(item["gas_temperature"]) if "gas_temperature" in item else around,
                              units.si(item.get("wall_heat_transfer", "0 W/K")), tank=len(tanks) - 1, model=ullage,
                              exponent=units.si(item.get("polytropic_exponent", np.nan))))
    for name, item in section("headers").items():
        node(name, units.si(item["elevation"]))
    for name, item in section("outfalls").items():
        fixed[node(name, units.si(item["elevation"]))] = level(item["pressure"]) if "pressure" in item else ambient

    def panels(names, item, count):
        holes = item["holes"]
        diameter = units.si(holes["diameter"])
        coefficient = holes["discharge_coefficient"]
        if coefficient == "auto" or holes.get("cavitation"):
            raise Unsupported("holes with friction and cavitation")
        if isinstance(item.get("plume_pressure"), dict) and "time" not in item["plume_pressure"]:
            raise Unsupported("plume over position")
        if list(item.get("cells", [1, 1])) != [1, 1]:
            raise Unsupported("cells inside a panel")
        first = len(node_name)
        node_name.extend(names)
        elevation.extend([units.si(item["elevation"])] * count)
        position = np.arange(len(panel_name), len(panel_name) + count)
        panel_name.extend(names)
        panel_node.extend(range(first, first + count))
        panel_area.extend([_area(item)] * count)
        hole_area.extend([holes["count"] * (1.0 - units.si(item.get("plugged", 0.0))) * units.si(coefficient) * np.pi / 4 * diameter**2] * count)
        plume.append((_table(item["plume_pressure"], level) if "plume_pressure" in item else Table(np.zeros(1), np.array([ambient])), position))
        return first

    def port(item):
        return dict(bore=units.si(item["bore"]), ports=item.get("ports", 1), loss=_loss(item))

    def _loss(item):
        if "kv" in item:
            # q = Kv sqrt(dp) at 1000 kg/m3, Kv in m3/h at 1 bar; K on the bore of the item
            kv = units.si(item["kv"]) / np.sqrt(1e5)
            return 2 * (np.pi / 4 * units.si(item["bore"]) ** 2) ** 2 / (1000.0 * kv**2)
        bore = units.si(item["bore"])
        return units.si(item.get("loss_coefficient", 0.0)) + sum(n * loss_of(k, bore) for k, n in (item.get("fittings") or {}).items())

    for name, item in section("panels").items():
        panels([name], item, 1)
    for name, item in section("grids").items():
        columns, rows = item["columns"], item["rows"]
        names = [f"{name}-{c}-{r}" for c in range(1, columns + 1) for r in range(1, rows + 1)]
        first = panels(names, item["panel"], columns * rows)
        index = first + np.arange(columns * rows).reshape(columns, rows)
        right, up = (index[:-1].ravel(), index[1:].ravel()), (index[:, :-1].ravel(), index[:, 1:].ravel())
        for (start, end), suffix in ((right, "right"), (up, "up")):
            edges.add(len(start), name=[f"{node_name[s]}:{suffix}" for s in start], kind="crossover", start=start, end=end, **port(item["crossover"]))

    at = {name: k for k, name in enumerate(node_name)}
    ends = lambda item: dict(start=at[str(item["from"])], end=at[str(item["to"])])
    fixed_friction = lambda item: units.si(item["friction_factor"]) if "friction_factor" in item else np.nan
    for name, item in section("pipes").items():
        edges.add(name=name, kind="pipe", **ends(item), **port(item), length=units.si(item["length"]),
                  roughness=units.si(item.get("roughness", "0 mm")), friction=fixed_friction(item))
    for name, item in section("valves").items():
        edges.add(name=name, kind="valve", **ends(item), **port(item), **_moves(item), one_way=bool(item.get("one_way", False)))
    for name, item in section("weir_pipes").items():
        legs = [(units.si(item[leg]["length"]), _loss({**item[leg], "bore": item["bore"]})) for leg in ("rise", "fall")]
        weirs.append(Weir(len(edges.name), units.si(item["apex"]), *legs, vented=bool(item.get("vent"))))
        edges.add(name=name, kind="weir_pipe", **ends(item), bore=units.si(item["bore"]), length=legs[0][0] + legs[1][0], loss=legs[0][1] + legs[1][1],
                  roughness=units.si(item.get("roughness", "0 mm")), friction=fixed_friction(item))
    for name, item in section("crossovers").items():
        edges.add(name=name, kind="crossover", **ends(item), **port(item))
    edges.freeze()

    holder = {vessel.name: k for k, vessel in enumerate(vessels)}
    for name, item in section("gas_valves").items():
        if "bore" in item:
            law = ("throat", np.pi / 4 * units.si(item["bore"]) ** 2, units.si(item["discharge_coefficient"]))
        elif "kv" in item:
            law = ("kv", units.si(item["kv"]), units.si(item["xt"]))
        else:
            law = ("sonic", units.si(item["sonic_conductance"]), units.si(item["critical_ratio"]))
        valves.append(GasValve(name, holder[str(item["from"])], holder[str(item["to"])], float(item.get("open", item.get("installed", 1))), law,
                               level(item["regulated_to"]) if "regulated_to" in item else np.nan, **_moves(item)))

    duty = {key: units.si(value) for key, value in (data.get("duty") or {}).items() if key in ("start", "ignition", "hold", "end")}
    return Case(data.get("title") or "", ambient, around, units.si(site.get("gravity", "9.80665 m/s2")), density, viscosity, vapour,
                data.get("gas", "nitrogen"), data.get("gas_model", "real") == "real", node_name, np.array(elevation), fixed, tanks, panel_name,
                np.array(panel_node, dtype=int), np.array(panel_area), np.array(hole_area), plume, edges, weirs, vessels, valves, duty)
