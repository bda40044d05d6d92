"""A notebook of compass bearings turned to true or grid bearings, all rows at once."""
