"""Directions read against the sky: from sights on one circle to true azimuths.

`circle` gathers the sights of one graduated circle as it stood, `adjustment` reduces them,
`campaign` does so for a whole table and joins what boards say, `words` tells people.
"""
