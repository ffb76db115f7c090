"""The planar engine: two maps walked stroke by stroke."""
