"""An invented studio to look around in, built through the same actions as live use.

Nobody and nothing in it is real: names, prices and sizes serve the story and are no reference.
"""
