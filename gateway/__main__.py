"""`python -m gateway`: the same as `malting-gateway`."""

import sys

from gateway.cli.main import main

sys.exit(main())
