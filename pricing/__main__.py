"""`python -m pricing`."""

import sys

from pricing.command_line import main

if __name__ == "__main__":
    sys.exit(main())
