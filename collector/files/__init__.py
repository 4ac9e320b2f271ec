"""Files a person keeps: settings, plant file, logs.

No database.

Doors: `log_file`, `log_writing`, `plant_file`, `rehearsal_folder`, `season`, `settings`.
"""
