"""Reads the files named on standard input, one a line, and says of each what came of it: run as a child process.
With a workbook named on the command line the files are read to be imported into that.

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
    from pricing.shop_tables.book_so_far import read_book_so_far
    from pricing.shop_tables.incoming import read_incoming
    from pricing.shop_tables.placing import NotPlaced

    resource.setrlimit(resource.RLIMIT_AS, (MOST_BYTES, MOST_BYTES))
    book = read_book_so_far(sys.argv[1]) if len(sys.argv) > 1 else None
    for line in sys.stdin:
        name, words, started = line.rstrip("\n"), "", time.perf_counter()
        try:
            read_incoming(name, book) if book else read_shop(name)
            outcome = "read"
        except (ShopFileError, NotPlaced) as error:
            outcome, words = "refused", str(error)
        except BaseException as error:  # what the test must see
            outcome, words = type(error).__name__, str(error)
        print(json.dumps([name, outcome, words, time.perf_counter() - started, taken_mb()]), flush=True)
