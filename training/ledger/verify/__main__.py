"""``python -m training.ledger.verify FILE``."""

import sys

from training.ledger.verify.command import main

sys.exit(main())
