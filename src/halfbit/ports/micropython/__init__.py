"""Files for MicroPython boards. They are copied to a board side by side, not imported from here."""
