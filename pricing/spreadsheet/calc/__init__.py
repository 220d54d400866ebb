"""LibreOffice Calc: the add-in that runs inside it, the worker that computes, and how the two are installed."""
