"""``python -m covercrop``."""

import sys

from covercrop.cli.main import main

sys.exit(main())
