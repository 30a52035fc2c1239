"""What people and programs see: one document of rows, printed as JSON or as tables for a phone's width."""
