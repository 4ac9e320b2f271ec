"""Everything a person meets: pages, charts, reports and the command line."""
