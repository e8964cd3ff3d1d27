"""Network files of any size for comparisons: a tank feeds a grid of panels, lumped or in cells."""

MOST_BORE = 20.0  # m; what the file format takes


def drops(bore):
    """Pipes from the tank to the collector with the area of one of `bore`, m: as many as the limit on a bore asks for."""
    count = 1
    while bore / count ** 0.5 > MOST_BORE:
        count += 1
    each = f"{{from: supply, to: collector, length: 4 m, bore: {1000 * bore / count ** 0.5:.0f} mm, roughness: 0.05 mm, loss_coefficient: 0.5}}"
    return "\n".join(f"  drop{'' if count == 1 else f'-{k + 1}'}: {each}" for k in range(count))


def document(title, bore, feeds, columns, rows, panel, crossover, end):
    """YAML of a tank, a collector and a grid of panels."""
    lines = "\n".join(f"  feed-{c}-{r}: {{from: collector, to: bed-{c}-{r}, {rest}}}" for c, r, rest in feeds)
    return f"""title: {title}
inertia: off
site: {{ambient_pressure: 101.325 kPa(a), water_temperature: 18 degC}}
tanks:
  supply: {{volume: 400 m3, diameter: 6 m, bottom: 1.2 m, filled: 90 %, pressure: 12 bar(g)}}
headers:
  collector: {{elevation: 0.8 m}}
pipes:
{drops(bore)}
{lines}
grids:
  bed:
    columns: {columns}
    rows: {rows}
    origin: [0 m, 0 m]
    panel:
{panel}
    crossover: {crossover}
duty: {{start: 0 s, end: {end} s}}
"""


def grid(columns, rows):
    """YAML of `columns` x `rows` panels, one in about 40 fed from the collector; unknown pressures: panels + 1."""
    fed = [(c, r) for c in range(1, columns + 1, 5) for r in range(1, rows + 1, 8)]
    feeds = [(c, r, f"length: {3 + (c + r) % 7} m, bore: 300 mm, roughness: 0.05 mm, loss_coefficient: 1") for c, r in fed]
    panel = """      size: [1 m, 1 m]
      elevation: 0.4 m
      holes: {count: 120, diameter: 4 mm, plate: 25 mm, discharge_coefficient: 0.8}
      plume_pressure: 20 kPa(g)"""
    title = f"Grid of {columns} x {rows} panels"
    return document(title, 0.4 * len(fed) ** 0.5, feeds, columns, rows, panel, "{ports: 4, bore: 150 mm, loss_coefficient: 1.5}", 10)


def cells(side, lines, end=10):
    """YAML of `side` x `side` panels of 3 m, each of `lines` x `lines` cells; one in about nine is fed.

    Unknown pressures: those of the cells, of the collector, and of the points where streams pass an edge.
    """
    fed = [(c, r) for c in range(1, side + 1, 3) for r in range(1, side + 1, 3)]
    feeds = [(c, r, "length: 3 m, bore: 500 mm, roughness: 0.05 mm, loss_coefficient: 1") for c, r in fed]
    panel = f"""      size: [3 m, 3 m]
      elevation: 0.4 m
      holes: {{count: 1000, diameter: 4 mm, plate: 25 mm, discharge_coefficient: 0.8}}
      plume_pressure: 20 kPa(g)
      gap: 60 mm
      cells: [{lines}, {lines}]"""
    title = f"{side} x {side} panels of {lines} x {lines} cells"
    return document(title, 0.6 * len(fed) ** 0.5, feeds, side, side, panel, "{ports: 8, bore: 150 mm, loss_coefficient: 1.5}", end)
