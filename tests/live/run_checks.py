"""Runs all checks, or those named on the command line (`friction water network ...`), and prints one table."""

import sys

from table import Table

SECTIONS = ("model", "water", "friction", "valves", "gas", "network", "blowdown", "column", "ullage", "spread")


def main():
    table = Table()
    for name in sys.argv[1:] or SECTIONS:
        table.section(name, __import__(f"check_{name}").checks)
    sys.exit(1 if table.close() else 0)


if __name__ == "__main__":
    main()
