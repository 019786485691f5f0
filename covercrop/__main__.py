"""``python -m covercrop``."""

import sys

from covercrop.cli import main

sys.exit(main())
