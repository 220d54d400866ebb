"""The cell functions in Excel, through xlwings: registration, VBA, and the folder that `connect excel` writes."""
