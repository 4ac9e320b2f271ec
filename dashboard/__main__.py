"""``python -m dashboard`` is the command ``stokehold``."""

import sys

from dashboard.cli import main

sys.exit(main())
