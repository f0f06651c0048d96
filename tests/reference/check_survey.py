"""`survey` on foreign buses that nobody looked at before. The count of record takes the hash of the measured commit for
its seed (`check_survey.py HASH`); the gate takes the same buses every time, so that a change shows and chance does not.

All of their chatter, and the layouts of a third of them, come from the DBC files of cantools' own test suite. The
program under tests/survey draws the buses, counts, and refuses fewer than 90 % right, more than 2 % wrong, or anything
that is claimed where no bank is.
"""

import os
import subprocess
import sys

from check_dbc_suite import suite

BUSES = 30

folder = suite()[0].parent
seed = sys.argv[1] if len(sys.argv) > 1 else "thirty buses of every change"
count = os.environ["CELLWRIGHT_SURVEY_COUNT"]
ran = subprocess.run([count, seed, str(BUSES), "--suite", str(folder)])
sys.exit(ran.returncode)
