"""From a photograph to millimetres on the glass: reading, corner marks, printed sheets."""
