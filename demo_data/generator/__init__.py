"""How the invented shop of the demo came to be: catalogue, truth, trade, bench and handwriting."""
