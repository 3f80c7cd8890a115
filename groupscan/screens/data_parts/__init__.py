"""The parts of the Data screen, a module each."""
