"""Anything that mentions a cell. For now: building and refreshing a shop's workbook."""

from pricing.spreadsheet.refreshing import refresh_workbook
from pricing.spreadsheet.workbook import build_workbook

__all__ = ["build_workbook", "refresh_workbook"]
