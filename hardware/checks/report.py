"""Counts checks and prints one line for each: what was checked, what was found."""


class Report:
    def __init__(self):
        self.passed = self.failed = 0

    def check(self, ok, claim, found=""):
        """Print a claim and whether it holds; `found` is the figure or the difference that decided it."""
        self.passed, self.failed = self.passed + bool(ok), self.failed + (not ok)
        print(f"{'ok  ' if ok else 'FAIL'}  {claim}" + (f": {found}" if found else ""), flush=True)
        return bool(ok)

    def skip(self, claim, why):
        print(f"skip  {claim}: {why}", flush=True)

    def total(self):
        print(f"{self.passed} passed, {self.failed} failed", flush=True)
        return 0 if self.failed == 0 else 1
