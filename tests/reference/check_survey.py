"""`survey` on foreign buses that nobody looked at before: their seed is the hash of the commit that is measured.

All of their chatter, and the layouts of a third of them, come from the DBC files of cantools' own test suite. The
program under tests/survey draws the buses, counts, and refuses fewer than 90 % right, more than 2 % wrong, or anything
that is claimed where no bank is.
"""

import os
import subprocess
import sys

from check_dbc_suite import suite
from expect import ROOT

BUSES = 30

folder = suite()[0].parent
commit = subprocess.run(["git", "rev-parse", "HEAD"], cwd=ROOT, capture_output=True, text=True, check=True)
count = os.environ["CELLWRIGHT_SURVEY_COUNT"]
ran = subprocess.run([count, commit.stdout.strip(), str(BUSES), "--suite", str(folder)])
sys.exit(ran.returncode)
