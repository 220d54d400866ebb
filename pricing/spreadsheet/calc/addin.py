"""What runs inside LibreOffice: hands every call to the worker and its answer to the cell.

Standard library only, and old Python too (3.8), as LibreOffice brings its own. Two files lie beside it in the
extension: functions.json (methods and the kinds of their arguments) and worker.json (how the worker is started).
"""

import json
import os
import subprocess
import threading
import time

import unohelper
from com.sun.star.lang import XServiceInfo
from com.sun.star.sheet import ResultEvent, XVolatileResult
from tubeshop import XTubePrices

HERE = os.path.dirname(os.path.abspath(__file__))
IMPLEMENTATION, SERVICE = "tubeshop.TubePrices", "tube"
STARTING_S = 30.0  # a new process loads its packages before its first answer
RECALCULATE = "recalculate (Ctrl+Shift+F9)"
# What Calc calls the errors of a cell, by their numbers.
ERRORS = {32767: "#N/A", 519: "#VALUE!", 524: "#REF!", 525: "#NAME?", 532: "#DIV/0!", 503: "#NUM!", 521: "#NULL!"}


class Unanswered(Exception):
    """The worker cannot answer; the text says why and what to do."""


class Worker:
    """The process that computes, started at the first call, watched, and started again after its end."""

    def __init__(self):
        self.process, self.deadline, self.late = None, None, False
        self.lock = threading.Lock()

    def ask(self, method, arguments):
        """The worker's answer; one that ended meanwhile is started again, once. Raises Unanswered."""
        line = (json.dumps([method, arguments], separators=(",", ":")) + "\n").encode("utf-8")
        with self.lock:
            for _ in range(2):
                reply = self._exchange(line)
                if reply.endswith(b"\n"):
                    return json.loads(reply.decode("utf-8"))
                self._stop()
                if self.late:
                    raise Unanswered("No answer within %g s, so the computing was stopped: give fewer rows, or %s."
                                     % (self.limit, RECALCULATE))
        raise Unanswered("The computing process ended before it answered: %s; if it does so again, run 'python -m "
                         "pricing connect calc'. Its last words are in %s." % (RECALCULATE, self.log))

    def _exchange(self, line):
        """The line that answers `line`, cut short when the process ends."""
        process, allowed = self.process, 0.0
        if process is None or process.poll() is not None:
            process, allowed = self._start(), STARTING_S
        self.late, self.deadline = False, time.monotonic() + self.limit + allowed
        try:
            process.stdin.write(line)
            process.stdin.flush()
            return process.stdout.readline()
        except OSError:
            return b""
        finally:
            self.deadline = None

    def _start(self):
        with open(os.path.join(HERE, "worker.json"), encoding="utf-8") as file:
            settings = json.load(file)
        self.limit, self.log = float(os.environ.get("TUBE_PRICE_LIMIT_S") or settings["limit_s"]), settings["log"]
        environment = {name: value for name, value in os.environ.items()
                       if not name.startswith("PYTHON") and name not in ("LD_LIBRARY_PATH", "URE_BOOTSTRAP")}
        environment.update(PYTHONPATH=settings["path"], PYTHONIOENCODING="utf-8", OPENBLAS_NUM_THREADS="1")
        try:
            os.makedirs(os.path.dirname(self.log), mode=0o700, exist_ok=True)
            with open(self.log, "wb") as log:
                self.process = subprocess.Popen(
                    [settings["python"], "-m", settings["module"]], stdin=subprocess.PIPE,
                    stdout=subprocess.PIPE, stderr=log, env=environment, cwd=os.path.dirname(self.log),
                    creationflags=getattr(subprocess, "CREATE_NO_WINDOW", 0))
        except OSError as error:
            raise Unanswered("The computing process cannot be started (%s): run 'python -m pricing connect calc' again."
                             % error) from None
        threading.Thread(target=self._watch, args=(self.process,), daemon=True).start()
        return self.process

    def _watch(self, process):
        """Ends the process when an answer is overdue: reading then comes to its end on every system."""
        while process.poll() is None:
            deadline = self.deadline
            if deadline is not None and time.monotonic() > deadline:
                self.late = True
                process.kill()
            time.sleep(0.2)

    def _stop(self):
        process, self.process = self.process, None
        process.kill()
        process.wait()
        for pipe in (process.stdin, process.stdout):
            try:
                pipe.close()
            except OSError:  # what was not yet written goes nowhere
                pass


WORKER = Worker()


class PendingModel(unohelper.Base, XVolatileResult):
    """The value of a model cell while its model is fitted; Calc shows the key by itself once it is there."""

    waiting = {}

    def __init__(self, key, text):
        self.key, self.value, self.listeners = key, text, []

    @classmethod
    def of(cls, key, text):
        """The one object of a key, watched by a thread of its own."""
        if key not in cls.waiting:
            cls.waiting[key] = cls(key, text)
            threading.Thread(target=cls.waiting[key]._follow, daemon=True).start()
        return cls.waiting[key]

    def addResultListener(self, listener):
        self.listeners.append(listener)
        listener.modified(self._event())

    def removeResultListener(self, listener):
        if listener in self.listeners:
            self.listeners.remove(listener)

    def _event(self):
        event = ResultEvent()
        event.Value = self.value
        return event

    def _follow(self):
        value = None
        while value is None:
            time.sleep(0.5)
            try:
                value = WORKER.ask("pending", [self.key])["value"]
            except Unanswered as error:
                value = str(error)
        self.value = value
        self.waiting.pop(self.key, None)
        for listener in list(self.listeners):
            try:
                listener.modified(self._event())
            except Exception:  # the document is closed
                pass


def cells_of(area):
    """Rows of a range, no further than its sheet is used, with errors by their names."""
    address = area.getRangeAddress()
    rows, columns = address.EndRow - address.StartRow, address.EndColumn - address.StartColumn
    if rows > 999 or columns > 99:
        cursor = area.getSpreadsheet().createCursor()
        cursor.gotoEndOfUsedArea(False)
        used = cursor.getRangeAddress()
        rows, columns = min(rows, used.EndRow - address.StartRow), min(columns, used.EndColumn - address.StartColumn)
        if rows < 0 or columns < 0:
            return []
        area = area.getCellRangeByPosition(0, 0, columns, rows)
    cells = area.getDataArray()
    if any(None in row for row in cells):
        cells = [[error_of(area.getCellByPosition(x, y)) if cell is None else cell for x, cell in enumerate(row)]
                 for y, row in enumerate(cells)]
    return cells


def error_of(cell):
    """Name of the error a cell shows."""
    number = cell.getError()
    return ERRORS.get(number, "Err:%d" % number)


class TubePrices(unohelper.Base, XTubePrices, XServiceInfo):
    """The functions as Calc calls them; their methods are added below, one an entry of functions.json."""

    def __init__(self, context):
        self.context = context

    def getImplementationName(self):
        return IMPLEMENTATION

    def supportsService(self, name):
        return name == SERVICE

    def getSupportedServiceNames(self):
        return (SERVICE,)


def add_methods(functions):
    """A method of TubePrices for every function."""
    for function in functions:
        setattr(TubePrices, function["method"], method_of(function["method"], tuple(function["kinds"]),
                                                          function["gives"] == "table"))


def method_of(name, kinds, table):
    """The method that asks the worker. What goes wrong is a text in the cell."""
    tables = tuple(at for at, kind in enumerate(kinds) if kind == "table")

    def method(self, *arguments):
        try:
            # Calc hands an empty cell over as 0, which only arguments of the kind "number" mean.
            arguments = [None if one == 0.0 and kind == "cell" else one for one, kind in zip(arguments, kinds)]
            for at in tables:
                if arguments[at] is not None:
                    arguments[at] = cells_of(arguments[at])
            reply = WORKER.ask(name, arguments)
            value = reply["value"]
            if "pending" in reply:
                return PendingModel.of(reply["pending"], value)
        except Unanswered as error:
            value = str(error)
        except Exception as error:  # Calc would show #VALUE! and no word
            value = "The add-in failed (%s): save, start LibreOffice again, and %s." % (error, RECALCULATE)
        if table:
            return tuple(map(tuple, value)) if isinstance(value, list) else ((value,),)
        return value

    return method


with open(os.path.join(HERE, "functions.json"), encoding="utf-8") as _file:
    add_methods(json.load(_file))

g_ImplementationHelper = unohelper.ImplementationHelper()
g_ImplementationHelper.addImplementation(TubePrices, IMPLEMENTATION, (SERVICE,))
