"""Reads the files named on standard input, one a line, and says of each what came of it: run as a child process.

A line of JSON a file: name, outcome ("read", "refused", or the name of an exception), words, seconds, and the most
memory the process has taken so far, in MB (0 where the system does not tell).
"""

import json
import resource
import sys
import time
from pathlib import Path

MOST_BYTES = 3 << 30  # of addresses: numpy and pandas reserve a good deal; what was taken is reported

def taken_mb():
    """Largest resident size of this process (Linux)."""
    status = Path("/proc/self/status")
    lines = status.read_text().splitlines() if status.exists() else ()
    return next((int(line.split()[1]) / 1024 for line in lines if line.startswith("VmHWM")), 0)


if __name__ == "__main__":
    from pricing.shop_tables import ShopFileError, read_shop

    resource.setrlimit(resource.RLIMIT_AS, (MOST_BYTES, MOST_BYTES))
    for line in sys.stdin:
        name, words, started = line.rstrip("\n"), "", time.perf_counter()
        try:
            read_shop(name)
            outcome = "read"
        except ShopFileError as error:
            outcome, words = "refused", str(error)
        except BaseException as error:  # what the test must see
            outcome, words = type(error).__name__, str(error)
        print(json.dumps([name, outcome, words, time.perf_counter() - started, taken_mb()]), flush=True)
