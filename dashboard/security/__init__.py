"""Who may ask what: own address only, own pages only, no code from elsewhere."""

from dashboard.security.csrf import protect_writes
from dashboard.security.faults import tell_faults
from dashboard.security.gate import close_gate
from dashboard.security.headers import add_headers

__all__ = ["add_headers", "close_gate", "protect_writes", "tell_faults"]
