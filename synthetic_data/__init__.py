"""An invented home-care programme: seeded data and files to try everything on.

Nothing here knows how the tool counts: it makes what families and clinics would send.
"""

from synthetic_data.demo import Demo, generate, generate_blocks
from synthetic_data.files import Written, demo_sources, write, write_canonical
from synthetic_data.spoiling import WrongRow
from synthetic_data.truth import PastCall, Planted, Truth

__all__ = [
    "Demo",
    "PastCall",
    "Planted",
    "Truth",
    "Written",
    "WrongRow",
    "demo_sources",
    "generate",
    "generate_blocks",
    "write",
    "write_canonical",
]
