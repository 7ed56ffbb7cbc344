"""The real keeper with a short zeroing and no lingering, for many trips in a row."""

import sys

from protocols import control, keeper

vars(control).update(ZEROING_S=0.3, LINGER_S=0.0)

if __name__ == "__main__":
    sys.exit(keeper.main())
