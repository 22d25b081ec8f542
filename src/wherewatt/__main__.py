"""``python -m wherewatt``."""

import sys

from wherewatt.cli import main

sys.exit(main())
