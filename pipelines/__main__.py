"""python -m pipelines COMMAND …"""

from __future__ import annotations

import os
import sys

from pipelines.cli.commands import main

# Commands that work for long: they make way for whoever looks at the dashboard of the same machine meanwhile.
LONG = {"intake", "build", "undo", "calibrate", "check"}

if __name__ == "__main__":
    if LONG.intersection(sys.argv[1:2]) and hasattr(os, "nice"):
        os.nice(10)
    sys.exit(main())
