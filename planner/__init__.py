"""Buoyside's planner: pressure, lungs, the mouthfill, and what an exhale dive supports. Pure."""
