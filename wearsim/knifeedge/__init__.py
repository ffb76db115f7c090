"""The knife-edge test: readings to surface and back."""
