"""What the exchange between devices needs from this computer: its keys, and how they are kept."""
