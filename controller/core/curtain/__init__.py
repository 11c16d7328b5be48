"""Where the curtain should be, and how the motor gets it there."""
