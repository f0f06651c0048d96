"""Checks that print what was compared; the script fails when one of them did not hold, or when none was made."""

import os
import subprocess
import sys
import tempfile
from pathlib import Path

ROOT = Path(__file__).resolve().parent.parent.parent
PROGRAM = os.environ.get("CELLWRIGHT_BIN", str(ROOT / "target/release/cellwright"))
PRINTER = os.environ.get("CELLWRIGHT_REFERENCE", str(ROOT / "target/release/examples/reference"))


class Expect:
    """Counts checks; `close` ends the script."""

    def __init__(self):
        self.made = 0
        self.failed = 0

    def that(self, what, holds, found=""):
        """A condition, with what was found when it does not hold."""
        self.made += 1
        if not holds:
            self.failed += 1
            print(f"  FAILED {what}: {found}")

    def same(self, what, found, expected):
        """Equality."""
        self.that(what, found == expected, f"found {found!r}, expected {expected!r}")

    def near(self, what, found, expected, tolerance):
        """Equality within a tolerance; a missing value is never near."""
        holds = found is not None and abs(found - expected) <= tolerance
        self.that(what, holds, f"found {found}, expected {expected} ± {tolerance}")

    def close(self):
        """Says how it went and ends the script."""
        print(f"  {self.made - self.failed} of {self.made} checks hold")
        sys.exit(1 if self.failed or not self.made else 0)


def run(*arguments, program=None, given=None, exits=(0,)):
    """Standard output of our program; any other exit code than those allowed ends the script."""
    command = [program or PROGRAM, *map(str, arguments)]
    done = subprocess.run(command, input=given, capture_output=True, text=True, check=False)
    if done.returncode not in exits:
        sys.exit(f"{' '.join(command)} ended with {done.returncode}: {done.stderr.strip()[:2000]}")
    return done.stdout


def scratch(name):
    """A path in a folder that goes away with the script."""
    return Path(_FOLDER.name) / name


_FOLDER = tempfile.TemporaryDirectory(prefix="cellwright-reference-")
