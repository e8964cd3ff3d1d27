"""Collects the comparisons and prints them."""

import math
import traceback


class Table:
    """Rows `case | source | hydro | reference | difference | tolerance | ok`."""

    def __init__(self):
        self.rows, self.notes = [], []

    def near(self, case, source, value, reference, relative=None, absolute=None):
        """Compares `value` with `reference` within a relative or an absolute tolerance."""
        difference = math.nan if value is None else abs(value - reference)
        tolerance = absolute
        if relative is not None:
            difference, tolerance = difference / abs(reference), relative
        self._row(case, source, value, reference, difference, tolerance, bool(difference <= tolerance))

    def below(self, case, source, difference, tolerance):
        """Records a difference that was already formed over many values; nan fails."""
        self._row(case, source, None, None, float(difference), tolerance, bool(difference <= tolerance))

    def equal(self, case, source, value, reference):
        self._row(case, source, value, reference, None, None, value == reference)

    def note(self, text):
        self.notes.append(text)

    def section(self, name, check):
        """Runs `check(self)`; what it raises is a failed row, and the other sections still run."""
        try:
            check(self)
        except Exception as error:  # the reason is shown, and the run fails
            self._row(name, type(error).__name__, None, None, None, None, False)
            self.note(f"{name}: {error}\n" + "".join(traceback.format_tb(error.__traceback__)[-2:]))

    def _row(self, *row):
        """Keeps a row and prints it at once: a run takes minutes."""
        if not self.rows:
            self._line("case", "source", "hydro", "reference", "difference", "tolerance", "ok")
        self.rows.append(row)
        show = lambda v: "" if v is None else ("yes" if v else "no") if isinstance(v, bool) else f"{v:.10g}" if isinstance(v, (int, float)) else str(v)
        small = lambda v: "" if v is None else f"{v:.1e}"
        case, source, value, reference, difference, tolerance, ok = row
        self._line(case, source, show(value), show(reference), small(difference), small(tolerance), "yes" if ok else "NO")

    @staticmethod
    def _line(*cells):
        print(" | ".join(cell.ljust(width) for cell, width in zip(cells, (72, 36, 15, 15, 10, 9, 3))).rstrip(), flush=True)

    def close(self):
        """Prints the notes and the count; returns how many failed."""
        for note in self.notes:
            print(note)
        failed = sum(not row[-1] for row in self.rows)
        print(f"{len(self.rows) - failed} passed, {failed} failed")
        return failed
