"""Readings and answers by MQTT: client, routes, intake, publishing, survey, broker.

No analysis.

Doors: `broker`, `client`, `live`, `publisher`, `routes`, `subscriber`, `survey`.
"""
