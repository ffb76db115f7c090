"""Studies: a batch of predictions over a range of settings, to HDF5."""
