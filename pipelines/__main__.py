"""python -m pipelines COMMAND …"""

from __future__ import annotations

import sys

from pipelines.cli.commands import main

if __name__ == "__main__":
    sys.exit(main())
