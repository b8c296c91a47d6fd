"""What every picture and plot is drawn with."""
