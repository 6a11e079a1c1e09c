"""The live bench page: a model operated by hand in a browser, on this machine only."""
