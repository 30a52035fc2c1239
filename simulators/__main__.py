"""python -m simulators."""

import sys

from simulators.run import main

if __name__ == "__main__":
    sys.exit(main())
