"""Whole nights under a hand-turned clock: the real store, pipeline and judge; a broker and phones by hand."""
