"""From a frame to millivolts over time, as an oscilloscope shows it."""
