"""The night sheet: when to look, where, a picture to find the stars by, a table to fill in."""
