"""The command line from outside: words in, documents and exit codes out."""
