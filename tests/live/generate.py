"""Network files of any size for comparisons: a tank feeds one side of a grid of panels."""


def grid(columns, rows):
    """YAML of `columns` x `rows` panels, one in about 40 fed from the collector; unknown pressures: panels + 1."""
    fed = [(c, r) for c in range(1, columns + 1, 5) for r in range(1, rows + 1, 8)]
    feeds = "\n".join(f"  feed-{c}-{r}: {{from: collector, to: bed-{c}-{r}, length: {3 + (c + r) % 7} m, bore: 300 mm, roughness: 0.05 mm, loss_coefficient: 1}}" for c, r in fed)
    size = 0.4 * len(fed) ** 0.5
    return f"""title: Grid of {columns} x {rows} panels
site: {{ambient_pressure: 101.325 kPa(a), water_temperature: 18 degC}}
tanks:
  supply: {{volume: 400 m3, diameter: 6 m, bottom: 1.2 m, filled: 90 %, pressure: 12 bar(g)}}
headers:
  collector: {{elevation: 0.8 m}}
pipes:
  drop: {{from: supply, to: collector, length: 4 m, bore: {1000 * size:.0f} mm, roughness: 0.05 mm, loss_coefficient: 0.5}}
{feeds}
grids:
  bed:
    columns: {columns}
    rows: {rows}
    origin: [0 m, 0 m]
    panel:
      size: [1 m, 1 m]
      elevation: 0.4 m
      holes: {{count: 120, diameter: 4 mm, plate: 25 mm, discharge_coefficient: 0.8}}
      plume_pressure: 20 kPa(g)
    crossover: {{ports: 4, bore: 150 mm, loss_coefficient: 1.5}}
duty: {{start: 0 s, end: 10 s}}
"""
