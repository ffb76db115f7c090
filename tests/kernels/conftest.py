"""The planar rig, for the whole folder."""

from tests.helpers.planar_rig import motion, one_thread, rig

__all__ = ["motion", "one_thread", "rig"]
