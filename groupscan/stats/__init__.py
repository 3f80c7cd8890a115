"""Statistics of shots on a plane: arrays in, tables out; numpy and scipy only."""
