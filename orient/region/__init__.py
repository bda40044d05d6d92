"""The declination and its kin over an area: lattice, contour lines, files and a picture."""
