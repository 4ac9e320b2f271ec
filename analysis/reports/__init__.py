"""The tables behind what is printed for boiler, pump and service.

No drawing and no HTML.

Doors: `boiler`, `pump`, `service_due`.
"""
