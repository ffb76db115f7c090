"""Ground floor: jitted functions of SI floats and arrays. Imports nothing else of wearsim."""
