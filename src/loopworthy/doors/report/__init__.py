"""What is made for reading on paper or in the documentation: reference pages from code and catalogue."""
