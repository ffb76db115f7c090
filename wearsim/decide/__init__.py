"""What to do next: the library of strokes, the floor, the search, propose and compare."""
