"""`python -m pricing ...`: make a workbook, import, check it, price the stock, quote one piece, hand out changed asks.

Exit status: 0 done; 1 problems found (`check` found some, or nothing could be priced); 2 bad call (wrong words, a file
that is missing or is no shop workbook, a file that would be overwritten).
"""

from __future__ import annotations

import sys
from collections.abc import Sequence
from typing import Any

from pricing.command_line.arguments import command_parser
from pricing.command_line.steps import BAD_CALL, DONE, PROBLEMS, BadCall, NothingToPrice, demo_data_folder

__all__ = ["BAD_CALL", "DONE", "PROBLEMS", "command_parser", "demo_data_folder", "main"]


def main(arguments: Sequence[str] | None = None) -> int:
    """Run one command; its exit status."""
    for stream in (sys.stdout, sys.stderr):
        if hasattr(stream, "reconfigure"):  # a console without Cyrillic shows "?" instead of stopping
            stream.reconfigure(errors="replace")
    words = sys.argv[1:] if arguments is None else arguments
    if any("\0" in word for word in words):
        print("No name of a file and no word holds a zero character.", file=sys.stderr)
        return BAD_CALL
    call = command_parser().parse_args(words)
    for name, value in vars(call).items():
        setattr(call, name, _readable(value))
    from pricing.shop_tables import ShopFileError

    try:
        return call.run(call)
    except NothingToPrice as error:
        print(error, file=sys.stderr)
        return PROBLEMS
    except (BadCall, ShopFileError) as error:
        print(error, file=sys.stderr)
    except FileExistsError as error:
        print(
            f"{error.filename or error} is there already. Choose another name, or add --overwrite.",
            file=sys.stderr,
        )
    except OSError as error:
        print(f"{error.filename or 'The file'}: {error.strerror or error}.", file=sys.stderr)
    except KeyboardInterrupt:
        print("Stopped; nothing half-written was left.", file=sys.stderr)
    return BAD_CALL


def _readable(value: Any) -> Any:
    """A word of the call without letters the system could not decode, as no table holds such; file names stay."""
    if isinstance(value, list):
        return [_readable(one) for one in value]
    return value.encode("utf-8", "replace").decode() if isinstance(value, str) else value
