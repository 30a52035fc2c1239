"""One file a rule family. A rule reads windows, pieces and the programme, and says what it finds."""
