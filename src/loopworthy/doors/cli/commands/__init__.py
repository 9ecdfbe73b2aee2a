"""One module for each top-level command; each is imported only when its command is called or asked about."""
