"""The demo campaign: an invented crew's tables, made by the simulator, with the truth behind them.

`story` tells what the crew did where; `boards` lets the simulator mark the shadows; `campaign`
writes the tables as the crew would have. Nothing here shares a formula with the reductions.
"""
