"""What a fault or an event does to a plant that may rightly show as another fault elsewhere.

Faults that know each other only by what they do need no list of each other's names.
"""

from typing import Literal

Effect = Literal[
    "less water moves",
    "water stands",
    "pump stands",
    "boiler makes no heat",
    "boiler locks out",
    "burner fires briefly",
    "store is cool",
    "water is overheated",
    "nothing is heard",
]
