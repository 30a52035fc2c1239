"""`python -m gateway`: the same as `malting-gateway`."""

import sys

from gateway.cli import main

sys.exit(main())
