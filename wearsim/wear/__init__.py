"""Strokes to weights over offset, the offset basis, the engines, and what a programme is predicted to do."""
