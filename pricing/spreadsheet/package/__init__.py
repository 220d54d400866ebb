"""Putting fresh result sheets into the file of a workbook that its owner has worked in, everything else untouched.

A workbook that was loaded and saved again by a library loses what the library does not know. Here the file's parts are
spliced as text; a part that need not change keeps its compressed bytes. `graft.py` says what goes where.
"""
