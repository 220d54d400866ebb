"""The house rules that a reading of the source can hold: imports run one way, each heavy package has one home."""

import ast
import subprocess
import sys
from pathlib import Path

import pytest

SOURCE = Path(__file__).parent.parent / "pricing"
ROOMS = ("problems", "register", "shop_tables", "price_model", "decisions", "spreadsheet", "command_line")
DECISIONS = ("circuit_fit", "equivalents", "list_price", "deals", "quality", "lots", "margins", "alternatives")
HOMES = {
    "openpyxl": {"shop_tables", "spreadsheet"},
    "python_calamine": {"shop_tables", "spreadsheet"},
    "xlwings": {"spreadsheet"},
    "uno": {"spreadsheet"},
    "statsmodels": {"price_model", "decisions"},
    "formulaic": {"price_model"},
    "scipy": {"price_model", "decisions"},
}
FORBIDDEN_NAMES = {"utils.py", "helpers.py", "common.py"}
FILES = sorted(SOURCE.rglob("*.py"))


def imported(path: Path) -> list[str]:
    """Dotted names of everything a file imports, wherever in the file."""
    names = []
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        if isinstance(node, ast.Import):
            names += [alias.name for alias in node.names]
        elif isinstance(node, ast.ImportFrom):
            base = node.module or ""
            names += [base, *(f"{base}.{alias.name}" for alias in node.names)]
    return names


def room_of(path: Path) -> str:
    """The room a file lies in."""
    return path.relative_to(SOURCE).with_suffix("").parts[0]


@pytest.mark.parametrize("path", FILES, ids=lambda path: str(path.relative_to(SOURCE)))
def test_imports_run_one_way(path):
    """A room uses itself and the rooms before it, never one after it."""
    room = room_of(path)
    if room not in ROOMS:
        pytest.fail(f"{path} lies in no known room") if room not in ("__init__", "__main__") else None
        return
    for name in imported(path):
        parts = name.split(".")
        if parts[0] == "pricing" and len(parts) > 1 and parts[1] in ROOMS:
            assert ROOMS.index(parts[1]) <= ROOMS.index(room), f"{path.name} imports {name}, a later room"
            if room == parts[1] == "decisions" and len(parts) > 2 and parts[2] in DECISIONS and path.stem in DECISIONS:
                assert DECISIONS.index(parts[2]) <= DECISIONS.index(path.stem), f"{path.name} imports {name}"


@pytest.mark.parametrize("path", FILES, ids=lambda path: str(path.relative_to(SOURCE)))
def test_heavy_packages_have_one_home(path):
    """xlwings, openpyxl, statsmodels and their like are met only where they belong."""
    for name in imported(path):
        homes = HOMES.get(name.split(".")[0])
        assert homes is None or room_of(path) in homes, f"{path} imports {name}"


def test_no_room_for_odds_and_ends():
    """A function lives in the room whose question it answers."""
    assert not [path for path in FILES if path.name in FORBIDDEN_NAMES]


def test_import_of_the_package_is_light():
    """`import pricing` alone loads neither pandas nor numpy."""
    code = "import sys, pricing; print(sorted({'pandas', 'numpy', 'openpyxl'} & set(sys.modules)))"
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout.strip() == "[]"


def test_public_names():
    """The names others rely on, and each of them answers."""
    import pricing

    assert pricing.__all__ == [
        "backtest", "bid_for_lot", "build_workbook", "check_circuit_fit", "cost_lot", "find_alternatives",
        "find_underpriced", "fit_price_model", "listing_facts", "load_price_model", "load_register", "match_sets",
        "plan_list_prices", "rank_quality", "read_incoming", "read_shop", "refresh_workbook", "review_margins",
    ]
    for name in pricing.__all__:
        assert callable(getattr(pricing, name))
    with pytest.raises(AttributeError, match="no attribute 'nothing'; it has backtest, bid_for_lot, build_workbook"):
        pricing.nothing
