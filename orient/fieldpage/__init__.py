"""The page for a telephone at the board: it keeps the log and shows north on the spot."""
