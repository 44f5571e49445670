"""``python -m metersim``."""

import sys

from metersim.cli import main

sys.exit(main())
