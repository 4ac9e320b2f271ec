"""From findings to notices that leave, and the program's watch over itself.

No text of a message: these are in `collector.letters`.

Doors: `notify`.
"""
