"""Fitted models behind their handles: in memory, on the user's own disk by content hash, or being fitted.

Same sales and settings, same handle, on any machine. Files hold no pickle, are written whole or not at all, can be read
by their user only, and the least used ones go once there are more than MOST_FILES.
"""

from __future__ import annotations

import contextlib
import hashlib
import json
import os
import re
import sys
import time
import zipfile
from collections import OrderedDict
from collections.abc import Callable
from concurrent.futures import Future, ThreadPoolExecutor, wait
from dataclasses import dataclass, field, fields
from functools import cached_property
from pathlib import Path
from typing import Any

import pandas as pd

from pricing.price_model import fit_price_model, load_price_model
from pricing.price_model.design import TERMS
from pricing.price_model.fixed_effects import FIXED, FORMULA
from pricing.price_model.model import PriceModel
from pricing.price_model.quick_price import QuickPrice
from pricing.price_model.storage import VERSION
from pricing.register import load_register
from pricing.shop_tables import Settings
from pricing.shop_tables.columns import SALES
from pricing.shop_tables.vocabularies import read_currency
from pricing.spreadsheet.cell_functions.cell_values import Cell, CellProblem
from pricing.spreadsheet.cell_functions.ranges import table_of
from pricing.spreadsheet.cell_functions.single_piece import PieceReader

MOST_FILES, MOST_IN_MEMORY, MOST_WAITING, MOST_RESULTS, MOST_PRICES = 40, 6, 4, 12, 100_000
STALE_S = 3_600  # a half-written file this old was left by a crash
PATIENCE_S = 3.0
PENDING = "fitting"
_HANDLE = re.compile(r"\bkey ([0-9a-f]{16})$")
_SALES = "cells.json"


class Pending(str):
    """The text a cell shows while its model is fitted; `key` names the model."""

    key: str = ""


@dataclass
class Known:
    """A fitted model with the cells it was fitted to, and what was worked out from it."""

    key: str
    model: PriceModel
    cells: list[list[Cell]]
    results: OrderedDict[Any, Any] = field(default_factory=OrderedDict)
    prices: dict[tuple[Any, ...], float] = field(default_factory=dict)

    @property
    def handle(self) -> str:
        """Text of the model's cell."""
        model = self.model
        count = f"{model.n_sales:,}" if model.n_sales == model.n_rows_given else (
            f"{model.n_sales:,} of {model.n_rows_given:,}")
        return f"{count} sales to {model.as_of:%Y-%m-%d}, key {self.key}"

    @cached_property
    def quick(self) -> QuickPrice:
        """Fair prices of single pieces by look-up."""
        return QuickPrice.of(self.model)

    @cached_property
    def pieces(self) -> PieceReader:
        """Reader of the arguments that describe one piece."""
        return PieceReader(self.model)

    def keep_price(self, piece: tuple[Any, ...], price: float) -> None:
        """Keep the price of a piece as its cells describe it."""
        if len(self.prices) >= MOST_PRICES:
            self.prices.clear()
        self.prices[piece] = price

    def remembered(self, what: Any, work: Callable[[], Any]) -> Any:
        """The result of `work`, kept under `what`, the latest MOST_RESULTS of them."""
        if what in self.results:
            self.results.move_to_end(what)
        else:
            self.results[what] = work()
            if len(self.results) > MOST_RESULTS:
                self.results.popitem(last=False)
        return self.results[what]


class ModelStore:
    """Models by key. `patience_s`: how long a call waits for a fit before it says that it is being fitted."""

    def __init__(self, folder: Path | None = None, patience_s: float = PATIENCE_S,
                 fit: Callable[..., PriceModel] = fit_price_model) -> None:
        self.folder = cache_folder() if folder is None else Path(folder)
        self.patience_s, self.fit = patience_s, fit
        self.memory: OrderedDict[str, Known] = OrderedDict()
        self.fits: OrderedDict[str, Future] = OrderedDict()
        self.pool = ThreadPoolExecutor(1, thread_name_prefix="fit")

    def handle(self, cells: list[list[Cell]], settings: Settings | None) -> str:
        """Handle of the model of these sales: known, fitted now, or a Pending text. CellProblem when it cannot be
        fitted."""
        sales = table_of(cells, SALES, "sales", ("sold_on", "type", "price"),
                         settings.own_headings if settings else None)
        key = key_of(cells, settings)
        known = self.look_up(key)
        if known:
            return known.handle
        if settings is not None and settings.manual_fitting:
            raise CellProblem(f"These {len(sales):,} sales are not fitted yet and Settings ask for manual fitting: set "
                              "'manual fitting' to no, wait for the key, and set it back to yes.")
        if key not in self.fits:
            self._make_room()
            self.fits[key] = self.pool.submit(self._fit, key, cells, sales, settings)
        wait([self.fits[key]], self.patience_s)
        return self.state(key) or self._pending(key, len(sales))

    def state(self, key: str) -> str | None:
        """Handle of a model asked for before, None while it is being fitted. CellProblem when the fit failed or was
        never asked for."""
        known = self.memory.get(key)
        if known:
            return known.handle
        job = self.fits.get(key)
        if job is None or job.cancelled():
            self.fits.pop(key, None)
            raise CellProblem(f"The fit was broken off: {RECALCULATE}.")
        if not job.done():
            return None
        del self.fits[key]
        try:
            known = job.result()
        except ValueError as error:
            raise CellProblem(f"No model can be fitted: {error}.") from error
        except Exception as error:  # a fault of ours must not end the worker
            raise CellProblem(f"The fit failed ({type(error).__name__}: {error}): {RECALCULATE}; if it fails again, "
                              "the fault is in the add-in.") from error
        self._remember(known)
        return known.handle

    def known(self, handle: Cell) -> Known:
        """The model of a handle. CellProblem when the text is none, is still pending, or nobody knows it."""
        if handle is None:
            raise CellProblem("'model' is blank: give the cell that holds the model function.")
        met = _HANDLE.search(handle) if isinstance(handle, str) else None
        if met is None:
            if isinstance(handle, str) and handle.startswith(PENDING):
                raise CellProblem(f"The model is still being fitted: {RECALCULATE}.")
            said = f"'{handle[:100]}'" if isinstance(handle, str) else f"the number {handle:g}"
            raise CellProblem(f"'model' is no model but {said}: give the cell that holds the model function.")
        known = self.look_up(met.group(1))
        if known is None:
            raise CellProblem(f"No model is known under this handle: {RECALCULATE}, the model cell included.")
        return known

    def look_up(self, key: str) -> Known | None:
        """The model of a key from memory or disk, None where nobody knows it."""
        known = self.memory.get(key)
        if known is None:
            known = self._from_disk(key)
            if known:
                self._remember(known)
        return known

    def _fit(self, key: str, cells: list[list[Cell]], sales: pd.DataFrame, settings: Settings | None) -> Known:
        if settings is not None and not settings.currency and "currency" in sales:
            stated = {read_currency(cell) for cell in sales["currency"]} - {""}
            settings = settings.with_currency(stated.pop()) if len(stated) == 1 else settings
        known = Known(key, self.fit(sales, settings, load_register()), cells)
        self._to_disk(known)
        return known

    def _pending(self, key: str, rows: int) -> Pending:
        text = Pending(f"{PENDING} {rows:,} sales: {RECALCULATE}")
        text.key = key
        return text

    def _make_room(self) -> None:
        """Of fits that nobody has begun, only the newest stay: a shop under edit asks for one after the other."""
        waiting = [key for key, job in self.fits.items() if not job.running() and not job.done()]
        for key in waiting[: max(len(waiting) - MOST_WAITING, 0)]:
            self.fits.pop(key).cancel()

    def _remember(self, known: Known) -> None:
        self.memory[known.key] = known
        self.memory.move_to_end(known.key)
        while len(self.memory) > MOST_IN_MEMORY:
            self.memory.popitem(last=False)

    # disk ---------------------------------------------------------------------------------------------------
    def _path(self, key: str) -> Path:
        return self.folder / f"{key}.model"

    def _from_disk(self, key: str) -> Known | None:
        path = self._path(key)
        try:
            with zipfile.ZipFile(path) as file:
                cells = json.loads(file.read(_SALES))
            known = Known(key, load_price_model(path), cells)
            os.utime(path)
        except OSError:
            return None
        except (ValueError, KeyError, zipfile.BadZipFile):  # damaged, or of another version
            with contextlib.suppress(OSError):
                path.unlink()
            return None
        return known

    def _to_disk(self, known: Known) -> None:
        """Writes beside and moves into place; a disk that cannot be written leaves the model in memory only."""
        part = self.folder / f"{known.key}.{os.getpid()}.part"
        try:
            private_folder(self.folder)
            known.model.save(part)
            part.chmod(0o600)
            with zipfile.ZipFile(part, "a", zipfile.ZIP_DEFLATED) as file:
                file.writestr(_SALES, json.dumps(known.cells))
            os.replace(part, self._path(known.key))
            self._prune()
        except OSError as error:
            print(f"{self.folder}: the model was not kept ({error})", file=sys.stderr)
            with contextlib.suppress(OSError):
                part.unlink()

    def _prune(self) -> None:
        by_age = sorted((path.stat().st_mtime, path) for path in self.folder.glob("*.model"))
        for _, path in by_age[: max(len(by_age) - MOST_FILES, 0)]:
            path.unlink(missing_ok=True)
        for path in self.folder.glob("*.part*"):
            if time.time() - path.stat().st_mtime > STALE_S:
                path.unlink(missing_ok=True)


RECALCULATE = "recalculate (Ctrl+Shift+F9 in Calc, Ctrl+Alt+F9 in Excel)"
_EDITION = repr((VERSION, TERMS, FIXED, FORMULA))


def key_of(cells: list[list[Cell]], settings: Settings | None) -> str:
    """Content hash of sales, settings (but not whether fitting is manual) and the model's own make."""
    stated = {one.name: getattr(settings, one.name) for one in fields(Settings)
              if settings is not None and one.name not in ("manual_fitting", "problems", "stated")}
    text = json.dumps([_EDITION, cells, stated], sort_keys=True, separators=(",", ":"))
    return hashlib.blake2b(text.encode(), digest_size=8).hexdigest()


def cache_folder() -> Path:
    """The user's own cache folder for models: TUBE_PRICE_CACHE where that is set, else by the system's custom."""
    if os.environ.get("TUBE_PRICE_CACHE"):
        return Path(os.environ["TUBE_PRICE_CACHE"])
    if sys.platform == "win32":
        base = Path(os.environ.get("LOCALAPPDATA") or Path.home() / "AppData" / "Local")
    elif sys.platform == "darwin":
        base = Path.home() / "Library" / "Caches"
    else:
        base = Path(os.environ.get("XDG_CACHE_HOME") or Path.home() / ".cache")
    return base / "tube-shop-pricing" / "models"


def private_folder(folder: Path) -> Path:
    """The folder, made where it is missing, open to its user only."""
    folder.mkdir(parents=True, exist_ok=True)
    folder.chmod(0o700)
    return folder
