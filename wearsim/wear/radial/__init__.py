"""The radial engine: round profiles, path weights over centre offset, tipping."""
