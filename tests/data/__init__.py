"""Recorded series by other people, through the whole line. They lie beside the repository or not at all."""
