"""Tests of groupscan; a package of its own, since some library installs one of the same name."""
