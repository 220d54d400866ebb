"""Installing the add-in for the user's own LibreOffice, and taking it away again."""

from __future__ import annotations

import os
import shutil
import subprocess
import sys
import tempfile
from pathlib import Path

from pricing.spreadsheet.calc.extension import IDENTIFIER, write_extension
from pricing.spreadsheet.cell_functions.model_store import cache_folder, private_folder

_USUAL_PLACES = (
    "/usr/lib/libreoffice/program", "/opt/libreoffice/program", "/Applications/LibreOffice.app/Contents/MacOS",
    r"C:\Program Files\LibreOffice\program", r"C:\Program Files (x86)\LibreOffice\program",
)
NOT_FOUND = (
    "LibreOffice is not installed here (its program 'unopkg' was not found). Install LibreOffice Calc 7.4 or newer "
    "with its Python part (on Debian: apt install libreoffice-calc python3-uno), or put the folder of its programs on "
    "the PATH, then run this again."
)


class NotConnected(Exception):
    """The add-in could not be installed or removed; the message says why and what would help."""


def connect_calc() -> str:
    """Build the add-in and install it for this user, over an older one if there is one; what was done, in words."""
    unopkg = _unopkg()
    private_folder(cache_folder())
    with tempfile.TemporaryDirectory() as folder:
        extension = write_extension(Path(folder) / "tube-shop-prices.oxt")
        _run(unopkg, "add", "--force", "--suppress-license", str(extension))
    return (f"The cell functions are installed in LibreOffice for this user. They are computed by {sys.executable}; "
            "run this again when that Python has moved.\nRemove them with: python -m pricing connect calc --remove\n"
            f"Fitted models are kept in {cache_folder()}.")


def disconnect_calc() -> str:
    """Take the add-in and the kept models away; what was done, in words."""
    unopkg = _unopkg()
    listed = _run(unopkg, "list")
    if IDENTIFIER in listed:
        _run(unopkg, "remove", IDENTIFIER)
    shutil.rmtree(cache_folder(), ignore_errors=True)
    if IDENTIFIER not in listed:
        return "The cell functions were not installed in LibreOffice for this user; only kept models were removed."
    return "The cell functions and the kept models were removed. Formulas in your files stay as they are."


def _unopkg() -> str:
    found = shutil.which("unopkg") or next(
        (path for folder in _USUAL_PLACES if (path := shutil.which("unopkg", path=folder))), None)
    if found is None:
        raise NotConnected(NOT_FOUND)
    return found


def _run(unopkg: str, *arguments: str) -> str:
    """Output of unopkg. It refuses the superuser, who is therefore mapped to a plain user for the call."""
    command = [unopkg, *arguments]
    if hasattr(os, "geteuid") and os.geteuid() == 0 and shutil.which("unshare"):
        command = ["unshare", "--user", "--map-user=1000", "--map-group=1000", *command]
    try:
        done = subprocess.run(command, capture_output=True, text=True, errors="replace", timeout=300)
    except (OSError, subprocess.TimeoutExpired) as error:
        raise NotConnected(f"{unopkg} could not be run: {error}. Close LibreOffice and run this again.") from error
    said = "\n".join(filter(None, (done.stdout.strip(), done.stderr.strip())))
    if done.returncode:
        raise NotConnected(f"LibreOffice did not take the add-in: {said[-600:]}\nClose every LibreOffice window (the "
                           "quick starter too) and run this again.")
    return said
