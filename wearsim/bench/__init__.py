"""What people write: mirror, lap, hands, strokes, programmes; their files, units, defaults and sources."""
