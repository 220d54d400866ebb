"""House style of the workbook: a few colours, one face, one format a kind of column.

Colour never carries a meaning alone: every coloured cell also holds the word.
"""

from __future__ import annotations

from openpyxl.styles import Alignment, Border, Font, PatternFill, Side

FACE = "Arial"
INK = "26323A"
QUIET = "6B7680"
HEAD = "33505A"  # headings of what we computed
SAND = "E7DECB"  # headings of what the owner types
RULE = "C9CED2"
BAND = "F5F7F7"
BAND_LINE, INDEX_LINE = "9DB0B5", "A8651E"

NORMAL = Font(name=FACE, size=10, color=INK)
TITLE = Font(name=FACE, size=15, bold=True, color=INK)
SECTION = Font(name=FACE, size=11, bold=True, color=HEAD)
BODY = Font(name=FACE, size=9, color=INK)
BOLD = Font(name=FACE, size=9, bold=True, color=INK)
NOTE = Font(name=FACE, size=9, italic=True, color=QUIET)
CAUTION = Font(name=FACE, size=9, bold=True, color="8A2B1D")

HEAD_FONT = Font(name=FACE, size=9, bold=True, color="FFFFFF")
INPUT_HEAD_FONT = Font(name=FACE, size=9, bold=True, color=INK)
HEAD_FILL = PatternFill("solid", start_color=HEAD, end_color=HEAD)
INPUT_HEAD_FILL = PatternFill("solid", start_color=SAND, end_color=SAND)
UNDER = Border(bottom=Side("thin", color=RULE))
NO_BORDER = Border()

# Action: (font colour, fill). The word stands in the cell; the colour only helps the eye.
ACTION_COLOURS = {
    "raise": ("1F5A3C", "DCEBE1"),
    "lower": ("7A4A12", "F6E4CF"),
    "look": ("6A5A00", "FAF2C8"),
    "list": ("28527A", "DEE9F3"),
    "hold for a set": ("5B3A73", "EBE3F1"),
    "sold out": ("8C949A", "FFFFFF"),
}

# kind of column: (number format, alignment)
_LEFT = Alignment(horizontal="left", vertical="top", indent=1)
_RIGHT = Alignment(horizontal="right", vertical="top")
_WRAP = Alignment(horizontal="left", vertical="top", wrap_text=True, indent=1)
HEADING = Alignment(horizontal="left", vertical="top", wrap_text=True, indent=1)
HEADING_RIGHT = Alignment(horizontal="right", vertical="top", wrap_text=True)
LINE = Alignment(vertical="top")
LINE_ROW_HEIGHT = 15  # points, of a line below a sheet's title, so that a heading right below stands clear of it
HEADING_HEIGHT = 30  # room below the words for the filter arrow
PARAGRAPH = Alignment(horizontal="left", vertical="top", wrap_text=True)
KINDS = {
    "text": ("@", _LEFT),
    "words": ("General", _WRAP),
    "plain": ("General", _LEFT),
    "date": ("yyyy-mm-dd", _LEFT),
    "month": ("yyyy-mm", _LEFT),
    "money": ("#,##0.00", _RIGHT),
    "change": ("+#,##0.00;-#,##0.00;0.00", _RIGHT),
    "count": ("#,##0", _RIGHT),
    "number": ("General", _RIGHT),
    "percent": ('0.0"%"', _RIGHT),
    "change_percent": ('+0.0"%";-0.0"%";0.0"%"', _RIGHT),
    "chance": ('[>=99.5]">99%";[<0.5]"<1%";0"%"', _RIGHT),  # in percent; never said to be certain
    "days": ('[>1095]">3 years";#,##0', _RIGHT),
    "index": ("0.0", _RIGHT),
    "factor": ("0.000", _RIGHT),
    "ratio": ("0.00", _RIGHT),
}
LINE_HEIGHT = 12.5  # points, of one line of BODY


def lines_of(text: str, width: float) -> int:
    """Lines that `text` takes in a column of this width, a little generous: BODY sets about 1.25 letters a
    unit.
    """
    return max(-(-len(text) // int(width * 1.22)), 1)


NUMERIC_KINDS = {"money", "change", "count", "number", "percent", "change_percent", "chance", "days", "index", "factor",
                 "ratio"}
