"""From marks on a board to true north."""
