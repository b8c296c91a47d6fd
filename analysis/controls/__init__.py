"""What a set's own controls do, learnt from measurements before and after they were turned, and steps solved by it."""
