"""What can go wrong, by name: each kind begins, may be drawn from a seed, and ends.

A kind is a function that breaks something in a run and returns how it is mended. `where` names the part that
is broken; empty lets the dice choose one. The catalogue is in `simulators.faults.catalogue`.
"""
