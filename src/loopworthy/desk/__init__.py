"""What people do: one function for each use case, between the doors and the rooms."""
