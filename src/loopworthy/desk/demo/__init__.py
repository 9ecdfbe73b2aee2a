"""An invented club to rehearse with: its people, units and four weeks of history, told through the desk itself."""
