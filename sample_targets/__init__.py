"""Sample photos of practice targets with exact truth, and the renderer of the printed ones."""
