"""Practice without sun: boards as a crew would have marked them, and a class compared."""
