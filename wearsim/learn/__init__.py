"""The mirror's folder: sessions done, calibration of the constants, rehearsal."""
