"""The cell functions: what a spreadsheet's cells may ask, in one registry."""
