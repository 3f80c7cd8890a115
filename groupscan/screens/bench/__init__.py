"""The Rig bench, a file for each of its sections."""
