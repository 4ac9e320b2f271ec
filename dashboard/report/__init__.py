"""The report to hand over: what it says (`sections`), and how it is written (HTML, PDF)."""
