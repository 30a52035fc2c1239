"""python -m simulators: `run` lets a maltings live, `picture` draws what it did."""

import sys

from simulators import picture, run

if __name__ == "__main__":
    sys.exit(picture.main(sys.argv[2:]) if sys.argv[1:2] == ["picture"] else run.main())
