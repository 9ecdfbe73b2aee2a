"""The web door: server-rendered pages, readable with scripts off, made for one wet thumb."""
