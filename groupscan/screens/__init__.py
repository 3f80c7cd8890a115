"""One file a screen: how to ask and show; no arithmetic, no SQL."""
