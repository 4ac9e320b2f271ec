"""The report as HTML and PDF.

No page and no computation.

Doors: `as_html`, `as_pdf`, `blocks`, `rehearsal_pictures`, `report_data`, `sections`.
"""
