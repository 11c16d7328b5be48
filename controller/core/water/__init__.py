"""The water's chemistry as pure functions: numbers in, a number or `OutOfRange` out."""
