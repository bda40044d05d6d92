"""The input: columns, cells, coordinates, civil time, the campaign's folder."""
