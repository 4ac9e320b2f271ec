"""The server of the pages, and who may enter.

No page.

Doors: `serving`.
"""
