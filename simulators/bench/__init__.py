"""How good are the curtain's decisions: the year's cost between a plain threshold and perfect foresight."""
