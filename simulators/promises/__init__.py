"""What Duskbell promises, checked after every turn against the settings and the true state of the world.

Nothing here asks the daemon what it thinks. A promise sees the same messages that reached the daemon, what it
sent, what was committed, and the house itself; from the settings it reckons what must and what may have
happened. Where a sensor's word is doubtful a promise gives the daemon the benefit of the doubt, in both
directions.
"""
