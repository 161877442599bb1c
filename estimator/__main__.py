"""`python -m estimator`: the same as the command `estimator`."""

import sys

from estimator.cli import main

if __name__ == "__main__":
    sys.exit(main())
